"""A picture of a path: a keyboard for each step, with hands and degrees.

The left hand's marks are square and hatched, the right hand's round and filled, the bass a diamond;
a note held from the step before is hollow. Degrees are above black and below white keys, and
brackets below show the hands.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final
from xml.etree.ElementTree import Element

from shortway.core.cancellation import checkpoint
from shortway.core.settings.keyboard import is_black_key
from shortway.core.solver.solve import Path, PathStep
from shortway.core.voicings.model import Note
from shortway.scores.display import DEFAULT_WIDTH
from shortway.scores.pictures.captions import picture_title, step_location
from shortway.scores.pictures.keyboard_drawing import (
    KeyboardGeometry,
    count_white_keys,
    define_markers,
    keyboard_range,
    marker_id,
)
from shortway.scores.pictures.page_layout import (
    MARGIN,
    LegendEntry,
    begin_picture,
    clamp_width,
    draw_heading,
    finish_picture,
)
from shortway.scores.pictures.previous_step import previous_notes
from shortway.scores.pictures.style import LEFT, QUIET, RIGHT
from shortway.scores.pictures.svg import add_element, px, text_width, truncate_text

_GAP: Final = 28.0
_LEAST_WHITE: Final = 15.0
_MOST_WHITE: Final = 21.0
_ALONE: Final = 24.0
_LABEL: Final = 10.0
_HEAD: Final = 24.0
_MIDDLE_C: Final = 60
_COLOUR: Final = {"left": LEFT, "right": RIGHT}
_DASH: Final = {"left": "3 1.5", "right": None}


@dataclass(frozen=True)
class _Card:
    """The geometry that the cards of all steps share: keyboard, lines of degrees, sizes in px."""

    keys: KeyboardGeometry
    above: int
    below: int
    label: float

    @property
    def top(self) -> float:
        return _HEAD + self.above * self.lane + 2

    @property
    def lane(self) -> float:
        return self.label * 1.25

    def degree_y(self, midi: int, line: int) -> float:
        """Baseline of a degree: above the keyboard for black keys, below it for white keys."""
        if is_black_key(midi):
            return self.top - 4 - line * self.lane
        return self.top + self.keys.depth + (line + 1) * self.lane - 1

    @property
    def under(self) -> float:
        return self.top + self.keys.depth + self.below * self.lane + 3

    @property
    def pitch(self) -> float:
        """The distance of two rows of cards, brackets included."""
        return self.under + 17 + _GAP


def draw_keyboards(
    path: Path, title: str | None = None, width: float = DEFAULT_WIDTH, theme: str = "light"
) -> bytes:
    """A keyboard for each step, in rows, as SVG in UTF-8.

    `title` is the tune's; `width` is in px, limited to 240 to 4,000;
    `theme` is one of `THEMES`. Each step is a `g` with
    `data-step`, its number from 0; each note in it a `g` with `data-midi`.
    """
    width = clamp_width(width)
    name, room = picture_title("Keyboards", title), width - 2 * MARGIN
    about = "A keyboard for each step, hands and degrees marked"
    root = begin_picture("keyboards", name, about, path, width)
    card, columns = _fit(path, room)
    picture = define_markers(root, card.keys)
    top = draw_heading(root, name, path, width)
    between = (room - columns * card.keys.width) / max(1, columns - 1)
    across = card.keys.width + min(2 * _GAP, between)
    for number, (step, lead) in enumerate(zip(path.steps, previous_notes(path), strict=True)):
        row, column = divmod(number, columns)
        at = f"translate({px(MARGIN + column * across)} {px(top + row * card.pitch)})"
        group = add_element(root, "g", transform=at, data_step=number)
        _draw(group, step, lead.keys, card, picture)
    bottom = top + card.pitch * -(-len(path.steps) // columns) + 6
    return finish_picture(
        root, bottom, width, [_legend_entry(picture, *row) for row in _LEGEND], theme
    )


def _fit(path: Path, room: float) -> tuple[_Card, int]:
    """The geometry of the cards, and how many a row has: the most whose keys are wide enough."""
    midi = [key for step in path.steps if step.voicing for key in step.voicing.midi_notes]
    first, last = keyboard_range(min(midi, default=_MIDDLE_C), max(midi, default=_MIDDLE_C))
    count = count_white_keys(first, last)
    columns = max(1, int((room + _GAP) // (count * _LEAST_WHITE + _GAP)))
    columns = min(columns, max(1, len(path.steps)))
    most = _MOST_WHITE if columns > 1 or len(path.steps) == 1 else _ALONE
    white = min((room - (columns - 1) * _GAP) / columns / count, most)
    keys = KeyboardGeometry(first, last, white)
    label = min(_LABEL, max(7.0, white * 0.56))
    lanes = [item for step in path.steps for item in _lanes(step, keys, label).items()]
    above = max((lane for midi, lane in lanes if is_black_key(midi)), default=0) + 1
    below = max((lane for midi, lane in lanes if not is_black_key(midi)), default=0) + 1
    return _Card(keys, above, below, label), columns


def _lanes(step: PathStep, keys: KeyboardGeometry, label: float) -> dict[int, int]:
    """The line of each note's degree, from the keyboard: the first in which it fits."""
    ends_of: dict[bool, list[float]] = {True: [], False: []}  # by the colour of the keys
    lanes = {}
    for note in step.voicing.notes if step.voicing else ():
        half = text_width(note.degree, label, bold=True) / 2
        left, right = keys.at(note.midi) - half, keys.at(note.midi) + half
        ends = ends_of[is_black_key(note.midi)]
        lane = next((k for k, end in enumerate(ends) if end + 1 <= left), len(ends))
        ends[lane : lane + 1] = [right]
        lanes[note.midi] = lane
    return lanes


def _draw(
    group: Element, step: PathStep, before: frozenset[int], card: _Card, picture: str
) -> None:
    checkpoint()
    width, where = card.keys.width, step_location(step.step)
    symbol = truncate_text(step.step.symbol, 15, width - text_width(where, 9) - 8, bold=True)
    add_element(group, "text", symbol, y=14, font_size=15, font_weight="bold")
    add_element(group, "text", where, x=width, y=14, font_size=9, fill=QUIET, text_anchor="end")
    add_element(group, "use", href=f"#{picture}-keys", y=card.top)
    if step.voicing is None:
        x, y = width / 2, card.under + 9
        add_element(group, "text", "hands rest", x=x, y=y, fill=QUIET, text_anchor="middle")
        return
    lanes = _lanes(step, card.keys, card.label)
    degrees = add_element(
        group, "g", font_size=card.label, font_weight="bold", text_anchor="middle"
    )  # fmt: skip
    for hand, notes in (("left", step.voicing.left), ("right", step.voicing.right)):
        for note in notes:
            mark = add_element(degrees, "g", data_midi=note.midi)
            _mark(mark, note, hand, note.midi in before, card, picture)
            y = card.degree_y(note.midi, lanes[note.midi])
            add_element(mark, "text", note.degree, x=card.keys.at(note.midi), y=y)
        if notes:
            _bracket(group, hand, notes, card)


def _mark(mark: Element, note: Note, hand: str, held: bool, card: _Card, picture: str) -> None:
    words = [note.note, note.degree, f"{hand} hand"]
    words += ["bass"] * note.is_bass + ["held"] * held
    add_element(mark, "title", ", ".join(words))
    x, y = card.keys.at(note.midi), card.top + card.keys.mark_y(note.midi)
    add_element(mark, "use", href=f"#{marker_id(picture, hand, note.is_bass, held)}", x=x, y=y)


def _bracket(group: Element, hand: str, notes: Sequence[Note], card: _Card) -> None:
    """A bracket under the notes of one hand, with the hand's name or its first letter."""
    half = card.keys.white * 0.3
    x, end = card.keys.at(notes[0].midi) - half, card.keys.at(notes[-1].midi) + half
    add_element(
        group, "path", d=f"M{px(x)} {px(card.under)}v4H{px(end)}v-4", fill="none",
        stroke=_COLOUR[hand], stroke_width=1.5, stroke_dasharray=_DASH[hand],
    )  # fmt: skip
    word = hand if text_width(hand, 9) <= end - x + 4 else hand[0].upper()
    add_element(
        group, "text", word, x=(x + end) / 2, y=card.under + 14, font_size=9, fill=_COLOUR[hand],
        text_anchor="middle",
    )  # fmt: skip


#: Words of the legend, and (hand, bass, held) of the marks that they explain.
_LEGEND: Final = (
    ("left hand", ("left", False, False)),
    ("right hand", ("right", False, False)),
    ("bass", ("left", True, False)),
    ("hollow: held from the step before", ("left", False, True), ("right", False, True)),
)


def _legend_entry(picture: str, words: str, *kinds: tuple[str, bool, bool]) -> LegendEntry:
    def draw(parent: Element, x: float, y: float) -> None:
        for number, kind in enumerate(kinds):
            mark = f"#{marker_id(picture, *kind)}"
            add_element(parent, "use", href=mark, x=x + 18 * number + 8, y=y)

    return 18 * len(kinds), 18 * len(kinds) + 1, words, draw
