"""The kernels, in C and in numpy, with 32 bits and 64: the paths that trying all of them finds."""

from __future__ import annotations

from itertools import product
from typing import NamedTuple

import numpy as np
import pytest
from hypothesis import assume, given, reject
from hypothesis import strategies as st

from shortway.core.cancellation import Cancelled, cancel_scope
from shortway.core.errors import NoVoicing
from shortway.core.shortest_path import points
from shortway.core.shortest_path.least_cost import NEVER, NEVER_64
from shortway.core.shortest_path.point_problem import PointProblem, PointSeam, packed_layer
from shortway.core.shortest_path.points_numpy import numpy_paths
from shortway.core.solver.problem import PathProblem
from shortway.core.solver.request import as_chart, build_problem
from shortway.core.solver.search.exact import solve_k_best
from support.charts import SETTINGS, charts

#: What finds the paths: the kernel that is compiled, if it is installed, and numpy.
KERNELS = (points.best_paths, numpy_paths) if points.NATIVE else (numpy_paths,)
compiled_only = pytest.mark.skipif(not points.NATIVE, reason="installed without a C compiler")

Layer = tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]


class Random(NamedTuple):
    """A few layers of a few points, many of them alike, so that paths tie."""

    layers: list[Layer]
    weights: list[int]
    seams: list[PointSeam]
    apart: int
    before: Layer | None
    entry: PointSeam

    @classmethod
    def drawn(cls, seed: int, closed: bool) -> Random:
        random = np.random.default_rng(seed)
        apart = int(random.integers(2))
        coordinates = apart + int(random.integers(1, 8))
        sizes = random.integers(1, 5, random.integers(1, 6)).tolist()
        if random.random() < 0.2:
            sizes[-1] = int(random.integers(14, 19))  # about as many as the kernel takes at once
        after = [*sizes[1:], *(sizes[:1] if closed else [])]
        return cls(
            [random_layer(random, coordinates, n) for n in sizes],
            random.integers(1, 4, len(sizes)).tolist(),
            [random_seam(random, n, m) for n, m in zip(sizes, after, strict=False)],
            apart,
            random_layer(random, coordinates, 1) if random.random() < 0.3 else None,
            random_seam(random, 1, sizes[0])._replace(equal=0) if random.random() < 0.3 else ENTRY,
        )

    def problem(self, closed: bool) -> PointProblem:
        before = None if self.before is None else packed_layer(*self.before)
        packed = [packed_layer(*of) for of in self.layers]
        shape = len(self.layers[0][0]), self.apart, closed
        return PointProblem(packed, self.weights, self.seams, *shape, before, self.entry)

    def of_64_bits(self, closed: bool) -> PointProblem:
        """The same where each node costs more than 32 bits hold."""
        layers = []
        for points_, cost, *rest in self.layers:
            dear = np.where(cost < NEVER, cost + np.int64(1 << 40), NEVER_64)
            layers.append(packed_layer(points_, dear, *rest))
        seams = [
            of._replace(
                equal=of.equal if of.equal < NEVER else NEVER_64,
                all=None if of.all is None else of.all.astype(np.int64),
            )
            for of in self.seams
        ]
        return self.problem(closed)._replace(layers=layers, seams=seams, bits=64)

    def in_order(self, closed: bool) -> list[tuple[int, ...]]:
        """All paths, the best first."""
        keyed = []
        for path in product(*(range(of[0].shape[1]) for of in self.layers)):
            ends = [of[0][:, i] for of, i in zip(self.layers, path, strict=True)]
            parts = zip(self.layers, self.weights, path, strict=True)
            keys = [node_key(*part) for part in parts]
            for k, seam in enumerate(self.seams):
                b = (k + 1) % len(path)
                keys.append(edge_key(seam, path[k], path[b], ends[k], ends[b], self.apart))
            if self.before is not None:
                into = self.before[0][:, 0], ends[0]
                keys.append(edge_key(self.entry, 0, path[0], *into, self.apart))
            key = tuple(map(sum, zip(*keys, strict=True)))
            keyed += [(key, path)] if key[0] < NEVER else []
        return [path for _, path in sorted(keyed)]

    def apart_by(self, differs: int, count: int, closed: bool) -> list[tuple[int, ...]]:
        """The first of all paths, and the next that differ from all before in enough layers."""
        found: list[tuple[int, ...]] = []
        for path in self.in_order(closed):
            if len(found) < count and all(self.differences(path, k) >= differs for k in found):
                found.append(path)
        return found

    def differences(self, a: tuple[int, ...], b: tuple[int, ...]) -> int:
        return sum(w for w, i, j in zip(self.weights, a, b, strict=True) if i != j)


#: What leading into the first layer costs.
ENTRY = PointSeam(0, 1, 2, 0)


def random_layer(random: np.random.Generator, coordinates: int, n: int) -> Layer:
    return (
        random.integers(60, 63, (coordinates, n)).astype(np.int16),
        random.choice([0, 1, 2, NEVER], n, p=[0.4, 0.3, 0.2, 0.1]).astype(np.int32),
        random.integers(0, 2, n).astype(np.int32),
        random.integers(0, 2, n),
    )


def random_seam(random: np.random.Generator, n: int, m: int) -> PointSeam:
    if random.random() < 0.3:
        own = [random.integers(0, 4, (n, m)).astype(np.int32) for _ in range(5)]
        given = random.integers(1, 4)  # only the costs; without sums apart; all
        seam = PointSeam(0, 0, 0, 0, own[0], *(own[1:] if given > 1 else [None] * 4))
        return seam._replace(apart=None) if given == 2 else seam
    dear = int(random.choice([0, 0, 1, 9_000]))
    return PointSeam(
        int(random.choice([0, 2, NEVER])),
        int(random.integers(3)),
        dear,
        dear * int(random.integers(2)),
    )


def node_key(of: Layer, weight: int, i: int) -> tuple[int, ...]:
    _, cost, early, late = of
    return int(cost[i]), 0, int(early[i]), 0, 0, 0, int(late[i]) * weight


def edge_key(
    seam: PointSeam, i: int, j: int, a: np.ndarray, b: np.ndarray, apart: int
) -> tuple[int, ...]:
    moves = abs(a - b).tolist()
    rise = int(b[-1]) - int(a[-1])
    motion = sum(moves[apart:])
    prices = seam.equal * (not any(moves)) + seam.last * (not moves[-1])
    prices += seam.up * max(rise, 0) + seam.down * max(-rise, 0)
    cost = motion + prices if seam.all is None else int(seam.all[i, j])
    squares = sum(move * move for move in moves[apart:])
    if seam.motion is None:
        return cost, motion, 0, sum(moves[:apart]), squares, moves[-1], 0
    given = seam.motion, seam.apart, seam.squares, seam.top
    motion, bass, squares, top = (0 if of is None else int(of[i, j]) for of in given)
    return cost, motion, 0, bass, squares, top, 0


@given(st.integers(0, 2**32 - 1), st.booleans())
def test_the_best_of_all_paths_is_found(seed: int, closed: bool) -> None:
    drawn = Random.drawn(seed, closed)
    for best_paths in KERNELS:
        assert best_paths(drawn.problem(closed), 1, 1) == drawn.in_order(closed)[:1]
    assert points.best_paths(drawn.of_64_bits(closed)) == drawn.in_order(closed)[:1]


@given(st.integers(0, 2**32 - 1), st.booleans(), st.integers(1, 4), st.sampled_from([2, 4, 30]))
def test_the_next_of_all_paths_that_differ_enough_are_found(
    seed: int, closed: bool, differs: int, count: int
) -> None:
    drawn = Random.drawn(seed, closed)
    count = count if differs == 1 else min(count, 4)
    expected = drawn.apart_by(differs, count, closed)
    for best_paths in KERNELS:
        assert best_paths(drawn.problem(closed), count, differs) == expected
    assert points.best_paths(drawn.of_64_bits(closed), count, differs) == expected


def wide_layer(random: np.random.Generator, coordinates: int) -> bytes:
    """Far more nodes than the compiled kernel takes at once, neighbours near each other."""
    n = int(random.integers(500, 700))
    places = np.sort(random.integers(0, 60, n)) + random.integers(0, 9, (coordinates, n))
    cost = random.integers(0, 40, n) + NEVER * (random.random(n) < 0.05)
    parts = np.minimum(cost, NEVER), random.integers(0, 3, n)
    return packed_layer(places.astype(np.int16), *(of.astype(np.int32) for of in parts), places[0])


@compiled_only
@pytest.mark.parametrize("seed", range(8))
def test_of_many_nodes_numpy_finds_the_same_paths(seed: int) -> None:
    random = np.random.default_rng(seed)
    apart, coordinates = seed % 2, int(random.integers(3, 8))
    layers = [wide_layer(random, coordinates) for _ in range(4)]
    seams = [PointSeam(*random.integers(0, 9, 2).tolist()) for _ in range(4)]
    for closed in (False, True):
        given = layers, [1] * 4, seams[: 3 + closed], coordinates, apart, closed
        problem = PointProblem(*given)
        assert points.best_paths(problem, 3) == numpy_paths(problem, 3, 1)


def indices(
    problem: PathProblem, alternatives: int = 0, differs: int = 1
) -> list[tuple[int, ...]] | None:
    try:
        return [of.indices for of in solve_k_best(problem, alternatives, differs)]
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
    line = data.draw(st.sampled_from(["free", "free", "free", "hold", "rise", "fall"]))
    options = {"loop": loop, "start_from": start, "top_line": line}
    try:
        problem = build_problem(as_chart(text), setting, **options)  # type: ignore[arg-type]
    except NoVoicing:  # a chord that none of these families serves
        reject()
    assume(problem.layers)
    more = data.draw(st.sampled_from([(0, 1), (0, 1), (5, 1), (2, 2)]))
    compiled = indices(problem, *more)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(points, "NATIVE", False)
        assert indices(problem, *more) == compiled


def layer_of(*heights: int, voices: int = 2) -> bytes:
    n = len(heights)
    own = np.full((voices, n), heights, np.int16), np.zeros(n, np.int32), np.zeros(n, np.int32)
    return packed_layer(*own, np.zeros(n, np.int64))


def of_two(first: bytes, second: bytes, seam: PointSeam, voices: int = 2) -> PointProblem:
    return PointProblem([first, second], [1, 1], [seam], voices, 0, False)


PLAIN = PointSeam(0, 0)
FITS = of_two(layer_of(1, 2, 3), layer_of(1, 2), PLAIN)
UNFIT = [
    (FITS._replace(layers=[b"", b""]), "too short"),
    (FITS._replace(layers=[layer_of(1)[:-1], layer_of(1)]), "wrong size"),
    (FITS._replace(layers=[layer_of(1), layer_of(1, voices=3)]), "differ in their coordinates"),
    (FITS._replace(layers=[layer_of(), layer_of(1)]), "no nodes"),
    (FITS._replace(layers=[layer_of(-1), layer_of(1)]), "not 0 to 1023"),
    (FITS._replace(layers=[layer_of(1024), layer_of(1)]), "not 0 to 1023"),
    (FITS._replace(layers=[], weights=[]), "1 to 16 coordinates"),
    (FITS._replace(coordinates=17), "1 to 16 coordinates"),
    (FITS._replace(weights=[0, 1]), "a weight is not"),
    (FITS._replace(seams=[PointSeam(-1, 0)]), "a price is not"),
    (FITS._replace(seams=[PointSeam(0, 0, NEVER)]), "too dear"),
    (FITS._replace(seams=[PointSeam(0, 0, 0, 0, np.zeros((2, 2), np.int32))]), "wrong size"),
    (FITS._replace(seams=[PointSeam(0, 0, 0, 0, np.full((3, 2), -1, np.int32))]), "an edge is not"),
]


@compiled_only
@pytest.mark.parametrize(("problem", "why"), UNFIT, ids=[why for _, why in UNFIT])
def test_arrays_that_do_not_fit_are_refused(problem: PointProblem, why: str) -> None:
    with pytest.raises(ValueError, match=why):
        points.best_paths(problem)


@compiled_only
def test_lists_that_are_too_short_are_refused() -> None:
    for short in (FITS._replace(seams=[]), FITS._replace(weights=[1])):
        with pytest.raises(IndexError):
            points.best_paths(short)
    with pytest.raises(ValueError, match="number of paths"):
        points.best_paths(FITS, 0)
    with pytest.raises(ValueError, match="too many differences"):
        points.best_paths(FITS, 100, 2)


def test_the_farthest_points_are_told_apart() -> None:
    many = {"voices": 16}
    first = of_two(layer_of(0, **many), layer_of(1023, 1022, **many), PLAIN, 16)
    second = of_two(layer_of(1023, **many), layer_of(0, 1, **many), PLAIN, 16)
    for best_paths in KERNELS:
        assert best_paths(first, 1, 1) == best_paths(second, 1, 1) == [(0, 1)]


@compiled_only
def test_a_caller_may_stop_a_long_search() -> None:
    many = layer_of(*range(1000))
    problem = PointProblem([many] * 8, [1] * 8, [PLAIN] * 7, 2, 0, False)

    def stop() -> None:
        raise Cancelled

    with cancel_scope(stop), pytest.raises(Cancelled):
        points.best_paths(problem)
