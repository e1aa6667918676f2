"""The voice lines of a path: each voice a line through pitch over time.

Knows the core's answers. Time runs by beats from left to right in rows of whole measures, pitch
upwards by half steps. A voice is held through its step and led over into the next one by a stroke
whose colour, width and dashes say how far it moves, with the semitones beside it; where the step
before lies in the row above, after an N.C. or round the end of a loop, the stroke starts from a
hollow dot. The bass is a line like the others, with diamonds.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final
from xml.etree.ElementTree import Element

from shortway.core.cancellation import checkpoint
from shortway.core.solver.solve import Path, PathStep
from shortway.core.voice_leading.remarks import Move
from shortway.core.voicings.model import Note
from shortway.scores.pictures.captions import path_summary, picture_fingerprint, picture_title
from shortway.scores.pictures.line_layout import StepPosition, StepRow, lay_out_rows
from shortway.scores.pictures.page_layout import (
    MARGIN,
    WIDTH,
    clamp_width,
    draw_heading,
    set_height,
)
from shortway.scores.pictures.pitch_axis import HALF_STEP, PitchAxis, pitch_axis_of
from shortway.scores.pictures.previous_step import PreviousNotes, previous_notes
from shortway.scores.pictures.style import INK, MOTION_STYLES, PAPER, QUIET, motion_style
from shortway.scores.pictures.svg import (
    add_element,
    px,
    serialize_svg,
    svg_root,
    text_width,
    truncate_text,
)

_GUTTER: Final = 36.0
_DOT: Final = 3.2
_NUMBER: Final = 8.0
_SYMBOL: Final = 13.0
_GAP: Final = 18.0


@dataclass(frozen=True)
class _Grid:
    """What all rows share."""

    pitches: PitchAxis
    loop: bool

    @property
    def foot(self) -> float:
        """Height of symbols and figures below the pitches."""
        return 34.0

    @property
    def height(self) -> float:
        """Of a row, measure numbers above and symbols below it."""
        return 16 + self.pitches.height + self.foot + _GAP


def draw_voice_lines(path: Path, title: str | None = None, width: float = WIDTH) -> bytes:
    """The voice lines, in rows of measures.

    Parameters
    ----------
    path : Path
    title : str, optional
        Of the tune.
    width : float, optional
        Of the whole picture, px, 240 to 4,000; what lies outside is brought inside.

    Returns
    -------
    bytes
        SVG, UTF-8. Each step is a `g` with `data-step`, its number from 0; each note in it has
        `data-midi`.
    """
    width = clamp_width(width)
    named, figures = picture_title("Voice lines", title), f"{path_summary(path)}."
    told = f"Each voice a line through pitch over time, {_held(path)}: {figures}"
    root = svg_root("lines", picture_fingerprint(path, width), named, told, width)
    top = draw_heading(root, named, figures, width)
    grid = _Grid(pitch_axis_of(path), path.loop_motion is not None)
    rows = lay_out_rows(path, width - 2 * MARGIN - _GUTTER - 6, _SYMBOL)
    led = previous_notes(path)
    for number, row in enumerate(rows):
        at = f"translate({px(MARGIN + _GUTTER)} {px(top + 16 + number * grid.height)})"
        group = add_element(root, "g", transform=at)
        grid.pitches.draw(group, row.width)
        _bars(group, row, grid, number == 0, number == len(rows) - 1)
        for place in row.places:
            inner = add_element(group, "g", data_step=place.number)
            _draw(inner, place, path.steps[place.number], led[place.number], grid)
    y = top + 16 + len(rows) * grid.height + 4
    foot = add_element(root, "g", fill=QUIET, transform=f"translate({px(MARGIN)} {px(y)})")
    set_height(root, y + _legend(foot, width - 2 * MARGIN))
    return serialize_svg(root)


def _held(path: Path) -> str:
    moved = [move.semitones for step in path.steps for move in step.moves]
    still = sum(1 for semitones in moved if not semitones)
    near = sum(1 for semitones in moved if 1 <= abs(semitones) <= 2)
    return f"{still} of {len(moved)} moves stay and {near} go by a half or a whole step"


def _bars(group: Element, row: StepRow, grid: _Grid, first: bool, last: bool) -> None:
    """Bar lines with the measures' numbers, and the signs of a loop."""
    height = grid.pitches.height
    names = add_element(group, "g", fill=QUIET, font_size=8.5)
    path = ""
    for place in row.places:
        if place.bar:
            path += f"M{px(place.x - place.lead)} 0v{px(height)}"
            add_element(names, "text", str(place.measure), x=place.x - place.lead, y=-5)
    path += f"M{px(row.width)} 0v{px(height)}"
    add_element(group, "path", d=path, stroke=QUIET, stroke_width=1, fill="none")
    if grid.loop and first:
        _repeat(group, -2.0, -1, height)
    if grid.loop and last:
        _repeat(group, row.width, 1, height)


def _repeat(group: Element, x: float, way: int, height: float) -> None:
    """A repeat sign outside the row: a thick line, its dots inside, where no voice ever lies."""
    add_element(
        group,
        "path",
        d=f"M{px(x + 3 * way)} 0v{px(height)}",
        stroke=INK,
        stroke_width=3.5,
    )
    for y in (HALF_STEP / 2, height - HALF_STEP / 2):
        add_element(group, "circle", cx=x - 6 * way, cy=y, r=2, fill=INK)


def _draw(
    group: Element, place: StepPosition, step: PathStep, lead: PreviousNotes, grid: _Grid
) -> None:
    """A step: strokes into it, what is held, dots, figures, symbol."""
    checkpoint()
    _label(group, place, step, grid)
    if step.voicing is None:
        x, middle = place.x - _DOT, grid.pitches.height / 2
        add_element(group, "text", "hands rest", x=x, y=middle, font_size=9, fill=QUIET)
        return
    y = grid.pitches.y
    held = "".join(f"M{px(place.x)} {px(y(midi))}h{px(place.hold)}" for midi in step.voicing.midi)
    still = MOTION_STYLES[0]
    add_element(group, "path", d=held, stroke=still.colour, stroke_width=still.width, fill="none")
    _strokes(group, place, lead.every, grid)
    for note in step.voicing.notes:
        dot = _dot(group, place.x, y(note.midi), note)
        add_element(dot, "title", f"{note.note}, {note.degree}{', bass' * note.bass}")
    _numbers(group, place, lead.every, grid)


def _dot(group: Element, x: float, y: float, note: Note) -> Element:
    """A voice's dot, or the bass's diamond."""
    if not note.bass:
        return add_element(group, "circle", cx=x, cy=y, r=_DOT, data_midi=note.midi)
    d = px(_DOT * 1.5)
    shape = f"M{px(x - _DOT * 1.5)} {px(y)}l{d} -{d} {d} {d} -{d} {d}z"
    return add_element(group, "path", d=shape, data_midi=note.midi)


def _strokes(group: Element, place: StepPosition, moves: Sequence[Move], grid: _Grid) -> None:
    y, start = grid.pitches.y, place.x - place.lead
    for one in MOTION_STYLES:
        ways = dict.fromkeys(
            (move.from_midi, move.to_midi) for move in moves if motion_style(move.semitones) is one
        )
        d = "".join(f"M{px(start)} {px(y(a))}L{px(place.x)} {px(y(b))}" for a, b in ways)
        if d:
            add_element(
                group, "path", d=d, stroke=one.colour, stroke_width=one.width, fill="none",
                stroke_dasharray=one.dash,
            )  # fmt: skip
    if place.torn:
        for midi in dict.fromkeys(move.from_midi for move in moves):
            add_element(
                group, "circle", cx=start, cy=y(midi), r=2.4, fill=PAPER,
                stroke=MOTION_STYLES[0].colour, stroke_width=1.4,
            )  # fmt: skip


def _numbers(group: Element, place: StepPosition, moves: Sequence[Move], grid: _Grid) -> None:
    """The semitones of each move beside where it arrives, the longest of a merge."""
    longest: dict[int, int] = {}
    for move in moves:
        if abs(move.semitones) >= abs(longest.get(move.to_midi, 0)):
            longest[move.to_midi] = move.semitones
    told = add_element(group, "g", font_size=_NUMBER)
    for midi, semitones in longest.items():
        if semitones:
            sign = "+" if semitones > 0 else "−"
            x, y = place.x + _DOT + 2, grid.pitches.y(midi) - 2
            add_element(told, "text", f"{sign}{abs(semitones)}", x=x, y=y)


def _label(group: Element, place: StepPosition, step: PathStep, grid: _Grid) -> None:
    y = grid.pitches.height
    symbol = truncate_text(step.step.symbol, _SYMBOL, place.room, bold=True)
    x = place.x - _DOT
    add_element(group, "text", symbol, x=x, y=y + 15, font_size=_SYMBOL, font_weight="bold")
    if step.motion:
        words = (
            f"{step.motion} in all" if place.room > text_width("00 in all", 9) else str(step.motion)
        )
        add_element(group, "text", words, x=x, y=y + 28, font_size=9, fill=QUIET)


def _legend(parent: Element, room: float) -> float:
    """Say what the strokes mean, in as many lines as it takes; the height of it all."""
    x = y = 0.0
    for one in MOTION_STYLES:
        wide = 34 + text_width(one.words, 10)
        if x and x + wide > room:
            x, y = 0.0, y + 18
        add_element(
            parent, "path", d=f"M{px(x)} {px(y)}h26", stroke=one.colour,
            stroke_width=one.width, stroke_dasharray=one.dash, fill="none",
        )  # fmt: skip
        add_element(parent, "text", one.words, x=x + 32, y=y + 3.5)
        x += wide + 14
    return y + 18
