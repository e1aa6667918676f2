"""Layout of the voice lines: rows of whole measures, x by beats, y by pitch.

All beats of a picture are equally wide, but a step is never narrower than its symbol and figures.
The pitch axis has half steps upwards, with black keys shaded, and C and F named.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final
from xml.etree.ElementTree import Element

from shortway.core.settings.keyboard import is_black_key
from shortway.core.solver.solve import Path, PathStep
from shortway.scores.pictures.style import GRID, INK, QUIET, SHADE
from shortway.scores.pictures.svg import add_element, px, text_width

#: Px of a beat before the rows are stretched to the width of the picture.
_LEAST_BEAT: Final = 20.0
_MOST_BEAT: Final = 44.0
#: Px of a step: a dot, a figure of two digits and the stroke into the next.
_LEAST_STEP: Final = 52.0
_MOST_STEP: Final = 320.0
#: The share of a step that the stroke into the next one takes, and limits in px.
_SHARE: Final = 0.42
_LONGEST_LEAD: Final = 30.0
_SMALLEST_LEAD: Final = 22.0
_STRETCH: Final = 2.4
#: Measures of a row; the first number that fits is chosen.
_PER_ROW: Final = (16, 8, 4, 2, 1)
#: Px of a half step.
HALF_STEP: Final = 10.0
_NAMED: Final = {0: "C", 5: "F"}


@dataclass(frozen=True, slots=True)
class StepPosition:
    """The step `number`, from 0, in its row, in px.

    Its dots are at `x`, where strokes of width `lead` end and lines of width `hold` begin; `room`
    is for its symbol. `bar`: a measure begins here; `torn`: the step before is not directly left.
    """

    number: int
    measure: int
    x: float
    lead: float
    hold: float
    room: float
    bar: bool
    torn: bool


@dataclass(frozen=True, slots=True)
class StepRow:
    """Steps from left to right; `width` in px."""

    places: tuple[StepPosition, ...]
    width: float


def lay_out_rows(path: Path, room: float, symbol: float) -> tuple[StepRow, ...]:
    """The rows of a path: at most `room` px wide, symbols `symbol` px high."""
    symbols = (text_width(step.step.symbol, symbol, bold=True) for step in path.steps)
    needs = [max(_LEAST_STEP, width + 10) for width in symbols]
    steps = [(need, float(s.step.beats)) for need, s in zip(needs, path.steps, strict=True)]
    beat = max((need / beats for need, beats in steps), default=0.0)
    beat = max(min(beat, _MOST_BEAT), _LEAST_BEAT)
    widths = [min(max(need, beat * beats), max(need, _MOST_STEP)) for need, beats in steps]
    inside = room - _SMALLEST_LEAD
    rows = _rows(_measures(path.steps), [min(width, inside) for width in widths], inside)
    longest = max((sum(widths[k] for k in row) for row in rows), default=inside)
    stretch = min(max(inside / longest, 0.01), _STRETCH)
    return tuple(_row(path.steps, row, widths, stretch, inside) for row in rows)


def _measures(steps: Sequence[PathStep]) -> list[list[int]]:
    """The steps of each measure as played."""
    measures: list[list[int]] = []
    for number, step in enumerate(steps):
        if step.step.beat == 1 or not measures:
            measures.append([])
        measures[-1].append(number)
    return measures


def _rows(measures: Sequence[list[int]], widths: Sequence[float], room: float) -> list[list[int]]:
    """The most measures that fit in every row; a measure wider than a row is split."""
    for count in _PER_ROW:
        chunks = [measures[k : k + count] for k in range(0, len(measures), count)]
        rows = [[number for measure in chunk for number in measure] for chunk in chunks]
        if all(sum(widths[k] for k in row) <= room for row in rows):
            return rows
    broken: list[list[int]] = []
    for measure in measures:
        broken.append([])
        for number in measure:
            if broken[-1] and sum(widths[k] for k in (*broken[-1], number)) > room:
                broken.append([])
            broken[-1].append(number)
    return broken


def _row(
    steps: Sequence[PathStep], row: Sequence[int], widths: Sequence[float], stretch: float,
    room: float,
) -> StepRow:  # fmt: skip
    wide = [min(widths[number] * stretch, room) for number in row]
    leads = [_SMALLEST_LEAD, *(min(_SHARE * width, _LONGEST_LEAD) for width in wide[:-1]), 0.0]
    places, x = [], _SMALLEST_LEAD
    for k, number in enumerate(row):
        step, after_rest = steps[number].step, number > 0 and steps[number - 1].voicing is None
        place = StepPosition(
            number, step.measure, x, lead=leads[k], hold=wide[k] - leads[k + 1],
            room=wide[k] - 6, bar=step.beat == 1, torn=k == 0 or after_rest,
        )  # fmt: skip
        places.append(place)
        x += wide[k]
    return StepRow(tuple(places), x)


@dataclass(frozen=True, slots=True)
class PitchAxis:
    """The half steps from `lowest` to `highest`; y is 0 at the top of a row."""

    lowest: int
    highest: int

    @property
    def height(self) -> float:
        """Height of all half steps."""
        return (self.highest - self.lowest + 1) * HALF_STEP

    def y(self, midi: int) -> float:
        """Y of the middle of a half step."""
        return (self.highest - midi + 0.5) * HALF_STEP

    def draw(self, parent: Element, width: float) -> None:
        """Draw bands for black keys, and lines with names for C and F."""
        inside = range(self.lowest, self.highest + 1)
        top = {midi: px(self.y(midi) - HALF_STEP / 2) for midi in inside}
        across = f"h{px(width)}v{px(HALF_STEP)}h{px(-width)}z"
        bands = "".join(f"M0 {top[midi]}{across}" for midi in inside if is_black_key(midi))
        add_element(parent, "path", d=bands, fill=SHADE)
        named = [midi for midi in inside if midi % 12 in _NAMED]
        rules = "".join(f"M0 {px(self.y(midi))}h{px(width)}" for midi in named)
        add_element(parent, "path", d=rules, stroke=GRID, fill="none")
        names = add_element(parent, "g", font_size=9, text_anchor="end")
        for midi in named:
            colour = INK if midi % 12 == 0 else QUIET
            words = f"{_NAMED[midi % 12]}{midi // 12 - 1}"
            add_element(names, "text", words, x=-12, y=self.y(midi) + 3.2, fill=colour)


def pitch_axis_of(path: Path) -> PitchAxis:
    """The range of a path's notes and of those that it starts from, with a margin."""
    midi = [key for step in path.steps if step.voicing for key in step.voicing.midi_notes]
    midi += [move.from_midi for step in path.steps for move in step.moves]
    return PitchAxis(min(midi, default=60) - 1, max(midi, default=72) + 1)
