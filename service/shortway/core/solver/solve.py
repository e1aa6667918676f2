"""Solve: a chart and a setting in, the path of least cost out.

`request` reads the arguments, `exact` finds the path, and `report` makes the result.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Final

from shortway.core.charts import Chart
from shortway.core.errors import TooLarge
from shortway.core.settings.fields import read_integer
from shortway.core.settings.setting import Setting
from shortway.core.solver.listing import voicings
from shortway.core.solver.pins import Pin
from shortway.core.solver.report import build_path
from shortway.core.solver.request import as_chart, build_problem
from shortway.core.solver.results import Listing, Path, PathStep, PriceItem, Ranked, Size
from shortway.core.solver.search.exact import choices, least_motion, solve_k_best
from shortway.core.voice_leading.moves import Move

__all__ = [
    "Listing", "Move", "Path", "PathStep", "Pin", "PriceItem", "Ranked", "Size", "solve",
    "voicings",
]  # fmt: skip

#: Most alternatives of one request.
MOST_ALTERNATIVES: Final = 50
#: Most choices of one request.
MOST_CHOICES: Final = 1_000
#: Most steps of one result, alternatives included.
MOST_STEPS: Final = 50_000


def solve(
    chart: Chart | str | Mapping[str, object],
    setting: Mapping[str, object] | Setting | None = None,
    *,
    loop: bool = False,
    pins: Sequence[Pin | Mapping[str, object]] = (),
    start_from: Sequence[int] | None = None,
    keep: Sequence[Mapping[str, object]] = (),
    alternatives: int = 0,
    differs_in: int = 1,
    top_line: str = "free",
    choices_at: int | None = None,
    limit: int = 100,
    with_least_motion: bool = False,
) -> Path:
    """The path of least cost: the global optimum over every candidate of every step.

    Parameters
    ----------
    chart : Chart, str or mapping
        A chart, its text, or its JSON form.
    setting : mapping or Setting, optional
    loop : bool
        Whether the form repeats; the move from the last step to the first then counts, and the
        whole loop is solved exactly.
    pins : sequence of Pin or mapping
        Voicings of given steps.
    start_from : sequence of int, optional
        MIDI numbers of the notes already sounding, the bass among them where nobody else plays it.
    keep : sequence of mapping
        ``{"step": int, "midi_notes": [...]}``: notes of an earlier path, at steps of this chart. As
        few of these steps as possible change, before anything else is compared; the path lists
        them as `released`.
    alternatives, differs_in : int, optional
        How many further paths, 0 to 50: each the best of those that differ from the best path and
        all earlier alternatives in at least `differs_in` steps. With 1 they are the next best paths
        there are.
    top_line : {"free", "hold", "rise", "fall"}
        The line of the top voice. The semitones by which it moves (hold), falls (rise) or rises
        (fall) are minimised first, then cost; in a loop a line that rises or falls starts again
        with each repeat.
    choices_at, limit : int, optional
        A step whose candidates are listed as `choices`, at most `limit` of them (1 to 1,000): each
        with cost and motion of the best path through it, and in the order of these two. The voicing
        of this path comes first.
    with_least_motion : bool
        Whether to compute the least motion of any path, by a second search without prices.

    Raises
    ------
    ChartError, SymbolError, SettingError, PinError
        With pointers below ``/chart``, ``/setting``, ``/pins``, ``/keep`` and ``/start_from``.
    NoVoicing
        If a step has no voicing, with how many each rule excludes.
    TooLarge
        If the request is too large to be solved exactly.

    >>> setting = {"families": ["guide-tone-extended"], "pricing": "none"}
    >>> path = solve("| Dm7 | G7 | Cmaj7 | % |", setting)
    >>> path.motion, [step.motion for step in path.steps]
    (6, [0, 5, 1, 0])
    """
    problem = build_problem(
        as_chart(chart),
        setting,
        loop=loop,
        pins=pins,
        start_from=start_from,
        top_line=top_line,
        keep=keep,
    )
    steps = problem.steps
    given = {"alternatives": alternatives, "differs_in": differs_in}
    read_integer(given, "alternatives", 0, MOST_ALTERNATIVES, 0)
    read_integer(given, "differs_in", 1, max(1, len(steps)), 1)
    if len(steps) * (alternatives + 1) > MOST_STEPS:
        detail = f"{alternatives + 1} paths of {len(steps):,} steps are too much for one answer"
        raise TooLarge.at("/alternatives", detail, expected=f"at most {MOST_STEPS:,} steps in all")
    read_integer({"limit": limit}, "limit", 1, MOST_CHOICES, 100)
    read_integer({"choices_at": choices_at}, "choices_at", 0, max(0, len(steps) - 1), 0)
    best, *others = solve_k_best(problem, alternatives, differs_in)
    return build_path(
        best,
        alternatives=tuple(map(build_path, others)),
        choices=() if choices_at is None else choices(problem, best, choices_at, limit),
        least_motion=least_motion(problem) if with_least_motion else None,
    )
