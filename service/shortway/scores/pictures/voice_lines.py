"""A picture of a path: each voice as a line through pitch over time.

Time runs by beats from left to right, in rows of whole measures; pitch rises by half steps. A voice
is a horizontal line through its step. A stroke whose colour, width and dashes show the size of the
move leads into the next step, with the semitones beside it; after a row break, an N.C. or the end
of a loop it starts from a hollow dot. The bass has diamonds.
"""

from collections.abc import Sequence
from typing import Final
from xml.etree.ElementTree import Element

from shortway.core.cancellation import checkpoint
from shortway.core.solver.solve import Path, PathStep
from shortway.core.voice_leading.moves import Move
from shortway.core.voicings.model import Note
from shortway.scores.display import DEFAULT_WIDTH
from shortway.scores.pictures.captions import picture_title
from shortway.scores.pictures.line_layout import (
    HALF_STEP,
    PitchAxis,
    StepPosition,
    StepRow,
    lay_out_rows,
    pitch_axis_of,
)
from shortway.scores.pictures.page_layout import (
    MARGIN,
    LegendEntry,
    begin_picture,
    clamp_width,
    draw_heading,
    finish_picture,
)
from shortway.scores.pictures.previous_step import PreviousNotes, previous_notes
from shortway.scores.pictures.style import (
    INK,
    MOTION_STYLES,
    PAPER,
    QUIET,
    MotionStyle,
    motion_style,
)
from shortway.scores.pictures.svg import add_element, px, text_width, truncate_text

_GUTTER: Final = 36.0
_DOT: Final = 3.2
_NUMBER: Final = 8.0
_SYMBOL: Final = 13.0
#: Height of measure numbers above, and of symbols, figures and space below the lines of a row.
_ABOVE: Final = 16
_BELOW: Final = 52.0


def draw_voice_lines(
    path: Path, title: str | None = None, width: float = DEFAULT_WIDTH, theme: str = "light"
) -> bytes:
    """The voice lines, in rows of measures, as SVG in UTF-8.

    `title` is the tune's; `width` is in px, limited to 240 to 4,000;
    `theme` is one of `THEMES`. Each step is a `g` with
    `data-step`, its number from 0; each note in it has `data-midi`.
    """
    width = clamp_width(width)
    name = picture_title("Voice lines", title)
    about = f"Each voice a line through pitch over time, {_small_moves(path)}"
    root = begin_picture("lines", name, about, path, width)
    top = draw_heading(root, name, path, width)
    axis, leads = pitch_axis_of(path), previous_notes(path)
    rows = lay_out_rows(path, width - 2 * MARGIN - _GUTTER - 6, _SYMBOL)
    row_height = _ABOVE + axis.height + _BELOW
    for number, row in enumerate(rows):
        at = f"translate({px(MARGIN + _GUTTER)} {px(top + _ABOVE + number * row_height)})"
        group = add_element(root, "g", transform=at)
        axis.draw(group, row.width)
        _bars(group, row, axis.height)
        if path.loop_motion is not None and number == 0:
            _repeat(group, -2.0, -1, axis.height)
        if path.loop_motion is not None and number == len(rows) - 1:
            _repeat(group, row.width, 1, axis.height)
        for place in row.places:
            inner = add_element(group, "g", data_step=place.number)
            _draw(inner, place, path.steps[place.number], leads[place.number], axis)
    bottom = top + _ABOVE + len(rows) * row_height + 4
    return finish_picture(root, bottom, width, map(_legend_entry, MOTION_STYLES), theme)


def _small_moves(path: Path) -> str:
    moved = [move.semitones for step in path.steps for move in step.moves]
    still = sum(1 for semitones in moved if not semitones)
    near = sum(1 for semitones in moved if 1 <= abs(semitones) <= 2)
    return f"{still} of {len(moved)} moves stay and {near} go by a half or a whole step"


def _bars(group: Element, row: StepRow, height: float) -> None:
    """Bar lines with the numbers of the measures."""
    names = add_element(group, "g", fill=QUIET, font_size=8.5)
    path = ""
    for place in row.places:
        if place.bar:
            path += f"M{px(place.x - place.lead)} 0v{px(height)}"
            add_element(names, "text", str(place.measure), x=place.x - place.lead, y=-5)
    path += f"M{px(row.width)} 0v{px(height)}"
    add_element(group, "path", d=path, stroke=QUIET, stroke_width=1, fill="none")


def _repeat(group: Element, x: float, way: int, height: float) -> None:
    """A repeat sign outside the row: a thick line, its dots inside."""
    line = f"M{px(x + 3 * way)} 0v{px(height)}"
    add_element(group, "path", d=line, stroke=INK, stroke_width=3.5)
    for y in (HALF_STEP / 2, height - HALF_STEP / 2):
        add_element(group, "circle", cx=x - 6 * way, cy=y, r=2, fill=INK)


def _draw(
    group: Element, place: StepPosition, step: PathStep, lead: PreviousNotes, axis: PitchAxis
) -> None:
    """A step: symbol, held lines, strokes into it, dots, figures."""
    checkpoint()
    _label(group, place, step, axis.height)
    if step.voicing is None:
        x, middle = place.x - _DOT, axis.height / 2
        add_element(group, "text", "hands rest", x=x, y=middle, font_size=9, fill=QUIET)
        return
    y = axis.y
    held = "".join(
        f"M{px(place.x)} {px(y(midi))}h{px(place.hold)}" for midi in step.voicing.midi_notes
    )
    still = MOTION_STYLES[0]
    add_element(group, "path", d=held, stroke=still.colour, stroke_width=still.width, fill="none")
    _strokes(group, place, lead.moves, axis)
    for note in step.voicing.notes:
        dot = _dot(group, place.x, y(note.midi), note)
        add_element(dot, "title", f"{note.note}, {note.degree}{', bass' * note.is_bass}")
    _numbers(group, place, lead.moves, axis)


def _dot(group: Element, x: float, y: float, note: Note) -> Element:
    """The dot of a voice, or the diamond of the bass."""
    if not note.is_bass:
        return add_element(group, "circle", cx=x, cy=y, r=_DOT, data_midi=note.midi)
    d = px(_DOT * 1.5)
    shape = f"M{px(x - _DOT * 1.5)} {px(y)}l{d} -{d} {d} {d} -{d} {d}z"
    return add_element(group, "path", d=shape, data_midi=note.midi)


def _strokes(group: Element, place: StepPosition, moves: Sequence[Move], axis: PitchAxis) -> None:
    y, start = axis.y, place.x - place.lead
    for one in MOTION_STYLES:
        of_style = [move for move in moves if motion_style(move.semitones) is one]
        ways = dict.fromkeys((move.from_midi, move.to_midi) for move in of_style)
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


def _numbers(group: Element, place: StepPosition, moves: Sequence[Move], axis: PitchAxis) -> None:
    """The semitones of each move, beside its target; of several moves the largest."""
    longest: dict[int, int] = {}
    for move in moves:
        if abs(move.semitones) >= abs(longest.get(move.to_midi, 0)):
            longest[move.to_midi] = move.semitones
    figures = add_element(group, "g", font_size=_NUMBER)
    for midi, semitones in longest.items():
        if semitones:
            sign = "+" if semitones > 0 else "−"
            x, y = place.x + _DOT + 2, axis.y(midi) - 2
            add_element(figures, "text", f"{sign}{abs(semitones)}", x=x, y=y)


def _label(group: Element, place: StepPosition, step: PathStep, y: float) -> None:
    symbol = truncate_text(step.step.symbol, _SYMBOL, place.room, bold=True)
    x = place.x - _DOT
    add_element(group, "text", symbol, x=x, y=y + 15, font_size=_SYMBOL, font_weight="bold")
    if step.motion:
        words = f"{step.motion}" + " in all" * (place.room > text_width("00 in all", 9))
        add_element(group, "text", words, x=x, y=y + 28, font_size=9, fill=QUIET)


def _legend_entry(style: MotionStyle) -> LegendEntry:
    def draw(parent: Element, x: float, y: float) -> None:
        add_element(
            parent, "path", d=f"M{px(x)} {px(y)}h26", stroke=style.colour,
            stroke_width=style.width, stroke_dasharray=style.dash, fill="none",
        )  # fmt: skip

    return 34, 32, style.words, draw
