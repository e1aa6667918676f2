"""Excerpts: some measures of a chart and the part of its path that plays them.

Knows charts and paths. Steps keep their numbers; onsets and printed measure numbers begin anew.
"""

from dataclasses import replace
from itertools import takewhile

from shortway.core.charts import Chart
from shortway.core.errors import SettingError
from shortway.core.solver.results import Path, PathStep
from shortway.core.voice_leading.moves import NO_VOICES


def excerpt(chart: Chart, path: Path, first: int | None, last: int | None) -> tuple[Chart, Path]:
    """The measures `first` to `last` as they are played the first time, with their steps.

    `first`, `last`: written measures, from 1; None for the first and the last of the chart. The
    excerpt begins where one of them is first played, and ends where another measure is.

    Raises SettingError if the chart does not play these measures; the pointer is ``/from_measure``
    or ``/to_measure``.
    """
    if first is None and last is None:
        return chart, path
    low, high = first or 1, last or len(chart.measures)
    _check(len(chart.measures), low, high)
    order = chart.order
    begin = next((k for k, number in enumerate(order) if low <= number <= high), None)
    if begin is None:
        detail = f"measures {low} to {high} are never played"
        raise SettingError.at("/from_measure", detail, expected="measures that are played")
    run = tuple(takewhile(lambda number: low <= number <= high, order[begin:]))
    sizes = [len(chart.measures[number - 1]) for number in order[: begin + len(run)]]
    steps = path.steps[sum(sizes[:begin]) : sum(sizes)]
    return replace(chart, order=run), _alone(path, steps)


def _check(count: int, low: int, high: int) -> None:
    if low > count:
        detail = f"the chart has no measure {low}"
        raise SettingError.at("/from_measure", detail, expected=f"1 to {count}")
    if not low <= high <= count:
        detail = f"the chart has no measures {low} to {high}"
        raise SettingError.at("/to_measure", detail, expected=f"{low} to {count}")


def _alone(path: Path, steps: tuple[PathStep, ...]) -> Path:
    """A path of some consecutive steps, as if nothing came before."""
    start = steps[0].step.onset
    moved = [of._replace(step=of.step._replace(onset=of.step.onset - start)) for of in steps]
    first = moved[0].arrival
    if first is not None:
        moved[0] = moved[0]._replace(arrival=replace(first, voices=NO_VOICES, motion=0))
    leaps = [abs(move.semitones) for of in moved for move in of.moves]
    return replace(
        path,
        steps=tuple(moved),
        motion=sum(of.motion or 0 for of in moved),
        largest_leap=max(leaps, default=0),
        loop_motion=None,
        start_motion=None,
    )
