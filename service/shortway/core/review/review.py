"""Review: what somebody played over a chart, judged step by step and beside the best path.

Knows every other module of the core. Each step's notes are named and judged by themselves
(`review.findings`); the way between them is counted as a path's is; and what was played is
compared with the best path through the same steps and with the best continuation from each step.

The one overall figure is `Review.excess`: the motion of what was played, less the least motion of
any path through the same steps under the same setting. It is the sum of the steps' own `excess`:
what a step cost is the motion into it and the least that remains after it, less the least that
remained before it. The first step's is what remains after it, less the best path's total.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from fractions import Fraction

from shortway.core import charts
from shortway.core.charts import Chart
from shortway.core.errors import ShortwayError
from shortway.core.review.comparison import Comparison
from shortway.core.review.input import read_played
from shortway.core.review.results import Review
from shortway.core.settings.setting import Setting
from shortway.core.solver.pins import Pin
from shortway.core.solver.report import build_path
from shortway.core.solver.request import as_chart, build_problem, pins_of
from shortway.core.solver.search.exact import solve_k_best


def review(
    chart: Chart | str | Mapping[str, object],
    played: Sequence[Sequence[int | str] | None],
    setting: Mapping[str, object] | Setting | None = None,
    *,
    loop: bool = False,
    pins: Sequence[Pin | Mapping[str, object]] = (),
    timing: Sequence[Fraction | None] = (),
) -> Review:
    """What is to be said of the notes that were played at each step of a chart.

    Parameters
    ----------
    chart : Chart, str or mapping
    played : sequence
        For each step of the unrolled chart MIDI numbers or note names, or None.
    setting, loop, pins
        As for `shortway.core.solver.solve.solve`: what the player is held to.
    timing : sequence of Fraction or None, optional
        When each step's chord was struck, in quarter notes after the step begins.

    Raises
    ------
    ChartError, SymbolError, SettingError, PinError, NoVoicing, TooLarge
        As `solve` does.
    PlayedError, SettingError, WrongType
        If `played` does not answer to the chart; pointers below ``/played``.

    >>> said = review("| Dm7 | G7 |", [[53, 60, 64, 69], ["F3", "A3", "B3", "F#4"]],
    ...               {"hands": "left"})
    >>> said.excess, [finding.words for finding in said.steps[1].findings]
    (11, ['F#4 would be the 7 of G7: neither in it nor a tension of it'])
    """
    read = as_chart(chart)
    steps = charts.unroll(read)
    try:
        notes = read_played(played, len(steps))
    except ShortwayError as error:
        raise error.under("/played") from None
    silent = frozenset(index for index, midi in enumerate(notes) if not midi)
    search = build_problem(read, setting, loop=loop, pins=pins, silent=silent)
    best = build_path(solve_k_best(search)[0])
    return Comparison(search, notes, best, pins_of(pins, steps), timing).review()
