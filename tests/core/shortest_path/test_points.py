"""The compiled kernel: the path that trying all of them finds, and the one that numpy finds."""

from __future__ import annotations

from itertools import product

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from shortway.core.errors import NoVoicing
from shortway.core.shortest_path import points
from shortway.core.shortest_path.least_cost import NEVER
from shortway.core.shortest_path.points import PointLayer, PointSeam
from shortway.core.solver.problem import PathProblem
from shortway.core.solver.request import as_chart, build_problem
from shortway.core.solver.search.exact import solve_k_best
from support.charts import SETTINGS, charts

pytestmark = pytest.mark.skipif(not points.NATIVE, reason="installed without a C compiler")

Problem = tuple[list[PointLayer], list[PointSeam], int]


def random_problem(seed: int, closed: bool) -> Problem:
    """A few layers of a few points, many of them alike, so that paths tie."""
    random = np.random.default_rng(seed)
    apart = int(random.integers(2))
    coordinates = apart + int(random.integers(1, 8))
    sizes = random.integers(1, 5, random.integers(1 + closed, 6)).tolist()
    layers = [
        PointLayer(
            random.integers(60, 63, (coordinates, n)).astype(np.int16),
            random.choice([0, 1, 2, NEVER], n, p=[0.4, 0.3, 0.2, 0.1]).astype(np.int32),
            random.integers(0, 2, n).astype(np.int32),
            random.integers(0, 2, n),
            int(random.integers(1, 4)),
        )
        for n in sizes
    ]
    after = [*sizes[1:], *(sizes[:1] if closed else [])]
    seams = [
        PointSeam(
            int(random.choice([0, 2, NEVER])),
            int(random.integers(3)),
            None if random.random() < 0.7 else random.integers(0, 4, (n, m)).astype(np.int32),
        )
        for n, m in zip(sizes, after, strict=False)
    ]
    return layers, seams, apart


def by_trying_all(problem: Problem, closed: bool) -> list[int] | None:
    layers, seams, apart = problem
    best: tuple[tuple[int, ...], tuple[int, ...]] | None = None
    for path in product(*(range(of.points.shape[1]) for of in layers)):
        keys = [node_key(of, i) for of, i in zip(layers, path, strict=True)]
        for k, seam in enumerate(seams):
            b = (k + 1) % len(layers)
            ends = layers[k].points[:, path[k]], layers[b].points[:, path[b]]
            keys.append(edge_key(seam, path[k], path[b], *ends, apart))
        key = tuple(map(sum, zip(*keys, strict=True)))
        if key[0] < NEVER and (best is None or (key, path) < best):
            best = key, path
    return None if best is None else list(best[1])


def node_key(of: PointLayer, i: int) -> tuple[int, ...]:
    return int(of.cost[i]), 0, int(of.early[i]), 0, 0, 0, int(of.late[i]) * of.weight


def edge_key(
    seam: PointSeam, i: int, j: int, a: np.ndarray, b: np.ndarray, apart: int
) -> tuple[int, ...]:
    moves = abs(a - b).tolist()
    motion = sum(moves[apart:])
    prices = seam.equal * (not any(moves)) + seam.last * (not moves[-1])
    cost = motion + prices if seam.all is None else int(seam.all[i, j])
    squares = sum(move * move for move in moves[apart:])
    return cost, motion, 0, sum(moves[:apart]), squares, moves[-1], 0


@given(st.integers(0, 2**32 - 1), st.booleans())
def test_the_best_of_all_paths_is_found(seed: int, closed: bool) -> None:
    problem = random_problem(seed, closed)
    assert points.best_path(*problem, closed=closed) == by_trying_all(problem, closed)


def indices(problem: PathProblem) -> tuple[int, ...] | None:
    try:
        return solve_k_best(problem)[0].indices
    except NoVoicing:
        return None


MORE: tuple[dict[str, object], ...] = (
    *SETTINGS,
    {"families": ["guide-tone", "close", "drop-2"], "pricing": "none"},
    {"families": ["any-playable"], "notes": 3, "hands": "left"},
    {"families": ["any-playable"], "notes": 4, "repeats": "change"},
)


@given(charts(12, 2), st.sampled_from(MORE), st.booleans(), st.booleans(), st.data())
def test_numpy_finds_the_same_path(
    text: str, setting: dict[str, object], loop: bool, sounds: bool, data: st.DataObject
) -> None:
    start = [45, 50, 57, 60, 65][-data.draw(st.integers(3, 5)) :] if sounds else None
    problem = build_problem(as_chart(text), setting, loop=loop, start_from=start)
    assume(problem.layers)
    compiled = indices(problem)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(points, "NATIVE", False)
        assert indices(problem) == compiled


def test_arrays_that_do_not_fit_are_refused() -> None:
    of = PointLayer(
        *(np.zeros((2, 3), np.int16), *2 * [np.zeros(3, np.int32)], np.zeros(3, np.int64)), 1
    )
    with pytest.raises(ValueError, match="has 12 bytes, not 24"):
        points.best_path([of._replace(late=of.cost)], [], 0, closed=False)
    with pytest.raises(ValueError, match="no nodes"):
        points.best_path([of._replace(cost=of.cost[:0])], [], 0, closed=False)
    with pytest.raises(ValueError, match="1 to 16 coordinates"):
        points.best_path([of._replace(points=np.zeros((17, 3), np.int16))], [], 0, closed=False)
    seam = PointSeam(0, 0, np.zeros((2, 2), np.int32))
    with pytest.raises(ValueError, match="has 16 bytes, not 36"):
        points.best_path([of, of], [seam], 0, closed=False)
    with pytest.raises(IndexError):
        points.best_path([of, of], [], 0, closed=False)


def test_the_farthest_points_are_told_apart() -> None:
    def layer(*heights: int) -> PointLayer:
        n = len(heights)
        own = np.full((16, n), heights, np.int16), np.zeros(n, np.int32), np.zeros(n, np.int32)
        return PointLayer(*own, np.zeros(n, np.int64), 1)

    seam = [PointSeam(0, 0)]
    assert points.best_path([layer(0), layer(2047, 2046)], seam, 0, closed=False) == [0, 1]
    assert points.best_path([layer(2047), layer(0, 1)], seam, 0, closed=False) == [0, 1]
    for wrong in (-1, 2048):
        with pytest.raises(ValueError, match="not 0 to 2047"):
            points.best_path([layer(0), layer(wrong)], seam, 0, closed=False)
