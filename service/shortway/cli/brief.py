"""Responses of the wire as one line for each item, for other programs: fields between tabs.

Knows the wire's shapes, not the core's.
"""

from collections.abc import Iterable, Iterator, Mapping
from typing import Any

Wire = Mapping[str, Any]


def brief_path(path: Wire) -> Iterator[str]:
    """Step, position, symbol and notes of each step.

    >>> note = {"note": "F3"}
    >>> voicing = {"left": [note], "right": []}
    >>> step = {"step": 0, "measure": 1, "beat": 1.0, "symbol": "Dm7", "voicing": voicing}
    >>> list(brief_path({"steps": [step]}))
    ['0\\t1\\t1\\tDm7\\tF3']
    """
    for step in path["steps"]:
        yield _line(*_place(step), _notes(step["voicing"]) if step["voicing"] else "-")


def brief_voicings(listing: Wire) -> Iterator[str]:
    """Family, form and notes of each voicing."""
    for voicing in listing["voicings"]:
        yield _line(voicing["family"], voicing["form"] or "-", _notes(voicing))


def brief_chords(chords: Iterable[Wire]) -> Iterator[str]:
    """Symbol, name and notes of each chord."""
    for chord in chords:
        notes = " ".join(tone["note"] for tone in chord["tones"])
        yield _line(chord["symbol"], chord["name"], notes or "-")


def brief_review(review: Wire) -> Iterator[str]:
    """Step, position, symbol, severity and words of each finding."""
    for step in review["steps"]:
        for finding in step["findings"]:
            yield _line(*_place(step), finding["severity"], finding["words"])


def brief_list(items: Iterable[Wire]) -> Iterator[str]:
    """The id of each item."""
    return (item["id"] for item in items)


def _place(step: Wire) -> tuple[object, ...]:
    return step["step"], step["measure"], f"{step['beat']:g}", step["symbol"]


def _notes(voicing: Wire) -> str:
    return " ".join(note["note"] for note in (*voicing["left"], *voicing["right"]))


def _line(*fields: object) -> str:
    return "\t".join(map(str, fields))
