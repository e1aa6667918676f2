"""Where each step of the voice lines stands: rows of whole measures, x by beats.

Knows the core's answers and how wide words are; draws nothing. All beats of a picture are equally
wide, but a step is never narrower than its symbol and figures need.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from shortway.core.solver.solve import Path, PathStep
from shortway.scores.pictures.svg import text_width

#: Px a beat before the rows are stretched to the picture's width, at the least and at the most.
_LEAST_BEAT: Final = 20.0
_MOST_BEAT: Final = 44.0
#: Px a step: room for a dot, a figure of two digits and the stroke into the next.
_LEAST_STEP: Final = 52.0
_MOST_STEP: Final = 320.0
#: The stroke into a step takes this share of the step before it, up to so many px.
_SHARE: Final = 0.42
_LONGEST_LEAD: Final = 30.0
_SMALLEST_LEAD: Final = 22.0
_STRETCH: Final = 2.4
#: Measures a row, the first number that fits.
_PER_ROW: Final = (16, 8, 4, 2, 1)


@dataclass(frozen=True, slots=True)
class StepPosition:
    """A step in its row.

    Attributes
    ----------
    number, measure : int
        The step, from 0; its written measure.
    x : float
        Where it sounds.
    lead : float
        Px before `x` in which the step before is led over into it.
    hold : float
        Px from `x` to where the next is led into, or to the row's end.
    room : float
        Px for its symbol.
    bar : bool
        Whether a measure begins here.
    torn : bool
        Whether the step before does not lie just to the left.
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
    needs = [_need(step, symbol) for step in path.steps]
    beat = min(
        max((n / float(s.step.beats) for n, s in zip(needs, path.steps, strict=True)), default=0.0),
        _MOST_BEAT,
    )
    beat = max(beat, _LEAST_BEAT)
    widths = [
        min(max(need, beat * float(step.step.beats)), max(need, _MOST_STEP))
        for need, step in zip(needs, path.steps, strict=True)
    ]
    inside = room - _SMALLEST_LEAD
    rows = _rows(_measures(path.steps), [min(width, inside) for width in widths], inside)
    longest = max((sum(widths[k] for k in row) for row in rows), default=inside)
    stretch = min(max(inside / longest, 0.01), _STRETCH)
    return tuple(_row(path.steps, row, widths, stretch, inside) for row in rows)


def _need(step: PathStep, symbol: float) -> float:
    return max(_LEAST_STEP, text_width(step.step.symbol, symbol, bold=True) + 10)


def _measures(steps: Sequence[PathStep]) -> list[list[int]]:
    """The steps of each measure as played."""
    measures: list[list[int]] = []
    for number, step in enumerate(steps):
        if step.step.beat == 1 or not measures:
            measures.append([])
        measures[-1].append(number)
    return measures


def _rows(measures: Sequence[list[int]], widths: Sequence[float], room: float) -> list[list[int]]:
    """As many measures a row as fit in every one; a measure wider than a row is broken up."""
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
    leads = [_SMALLEST_LEAD, *(min(_SHARE * width, _LONGEST_LEAD) for width in wide)]
    places, x = [], _SMALLEST_LEAD
    for k, number in enumerate(row):
        end = 0.0 if k == len(row) - 1 else leads[k + 1]
        step, after_rest = steps[number].step, number > 0 and steps[number - 1].voicing is None
        hold, begins, torn = wide[k] - end, step.beat == 1, k == 0 or after_rest
        place = StepPosition(number, step.measure, x, leads[k], hold, wide[k] - 6, begins, torn)
        places.append(place)
        x += wide[k]
    return StepRow(tuple(places), x)
