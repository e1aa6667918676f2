"""The kernel: exact in one limb and in several, open and closed, by lowest index of equals."""

from __future__ import annotations

import numpy as np
import pytest

from shortway.core.settings.setting import resolve
from shortway.core.shortest_path.kernel import (
    FORBIDDEN,
    LIMB_BITS,
    ShortestPath,
    shortest,
    shortest_loop,
)
from shortway.core.symbols.parser import parse
from shortway.core.voice_leading.objective import Packing, _places, forbid, from_home
from shortway.core.voicings.candidates import candidates

Arrays = list[np.ndarray]


def grid(
    seed: int, layers: int, width: int, limbs: int, dearest: int, loop: bool
) -> tuple[Arrays, Arrays]:
    """Random nodes and edges, none of them forbidden."""
    random = np.random.default_rng(seed)
    nodes = [random.integers(0, dearest, (limbs, width)) for _ in range(layers)]
    edges = [random.integers(0, dearest, (limbs, width, width)) for _ in range(layers - 1 + loop)]
    return nodes, edges


def test_one_layer_is_its_least_node() -> None:
    assert shortest([np.array([[3, 1, 1]])], []) == ShortestPath((1,), (1,))


def test_the_second_limb_decides_only_what_the_first_leaves_open() -> None:
    nodes = [np.zeros((2, 1), np.int64), np.zeros((2, 3), np.int64)]
    edges = [np.array([[[4, 3, 3]], [[0, 9, 8]]])]
    assert shortest(nodes, edges) == ShortestPath((2,) if len(nodes) == 1 else (0, 2), (3, 8))


def test_of_equals_the_lowest_index_wins_layer_by_layer() -> None:
    nodes = [np.zeros((1, 4), np.int64) for _ in range(5)]
    edges = [np.ones((1, 4, 4), np.int64) for _ in range(5)]
    assert shortest(nodes, edges[:-1]) == ShortestPath((0,) * 5, (4,))
    assert shortest_loop(nodes, edges) == ShortestPath((0,) * 5, (5,))


def test_no_way_is_none() -> None:
    nodes = [np.zeros((1, 2), np.int64) for _ in range(3)]
    shut = np.full((1, 2, 2), FORBIDDEN)
    free = np.zeros((1, 2, 2), np.int64)
    assert shortest(nodes, [free, shut]) is None
    assert shortest_loop(nodes, [free, free, shut]) is None
    cross = np.array([[[FORBIDDEN, 0], [0, FORBIDDEN]]])
    same = np.array([[[0, FORBIDDEN], [FORBIDDEN, 0]]])
    assert shortest_loop(nodes, [same, same, cross]) is None
    assert shortest_loop(nodes, [same, cross, cross]) == ShortestPath((0, 0, 1), (0,))


def test_costs_near_the_top_of_a_limb_do_not_wrap() -> None:
    dear = (1 << (LIMB_BITS - 1)) - 1
    nodes = [np.zeros((2, 2), np.int64) for _ in range(2)]
    edges = [np.array([[[dear, dear], [dear - 1, dear]], [[5, 4], [dear, 0]]])]
    assert shortest(nodes, edges) == ShortestPath((1, 0), (dear - 1, dear))


@pytest.mark.parametrize("limbs", [1, 2, 3])
@pytest.mark.parametrize("dearest", [3, 1000])
def test_a_loop_is_the_best_of_all_its_beginnings(limbs: int, dearest: int) -> None:
    """Closed exactly: as good as the open problem solved once for every first node."""
    for seed in range(6):
        nodes, edges = grid(seed, 9, 14, limbs, dearest, loop=True)
        ways = []
        for first in range(14):
            inner = [nodes[0][:, [first]], *nodes[1:]]
            last = nodes[-1] + edges[-1][:, :, first]
            way = shortest([*inner[:-1], last], [edges[0][:, [first], :], *edges[1:-1]])
            assert way is not None
            ways.append((way.cost, (first, *way.nodes[1:])))
        found = shortest_loop(nodes, edges)
        assert found is not None
        assert (found.cost, found.nodes) == min(ways)


def test_a_loop_is_never_shorter_than_the_open_way() -> None:
    for seed in range(20):
        nodes, edges = grid(seed, 6, 8, 1, 50, loop=True)
        way, loop = shortest(nodes, edges[:-1]), shortest_loop(nodes, edges)
        assert way is not None
        assert loop is not None
        assert loop.cost >= way.cost


def test_more_layers_than_sixteen_bits_of_nodes() -> None:
    """Indices are not squeezed into 16 bits."""
    wide = 70_000
    nodes = [np.zeros((1, 1), np.int64), np.ones((1, wide), np.int64)]
    nodes[1][0, -1] = 0
    assert shortest(nodes, [np.zeros((1, 1, wide), np.int64)]) == ShortestPath((0, wide - 1), (0,))


# --- the packing of the order of preference ------------------------------------------------------


@pytest.mark.parametrize(
    "bits",
    [
        [20, 10, 30, 10, 5],
        [12, 12, 12, 12, 12],
        [60, 60, 60, 60, 60],
        [0, 0, 0, 0, 0],
        [1, 59, 1, 59, 1],
    ],
)
def test_fields_do_not_overlap_and_fit_their_limb(bits: list[int]) -> None:
    places = _places(bits)
    for k, (limb, shift) in enumerate(places):
        assert 0 <= shift <= shift + bits[k] < LIMB_BITS
        below = [(j, p) for j, p in enumerate(places) if p[0] == limb and j > k]
        assert shift == sum(bits[j] for j, _ in below)
    assert [limb for limb, _ in places] == sorted(limb for limb, _ in places)


def test_one_limb_where_the_bounds_fit() -> None:
    assert Packing(_places([14, 10, 18, 10, 8])).limbs == 1
    assert Packing(_places([14, 10, 19, 10, 8])).limbs == 2


def test_forbidding_leaves_the_given_costs_alone() -> None:
    edges = np.arange(4).reshape(1, 2, 2)
    shut = forbid(edges, np.array([[True, False], [False, False]]))
    assert shut.tolist() == [[[FORBIDDEN, 1], [2, 3]]]
    assert edges[0, 0, 0] == 0


@pytest.mark.parametrize("bass_player", [True, False])
def test_distance_from_home_leaves_out_the_bass(bass_player: bool) -> None:
    setting = resolve({"bass_player": bass_player, "families": ["spread"], "notes_vary": True})
    found = candidates(parse("C9"), setting)
    bass = int(not bass_player)
    expected = [
        abs(sum(found.midi(k)[bass:]) - 60 * (len(found.midi(k)) - bass)) for k in range(len(found))
    ]
    assert from_home(found, 60).tolist() == expected
    assert len({len(found.midi(k)) for k in range(len(found))}) > 1
