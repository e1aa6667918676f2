"""Responses of the wire as text: plain ASCII, as wide as the terminal or a hundred columns.

Knows the wire's shapes, not the core's. Each step has two lines: notes, and below each its degree.
"""

import json
import sys
import textwrap
from collections.abc import Iterable, Iterator, Mapping, Sequence
from itertools import zip_longest
from shutil import get_terminal_size
from typing import Any, Final

import click

from shortway.core.theory.enharmonics import practical_name

Wire = Mapping[str, Any]

WIDTH = 100
MIN_WIDTH = 60
CELL = 5
"""Columns of a note: ``Abb4`` and a space."""
CAUTION = (
    "Stretching past a comfortable reach can injure a hand: "
    "set --reach to your own, and stop when it hurts."
)


def print_answer(answer: Wire, output: str, table: Iterable[str], brief: Iterable[str]) -> None:
    """Print a response in the format `output`: its table, its brief lines, or JSON."""
    if output == "json":
        click.echo(json.dumps(answer, ensure_ascii=False, indent=2))
        return
    for line in brief if output == "brief" else table:
        click.echo(line)


def columns() -> int:
    """The width to print: that of the terminal; 100 where the output is no terminal."""
    return max(MIN_WIDTH, get_terminal_size().columns) if sys.stdout.isatty() else WIDTH


def wrap(text: str) -> list[str]:
    """A paragraph as lines."""
    return textwrap.wrap(text, columns())


HEADS = ("step", "bar", "chord", "left hand", "| right hand", "move", "remark")
CHOICE_HEADS = ("cost", "motion", "left hand", "| right hand")


def format_path(path: Wire, heading: str = "") -> Iterator[str]:
    """A path: heading, one row per step, totals, caution; then its alternatives."""
    if heading:
        yield heading
    yield from format_table(HEADS, list(_path_rows(path["steps"])))
    yield ""
    proof = f"proven optimal among {path['size']['candidates']} voicings"
    yield from wrap(f"{_sum(path)}; {proof if path['optimal'] else 'not proven optimal'}.")
    yield from wrap(f"{_widest(path['steps'])} {CAUTION}")
    if path["choices"]:
        yield ""
        rows = [
            (str(of["cost"]), str(of["motion"]), *format_hands(of["voicing"]))
            for of in path["choices"]
        ]
        yield from format_table(CHOICE_HEADS, rows)
    for number, other in enumerate(path["alternatives"], start=1):
        yield ""
        yield f"Alternative {number}"
        yield from format_table(HEADS, list(_path_rows(other["steps"])))
        yield ""
        yield from wrap(f"{_sum(other)}. {_widest(other['steps'])}")


def _path_rows(steps: Sequence[Wire]) -> Iterator[tuple[str, ...]]:
    before: Any = None
    for step in steps:
        voicing = step["voicing"]
        held = (
            voicing is not None
            and before is not None
            and voicing["midi_notes"] == before["midi_notes"]
        )
        yield (
            str(step["step"]),
            format_position(step),
            f"{step['symbol']}\n{(step['context'] or {}).get('function', '')}",
            *(("(held)", "") if held else format_hands(voicing) if voicing else ("(silent)", "")),
            "" if step["motion"] is None else str(step["motion"]),
            step["remark"],
        )
        before = voicing or before


def format_hands(voicing: Wire) -> tuple[str, str]:
    """Left and right hand, two lines each: notes over degrees.

    >>> note = {"midi": 55, "note": "G3", "degree": "b7", "is_bass": False}
    >>> format_hands({"left": [note], "right": [note]})
    ('G3\\nb7', '| G3\\n| b7')
    """
    left, right = (_cells((_name(n), n["degree"]) for n in voicing[h]) for h in ("left", "right"))
    return left, "\n".join(f"| {line}" for line in right.split("\n") if line)


def _name(note: Wire) -> str:
    """The practical name; root and bass keep the symbol's."""
    own = note["is_bass"] or note["degree"] == "1"
    return str(note["note"] if own else practical_name(note["note"]))


def _cells(pairs: Iterable[tuple[str, str]]) -> str:
    """Pairs as two lines, the second items below the first."""
    cells = list(pairs)
    return "\n".join("".join(f"{cell[i]:{CELL}}" for cell in cells).rstrip() for i in (0, 1))


def format_position(step: Wire) -> str:
    """Measure and beat of a step.

    >>> format_position({"measure": 3, "beat": 2.5})
    '3.2.5'
    """
    beat = f"{step['beat']:.2f}".rstrip("0").rstrip(".")
    return f"{step['measure']}.{beat}"


def _sum(path: Wire) -> str:
    moved = count_noun(path["motion"], "semitone")
    parts = [
        f"Cost {path['cost']}, motion {moved} over {count_noun(path['size']['steps'], 'step')}"
    ]
    if path["loop_motion"] is not None:
        parts.append(f"{path['loop_motion']} of them from the last step to the first")
    if path["start_motion"] is not None:
        parts.append(f"{path['start_motion']} of them into the first step")
    if path["least_motion"] is not None:
        parts.append(f"least motion {path['least_motion']}")
    if path["bass_motion"]:
        parts.append(f"bass motion {path['bass_motion']}")
    parts.append(f"largest leap {path['largest_leap']}")
    if path["released"]:
        parts.append(f"not kept at {', '.join(map(str, path['released']))}")
    return ", ".join(parts)


def count_noun(count: int, noun: str) -> str:
    """A count with its noun in singular or plural."""
    return f"{count} {noun}{'' if count == 1 else 's'}"


def _widest(steps: Iterable[Wire]) -> str:
    spans = [step["voicing"]["span_mm"] for step in steps if step["voicing"]]
    widest = {
        hand: max((span[hand] for span in spans if span[hand] is not None), default=None)
        for hand in ("left", "right")
    }
    told = [f"{hand} {width:.0f} mm" for hand, width in widest.items() if width is not None]
    return f"Widest stretch, key to key: {', '.join(told)}." if told else ""


_IN_KEY: Final = ("measure", "motion", "difficulty")


def format_exercise(answer: Wire) -> Iterator[str]:
    """An exercise: its key, where each key begins with the motion into it, and its path."""
    chart, sections = answer["chart"], answer["sections"]
    source = "estimated from its chords" if answer["inferred"] else "as given"
    title = chart.get("title", "Chart")
    yield f"{title} in {answer['key']}, {source}; {count_noun(len(sections), 'key')}"
    yield ""
    rows = [
        (key["key"], *("" if key[n] is None else str(key[n]) for n in _IN_KEY)) for key in sections
    ]
    yield from format_table(("key", "bar", "motion into it", "difficulty"), rows)
    yield ""
    yield from format_path(answer["path"])
    for which in ("hardest", "easiest"):
        bars = ", ".join(map(str, answer["difficulty"][f"{which}_measures"]))
        yield f"{which.capitalize()} bars: {bars or 'none'}."


def format_voicings(listing: Wire, first: int = 0) -> Iterator[str]:
    """A page of voicings; `first` is the number of the first one, from 0."""
    rows = [
        (
            str(first + i),
            voicing["family"] + (f" {voicing['form']}" if voicing["form"] else ""),
            *format_hands(voicing),
            str(voicing.get("motion", "")),
            _spans(voicing["span_mm"]),
        )
        for i, voicing in enumerate(listing["voicings"])
    ]
    yield from format_table(
        ("no.", "family", "left hand", "| right hand", "move", "mm left | right"), rows
    )
    yield ""
    yield f"{len(rows)} of {listing['total']} voicings of {listing['chord']['name']}."
    yield CAUTION


def _spans(spans: Wire) -> str:
    return " | ".join(f"{spans[h]:.0f}" if spans[h] is not None else "-" for h in ("left", "right"))


def format_chords(chords: Iterable[Wire]) -> Iterator[str]:
    """Chords, one row each."""
    rows = [
        (
            chord["symbol"],
            chord["name"],
            _tones(chord["tones"]) + (f"\nover {chord['bass']}" if chord["bass"] else ""),
            _tones(chord["tensions"]),
            " ".join(chord["avoid"]),
        )
        for chord in chords
    ]
    return format_table(("symbol", "name", "tones", "tensions", "avoid"), rows)


def _tones(tones: Sequence[Wire]) -> str:
    return _cells((tone["note"], tone["degree"]) for tone in tones)


def format_families(families: Iterable[Wire]) -> Iterator[str]:
    """The table of families, one row each."""
    rows = [
        (of["id"], " ".join(of["hands"]), " ".join(map(str, of["voices"])), of["about"])
        for of in families
    ]
    return format_table(("family", "hands", "notes", "about"), rows)


def format_presets(presets: Sequence[Wire]) -> Iterator[str]:
    """The presets, one row each."""
    sets = ("\n".join(f"{k}: {_plain(v)}" for k, v in of["sets"].items()) for of in presets)
    rows = [(of["id"], said, of["about"]) for of, said in zip(presets, sets, strict=True)]
    return format_table(("preset", "sets", "about"), rows)


def format_rhythms(rhythms: Iterable[Wire]) -> Iterator[str]:
    """The comping patterns, one row each."""
    rows = [
        (
            rhythm["id"],
            " ".join(rhythm["meters"]) or "any",
            " ".join(f"{hit['beat']:g}{'>' * hit['anticipate']}" for hit in rhythm["hits"]),
            rhythm["about"],
        )
        for rhythm in rhythms
    ]
    yield from format_table(("rhythm", "meter", "hits", "about"), rows)


def _plain(value: Any) -> str:
    return " ".join(value) if isinstance(value, list) else str(value).lower()


def format_table(heads: tuple[str, ...], rows: Sequence[tuple[str, ...]]) -> Iterator[str]:
    """Columns as wide as their text; the last one wraps in the remaining width."""
    widths = [
        max([len(head), *(len(line) for row in rows for line in row[i].split("\n"))])
        for i, head in enumerate(heads[:-1])
    ]
    room = max(16, columns() - sum(widths) - 2 * len(widths))
    rule = (*("-" * width for width in widths), "-" * min(room, len(heads[-1])))
    yield click.style(_row(widths, heads), bold=True)
    yield click.style(_row(widths, rule), dim=True)
    for row in rows:
        cells = [cell.split("\n") for cell in row[:-1]]
        last = [line for part in row[-1].split("\n") for line in textwrap.wrap(part, room)]
        for below, line in enumerate(zip_longest(*cells, last, fillvalue="")):
            yield _row(widths, line, dim=below > 0)


def _row(widths: Sequence[int], cells: Sequence[str], dim: bool = False) -> str:
    """One line; all but its last cell are dimmed where it stands below the first of a row."""
    padded = "  ".join(f"{cell:{width}}" for cell, width in zip(cells, widths, strict=False))
    last = cells[-1] if len(cells) > len(widths) else ""
    styled = click.style(padded, dim=True) if dim and padded.strip() and last else padded
    return f"{styled}  {last}".rstrip() if last else padded.rstrip()
