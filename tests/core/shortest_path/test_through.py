"""The least through each node of a layer, compared with trying all paths."""

from __future__ import annotations

from itertools import pairwise, product

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from shortway.core.shortest_path.least_cost import NEVER_64
from shortway.core.shortest_path.through import loops_through, paths_through


@pytest.mark.parametrize("closed", [False, True], ids=["open", "loop"])
@given(st.integers(0, 2**32 - 1), st.integers(1, 4))
def test_the_least_through_each_node_is_that_of_all_paths(
    closed: bool, seed: int, limit: int
) -> None:
    draw = np.random.default_rng(seed)
    sizes = draw.integers(1, 5, draw.integers(1 + closed, 6)).tolist()
    nodes = [draw.integers(0, 3, (2, n)) for n in sizes]
    ends = [*sizes[1:], *(sizes[:1] if closed else [])]
    edges = [draw.integers(0, 3, (2, a, b)) for a, b in zip(sizes, ends, strict=False)]
    for of in edges:
        of[0][draw.random(of.shape[1:]) < 0.2] = NEVER_64
    layer = int(draw.integers(len(sizes)))
    best: dict[int, tuple[int, ...]] = {}
    for path in product(*map(range, sizes)):
        moves = pairwise([*path, path[0]] if closed else path)
        parts = [own[:, k] for own, k in zip(nodes, path, strict=True)]
        parts += [of[:, i, j] for of, (i, j) in zip(edges, moves, strict=True)]
        costs = tuple(map(sum, zip(*(part.tolist() for part in parts), strict=True)))
        if costs[0] < NEVER_64:
            best[path[layer]] = min(costs, best.get(path[layer], costs))
    expected = sorted((*costs, k) for k, costs in best.items())[:limit]
    assert (loops_through if closed else paths_through)(nodes, edges, layer, limit) == expected
