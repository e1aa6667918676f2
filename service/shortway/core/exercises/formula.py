"""Formula: one and the same sequence of voicings in every key of an exercise.

Knows path problems; the path through all keys is folded to the length of one (`folding`). So the
formula is the best of all by the same order of preference, joins included, exactly.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from itertools import groupby
from typing import Final

import numpy as np
from numpy.typing import NDArray

from shortway.core.charts import Chart
from shortway.core.exercises.folding import Folded
from shortway.core.settings.setting import Setting
from shortway.core.solver.layers import Layer
from shortway.core.solver.problem import PathProblem
from shortway.core.solver.report import Solution, build_path
from shortway.core.solver.request import build_problem, in_range
from shortway.core.solver.results import Path

Index = NDArray[np.intp]
Array = NDArray[np.int64]
#: What a voicing is apart from its key: family, and MIDI numbers in the first key.
_Rows = dict[tuple[str, tuple[int, ...]], int]

#: Semitones by which a default range is widened at each end: twelve keys need an octave more than
#: one, or few voicings have a place in all of them.
WIDENING: Final = 5
#: Semitones by which a range is widened at each end at most, where no voicing fits all keys.
MAX_WIDENING: Final = 12
_LAST_MIDI: Final = 127


def solve_formula(
    chart: Chart,
    semitones: Sequence[int],
    setting: Mapping[str, object] | Setting | None = None,
    *,
    loop: bool = False,
    top_line: str = "free",
    start_from: Sequence[int] | None = None,
) -> Path | None:
    """The best path that plays the same formula in every key: the same voicings, transposed.

    Parameters
    ----------
    chart : Chart
        The exercise, every key with the same number of steps.
    semitones : sequence of int
        Of each key above the first one, in any octave.
    setting, loop, top_line, start_from
        As for `shortway.core.solver.solve.solve`.

    Returns
    -------
    Path or None
        None where some chord has no voicing that can be played in all keys.

    Raises
    ------
    ShortwayError
        As `solve` does.

    Notes
    -----
    The octaves of the keys lie within one octave of each other: for each of the twelve ways to do
    so, the candidates are those that every key has, transposed, and the best formula is exact.
    A default range is widened by `WIDENING` semitones at each end; a given range, and where there
    is no formula, by the fewest semitones that give one.
    """
    problem = build_problem(chart, setting, loop=loop, start_from=start_from, top_line=top_line)
    range_ = problem.setting.lowest, problem.setting.highest
    if not problem.layers:
        return build_path(Solution(problem, ()))
    given = isinstance(setting, Setting) or not {"lowest", "highest"}.isdisjoint(setting or ())
    found = _solved(problem, semitones, range_) if given else None
    if found is None:
        problem = in_range(problem, _widened(problem.setting))
        for by in range(1 if given else WIDENING, MAX_WIDENING + 1):
            found = _solved(problem, semitones, (range_[0] - by, range_[1] + by))
            if found is not None:
                break
    if found is None:
        return None
    used = _with_notes_of(found, range_)
    return replace(found, setting=used, size=in_range(problem, used).size())


def _solved(problem: PathProblem, semitones: Sequence[int], range_: tuple[int, int]) -> Path | None:
    """The best formula within a range."""
    laid_out = _by_key(problem, len(semitones))
    if laid_out is None:
        return None
    best = Folded(laid_out, semitones, range_).best(_octaves(semitones))
    return None if best is None else build_path(Solution(laid_out, best))


def _with_notes_of(path: Path, range_: tuple[int, int]) -> Setting:
    """The path's setting with a range that holds `range_` and the notes of the path."""
    midi = [note for step in path.steps if step.voicing for note in step.voicing.midi_notes]
    lowest, highest = min([range_[0], *midi]), max([range_[1], *midi])
    return replace(path.setting, lowest=lowest, highest=highest)


def _by_key(problem: PathProblem, keys: int) -> PathProblem | None:
    """The problem with no layer that reaches from one key into the next.

    None where the keys do not have as many layers each, so that they cannot be compared.
    """
    size = len(problem.steps) // keys
    parts = [
        (part, priced)
        for layer, priced in zip(problem.layers, problem.priced, strict=True)
        for part in _split(layer, size)
    ]
    parts.sort(key=lambda part: part[0].steps[0])
    counts = [sum(layer.steps[0] // size == key for layer, _ in parts) for key in range(keys)]
    if len({*counts}) != 1:
        return None
    layers, priced = zip(*parts, strict=True)
    return replace(problem, layers=layers, priced=priced)


def _split(layer: Layer, size: int) -> list[Layer]:
    """A layer cut where one key ends and the next begins."""
    keys = [list(steps) for _, steps in groupby(sorted(layer.steps), key=lambda s: s // size)]
    return [layer] if len(keys) == 1 else [layer._replace(steps=tuple(k)) for k in keys]


def _widened(setting: Setting) -> Setting:
    """The setting with the widest range that is tried, within MIDI 0 to 127."""
    lowest = max(0, setting.lowest - MAX_WIDENING)
    highest = min(_LAST_MIDI, setting.highest + MAX_WIDENING)
    return replace(setting, lowest=lowest, highest=highest)


def _octaves(semitones: Sequence[int]) -> list[tuple[int, ...]]:
    """Shifts of all keys from the first one, within an octave; the nearest keys first."""
    windows = sorted(range(-11, 1), key=lambda lowest: abs(lowest + 5))
    shifts = [tuple((by - low) % 12 + low for by in semitones) for low in windows]
    return list(dict.fromkeys(shifts))
