"""How answers look in a notebook and as rows of a table. Knows models by their fields alone."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from html import escape
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from shortway_client.models import VoicingPath

BLACK = frozenset({1, 3, 6, 8, 10})
KEY, DEPTH = 7, 36  # a white key in px
WHITE_FILL, BLACK_FILL, EDGE = "#fff", "#33313c", "#85828f"
HANDS = (("left", "#0e5160"), ("right", "#625a9e"))


def path_rows(path: VoicingPath) -> list[dict[str, Any]]:
    """One flat row for each step, for `csv.DictWriter` or a data frame."""
    return [
        {
            "step": step.step,
            "measure": step.measure,
            "beat": step.beat,
            "beats": step.beats,
            "onset": step.onset,
            "symbol": step.symbol,
            "midi_notes": " ".join(map(str, step.midi_notes)),
            "family": step.voicing.family if step.voicing else None,
            "form": step.voicing.form if step.voicing else None,
            "left": _names(step.voicing.left) if step.voicing else "",
            "right": _names(step.voicing.right) if step.voicing else "",
            "motion": step.motion,
            "cost": step.cost,
        }
        for step in path.steps
    ]


def path_repr(path: VoicingPath) -> str:
    """A line with the figures of a path; the steps are in its fields."""
    kind = type(path).__name__
    return f"<{kind}: {len(path.steps)} steps, cost {path.cost}, motion {path.motion}>"


def path_html(path: VoicingPath) -> str:
    """A table with a keyboard for each step."""
    sounding = [n.midi for s in path.steps if s.voicing for n in s.voicing.left + s.voicing.right]
    low, high = (min(sounding), max(sounding)) if sounding else (60, 60)
    rows = "".join(
        f"<tr><td>{step.step}</td><td>{step.measure}</td><td>{escape(step.symbol)}</td>"
        f"<td>{keyboard_svg(step.voicing, low, high) if step.voicing else ''}</td>"
        f"<td>{'' if step.motion is None else step.motion}</td></tr>"
        for step in path.steps
    )
    heads = "".join(f"<th>{head}</th>" for head in ("step", "bar", "chord", "keys", "motion"))
    total = f"<caption>cost {path.cost}, motion {path.motion}</caption>"
    return f"<table>{total}<thead><tr>{heads}</tr></thead><tbody>{rows}</tbody></table>"


def keyboard_svg(voicing: Any, low: int, high: int) -> str:
    """The keys from the C at or below `low` to the B at or above `high`, those played filled."""
    first, last = low - low % 12, high + 11 - high % 12
    played = {note.midi: colour for hand, colour in HANDS for note in getattr(voicing, hand)}
    words = f"left hand {_names(voicing.left) or '-'}; right hand {_names(voicing.right) or '-'}"
    width = KEY * sum(key % 12 not in BLACK for key in range(first, last + 1))
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{width}" height="{DEPTH}" role="img">'
        f"<title>{escape(words)}</title>{''.join(_keys(first, last, played))}</svg>"
    )


def _keys(first: int, last: int, played: dict[int, str]) -> Iterator[str]:
    """Rectangles of white keys, then of black ones, which lie over them."""
    for is_black in (False, True):
        x = 0.0
        for midi in range(first, last + 1):
            black = midi % 12 in BLACK
            if black == is_black:
                fill = played.get(midi, BLACK_FILL if black else WHITE_FILL)
                left, wide, deep = (x - 2.2, 4.4, 22) if black else (x, KEY, DEPTH)
                yield (
                    f'<rect x="{left:g}" width="{wide:g}" height="{deep}" '
                    f'fill="{fill}" stroke="{EDGE}"/>'
                )
            x += 0 if black else KEY


def _names(notes: Sequence[Any]) -> str:
    return " ".join(note.note for note in notes)
