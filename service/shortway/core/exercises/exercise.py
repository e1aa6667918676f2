"""Exercises: a chart through the keys as one chart, and the one path through all of it.

Knows transposition, functions and the solver. Each key begins afresh, so that its chords are heard
as they are in every other key, whatever key comes before or after.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any, Final

from shortway.core import charts
from shortway.core.charts import MAX_STEPS, Chart
from shortway.core.errors import ChartError, NoVoicing, ShortwayError, TooLarge
from shortway.core.exercises.copies import join_copies
from shortway.core.exercises.difficulty import PathDifficulty, rate_difficulty
from shortway.core.exercises.formula import solve_formula
from shortway.core.exercises.key_orders import keys_in_order
from shortway.core.harmony.functions import main_key
from shortway.core.harmony.transposition import distance, transpose
from shortway.core.settings.fields import read_choice
from shortway.core.settings.setting import Setting
from shortway.core.solver.request import as_chart
from shortway.core.solver.results import Path
from shortway.core.solver.solve import solve

#: How the voicings of the keys go together.
FORMULAS: Final = ("same", "best")

_MEASURE: Final = re.compile(r"/chart/measures/(\d+)(/.*)")


@dataclass(frozen=True, slots=True)
class KeySection:
    """Where the exercise is in one key.

    Attributes
    ----------
    key : str
    semitones : int
        From the chart's own key, -5 to 6: by so much a melody moves.
    measure, step, steps : int
        The first measure, from 1; the first step, from 0; how many steps.
    motion : int or None
        Semitones moved into its first chord: the join. None where all is N.C.
    difficulty : int or None
        The mean of its steps' difficulty, rounded. None where all is N.C.
    """

    key: str
    semitones: int
    measure: int
    step: int
    steps: int
    motion: int | None
    difficulty: int | None = None


@dataclass(frozen=True, slots=True)
class Exercise:
    """A chart in all the keys of an exercise, and the path through them.

    Attributes
    ----------
    key : str
        The chart's own key.
    inferred : bool
        Whether it was read off the chords.
    key_order : str or None
        None where the caller listed the keys.
    keys : tuple of str
        In the order in which they are played.
    sections : tuple of KeySection
        Where each of them is.
    chart : Chart
        All of it, written out.
    path : Path
        The one path through all of it.
    formula : {"same", "best"}
        Whether every key plays the same voicings, transposed. ``best`` where that was asked for,
        or where no voicing of some chord can be played in all the keys.
    difficulty : PathDifficulty
        How hard each step is, and the hardest and easiest measures.
    """

    key: str
    inferred: bool
    key_order: str | None
    keys: tuple[str, ...]
    sections: tuple[KeySection, ...]
    chart: Chart
    path: Path
    formula: str
    difficulty: PathDifficulty


def exercise(
    chart: Chart | str | Mapping[str, object],
    key_order: str | None = None,
    setting: Mapping[str, object] | Setting | None = None,
    *,
    keys: Sequence[str] | None = None,
    formula: str = "same",
    loop: bool = False,
    top_line: str = "free",
    start_from: Sequence[int] | None = None,
) -> Exercise:
    """A chart through the keys, as one path of least cost, joins included.

    Parameters
    ----------
    chart : Chart, str or mapping
        Repeats and endings are written out in each key. Its own key is `Chart.key`, else the key
        that most of it is heard in.
    key_order : str, optional
        One of `KEY_ORDERS`; ``fourths`` by default.
    keys : sequence of str, optional
        In its place, 1 to `MAX_KEYS` tonics in the order wanted; a key may come again.
    formula : {"same", "best"}
        ``same``: the same voicings in every key, transposed, each key in the octave that makes the
        whole cost least. Where no octave leaves all keys in the range, the range is widened by as
        little as is needed; the setting of the path says so. ``best``: whatever costs least.
    setting, loop, top_line, start_from
        As for `solve`; `loop` leads from the last key back to the first.

    Raises
    ------
    ShortwayError
        As `solve` does, with pointers into what was given.
    TooLarge
        If it would have more than `MAX_STEPS` steps.

    >>> found = exercise("| Dm7 | G7 | Cmaj7 | % |", None, {"hands": "left"}, keys=["C", "F"])
    >>> found.key, found.inferred, [(one.key, one.step, one.motion) for one in found.sections]
    ('C', True, [('C', 0, 0), ('F', 4, 22)])
    """
    given = as_chart(chart)
    formula = read_choice({"formula": formula}, "formula", FORMULAS, "same")
    own = _own_key(given)
    names = keys_in_order(own, key_order, keys)
    _check_size(given, len(names))
    try:
        copies = [transpose(given, own, name) for name in names]
        whole = join_copies(copies)
    except ShortwayError as error:
        raise error.under("/chart") from None
    try:
        path = None
        options: dict[str, Any] = {"loop": loop, "top_line": top_line, "start_from": start_from}
        if formula == "same":
            semitones = [distance(names[0], name) for name in names]
            path = solve_formula(whole, semitones, setting, **options)
        used = "best" if path is None else "same"
        path = path or solve(whole, setting, **options)
    except NoVoicing as error:
        raise _within(error, given, names) from None
    difficulty = rate_difficulty(path)
    parts = tuple(_in_keys(given, own, names, path, difficulty))
    order = None if keys is not None else key_order or "fourths"
    return Exercise(
        own, given.key is None, order, tuple(names), parts, whole, path, used, difficulty
    )


def _own_key(chart: Chart) -> str:
    """The chart's own key: as it names it, else the one that most of it is heard in."""
    own = chart.key or main_key(chart, charts.unroll(chart))
    if own is None:
        detail = "the chart has no key and no chord"
        raise ChartError.at("/chart", detail, expected="a key, or a chord")
    return own


def _check_size(chart: Chart, keys: int) -> None:
    steps = keys * sum(len(chart.measures[number - 1]) for number in chart.order)
    if steps > MAX_STEPS:
        detail = f"the exercise has {steps:,} chords to play; {MAX_STEPS:,} is the limit"
        expected = f"at most {MAX_STEPS // keys:,} steps in each of {keys} keys, repeats counted"
        raise TooLarge.at("/chart", detail, expected=expected)


def _in_keys(
    chart: Chart, own: str, names: Sequence[str], path: Path, difficulty: PathDifficulty
) -> Iterator[KeySection]:
    """Where each key begins, the motion into it, and how hard it is."""
    bars, steps = len(chart.order), len(path.steps) // len(names)
    for number, name in enumerate(names):
        first = number * steps
        moved = (step.motion for step in path.steps[first : first + steps])
        motion = next((motion for motion in moved if motion is not None), None)
        rated = [one.difficulty for one in difficulty.steps if 0 <= one.step - first < steps]
        mean = round(sum(rated) / len(rated)) if rated else None
        yield KeySection(name, distance(own, name), 1 + number * bars, first, steps, motion, mean)


def _within(error: NoVoicing, chart: Chart, names: Sequence[str]) -> NoVoicing:
    """A refusal of the whole as one of the chart that was given, in the key where it is met."""
    fault = error.faults[0]
    match = _MEASURE.match(fault.pointer)
    if match is None:
        return error
    key, bar = divmod(int(match[1]), len(chart.order))
    pointer = f"/chart/measures/{chart.order[bar] - 1}{match[2]}"
    detail = f"in {names[key]}, {fault.detail}"
    return NoVoicing(
        detail, replace(fault, pointer=pointer, detail=detail), excluded=error.excluded
    )
