"""Paths against solvers that are not ours, on graphs that are ours and on a graph that is not.

The layered graph of a chart is built from what `voicings` lists, its costs in plain Python
(`support.layered`); networkx's Dijkstra finds the least motion. The reverse: music21's figured-bass
realizer makes a layered graph, and our kernel must find networkx's optimum in it. The order of
preference beyond the motion has no outside source; it is checked by trying every
path and by a dynamic program over tuples.
"""

from __future__ import annotations

import warnings
from collections.abc import Mapping
from itertools import pairwise, product

import networkx as nx
import numpy as np
import pytest
from hypothesis import assume, event, given
from hypothesis import strategies as st

from shortway.core.errors import NoVoicing
from shortway.core.shortest_path import points
from shortway.core.shortest_path.least_cost import NEVER
from shortway.core.shortest_path.point_problem import PointProblem, PointSeam, packed_layer
from shortway.core.solver.search import exact as optimum
from shortway.core.solver.solve import Path, solve
from support.charts import SETTINGS, charts, demo_charts
from support.layered import Layered, layered
from support.tables import each_row

Given = Mapping[str, object]


def played(path: Path) -> tuple[tuple[int, ...], ...]:
    """The notes of every sounding step."""
    return tuple(step.voicing.midi_notes for step in path.steps if step.voicing is not None)


def answer(path: Path, problem: Layered) -> tuple[int, ...]:
    """The way that `path` takes through the layers of `problem`."""
    sounding = [step.voicing for step in path.steps if step.voicing is not None]
    return tuple(
        layer.index(voicing) for layer, voicing in zip(problem.layers, sounding, strict=True)
    )


# --- least motion: networkx ----------------------------------------------------------------------


@each_row("name, setting", product(sorted(demo_charts()), SETTINGS), sample=6)
def test_demo_charts_take_networkxs_least_motion(name: str, setting: Given) -> None:
    text = demo_charts()[name]
    problem = layered(text, setting)
    path = solve(text, setting)
    assert path.cost == problem.by_networkx()
    assert problem.key(answer(path, problem))[0][:2] == (path.cost, path.motion)


@each_row("name, setting", product(sorted(demo_charts()), SETTINGS[:4]), sample=2)
def test_demo_charts_round_and_round(name: str, setting: Given) -> None:
    """One run of networkx for every first voicing."""
    text = demo_charts()[name]
    problem = layered(text, setting, loop=True)
    path = solve(text, setting, loop=True)
    assert path.cost == problem.by_networkx()
    assert path.loop_motion == path.steps[0].motion


@given(charts(10, 3), st.sampled_from(SETTINGS), st.booleans())
def test_random_charts_take_networkxs_least_motion(text: str, setting: Given, loop: bool) -> None:
    problem = layered(text, setting, loop=loop)
    assume(len(problem.layers) > 1 and all(problem.layers))
    assume(not loop or len(problem.layers[0]) <= 30)
    expected = problem.by_networkx()
    event(f"{'loop' if loop else 'open'}, {'a way' if expected is not None else 'no way'}")
    if expected is None:
        with pytest.raises(NoVoicing, match="no other voicing"):
            solve(text, setting, loop=loop)
    else:
        assert solve(text, setting, loop=loop).cost == expected


@given(charts(5), st.sampled_from(SETTINGS), st.booleans(), st.data())
def test_pins_and_sounding_notes_are_kept_by_both(
    text: str, setting: Given, loop: bool, data: st.DataObject
) -> None:
    free = layered(text, setting, loop=loop)
    assume(free.layers)
    assume(all(free.layers))
    k = data.draw(st.integers(0, len(free.layers) - 1))
    voicing = data.draw(st.sampled_from(free.layers[k]))
    wishes: dict[str, object] = {"midi_notes": list(voicing.midi_notes), "family": voicing.family}
    wishes["top"] = (voicing.left + voicing.right)[-1].note
    if voicing.form:
        wishes["form"] = voicing.form
    names = data.draw(st.lists(st.sampled_from(sorted(wishes)), min_size=1, unique=True))
    pins = [{"step": free.indices[k], **{name: wishes[name] for name in names}}]
    notes = st.lists(st.integers(36, 84), min_size=1, max_size=7, unique=True)
    start = data.draw(st.none() | notes)
    problem = layered(text, setting, loop=loop, pins=pins, start_from=start)
    assume(not loop or (len(problem.layers) > 1 and len(problem.layers[0]) <= 30))
    expected = problem.by_networkx()
    if expected is None:
        with pytest.raises(NoVoicing, match="no other voicing"):
            solve(text, setting, loop=loop, pins=pins, start_from=start)
        return
    path = solve(text, setting, loop=loop, pins=pins, start_from=start)
    assert path.cost == expected
    assert (path.start_motion is None) == (start is None)
    if sum(map(len, problem.layers)) <= (30 if loop else 120):
        assert problem.key(answer(path, problem)) == problem.by_tuples()


# --- the whole order of preference ---------------------------------------------------------------

NARROW: tuple[dict[str, object], ...] = (
    {"families": ["guide-tone"]},
    {"families": ["guide-tone-extended", "guide-tone"], "notes_vary": True, "split_cost": 3},
    {"hands": "left"},
    {"hands": "left", "repeats": "change"},
    {"bass_player": False},
    {"bass_player": False, "hands": "left"},
    {"families": ["rootless", "close"], "lowest": "Eb3", "highest": "A4", "home": "C4"},
    {"families": ["shell"], "bass_player": False, "notes_vary": True, "home": "G3"},
    {"families": ["close", "rootless", "drop-2"], "lowest": "E3", "highest": "G5"},
)


@given(charts(5, 2), st.sampled_from(NARROW), st.booleans())
def test_small_charts_end_where_trying_everything_ends(
    text: str, setting: Given, loop: bool
) -> None:
    problem = layered(text, setting, loop=loop)
    assume(len(problem.layers) > 1 or (problem.layers and not loop))
    assume(0 < problem.ways() <= 20_000)
    best = problem.by_trying()
    assume(best is not None)
    assert best is not None
    assert answer(solve(text, setting, loop=loop), problem) == best


@given(charts(10, 5), st.sampled_from(NARROW), st.booleans())
def test_longer_charts_end_where_tuples_end(text: str, setting: Given, loop: bool) -> None:
    problem = layered(text, setting, loop=loop)
    assume(len(problem.layers) > 1)
    assume(all(0 < len(layer) <= (12 if loop else 40) for layer in problem.layers))
    best = problem.by_tuples()
    assume(best is not None)
    path = solve(text, setting, loop=loop)
    assert problem.key(answer(path, problem)) == best


def test_narrowing_what_is_wide_changes_no_answer(monkeypatch: pytest.MonkeyPatch) -> None:
    """Every seam is taken for a wide one, and every loop cut where `FEW` is 0."""
    monkeypatch.setattr(optimum, "WIDE", 0)
    monkeypatch.setattr(points, "NATIVE", False)
    texts = ["| Dm9 | G7alt | Cmaj9 | Cmaj9 | Am7b5 | D7 |", "| F7 | N.C. | Gbm7/Db | F7 |"]
    for text in texts:
        for setting in ({}, *NARROW[2:7]):
            for loop in (False, True):
                problem = layered(text, setting, loop=loop)
                best = problem.by_tuples()
                for few in (0, 3_000_000) if best is not None else ():
                    monkeypatch.setattr(optimum, "FEW", few)
                    path = solve(text, setting, loop=loop)
                    assert problem.key(answer(path, problem)) == best, (text, setting, loop, few)


HELD: list[tuple[str, dict[str, object]]] = [
    ("| Gmaj7 | Gmaj7 | Gmaj7 | Gmaj7 | Abmaj7 |", {"bass_player": False}),
    ("| Gm7 | B7 | Gm7 | Gm7 | B7 |", {"hands": "left"}),
    ("| Gdim7 | B | B | D | Gdim7 |", {"hands": "left"}),
]


@pytest.mark.parametrize(("text", "setting"), HELD)
def test_a_held_chord_weighs_as_many_steps_as_it_lasts(text: str, setting: Given) -> None:
    """Recorded: here the distance from home decides, and each step has its own."""
    problem = layered(text, setting)
    assert problem.key(answer(solve(text, setting), problem)) == problem.by_tuples()


# --- somebody else's graph -----------------------------------------------------------------------

Graph = tuple[list[list[tuple[int, ...]]], list[set[tuple[int, int]]]]


def realized(basses: str) -> Graph:
    """Layers and edges of music21's realizations of a figured bass (``D3`` or ``D3:7``) in C."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        from music21 import figuredBass, key, meter, note

        line = figuredBass.realizer.FiguredBassLine(key.Key("C"), meter.TimeSignature("4/4"))
        for bass in basses.split():
            name, _, figures = bass.partition(":")
            line.addElement(note.Note(name), figures or None)
        segments = line.realize()._segmentList
    moves = [segment.movements for segment in segments[:-1]]
    layers = [list(dict.fromkeys(movement)) for movement in moves]
    last = dict.fromkeys(after for movement in moves[-1].values() for after in movement)
    layers.append(list(last))
    edges = [
        {
            (layers[k].index(before), layers[k + 1].index(after))
            for before, afters in movement.items()
            for after in afters
            if after in layers[k + 1]
        }
        for k, movement in enumerate(moves)
    ]
    midi = [[tuple(p.midi for p in chord) for chord in layer] for layer in layers]
    return midi, edges


def apart(a: tuple[int, ...], b: tuple[int, ...]) -> int:
    """Semitones of the three upper voices; music21 counts voices from the top, the bass last."""
    return sum(abs(x - y) for x, y in zip(a[:-1], b[:-1], strict=True))


BASSES = {
    3: "D3:7 G2:7 C3",
    5: "C3 A2 D3:7 G2:7 C3",
    8: "C3 A2 D3:7 G2:7 C3 F3:7 B2:7 E3:7",
    12: "C3 A2 D3:7 G2:7 C3 F3:7 B2:7 E3:7 A2:7 D3:7 G2:7 C3",
}


@pytest.mark.peer
@pytest.mark.parametrize("length", sorted(BASSES))
def test_the_kernel_finds_networkxs_optimum_in_a_figured_bass(length: int) -> None:
    layers, edges = realized(BASSES[length])
    graph = nx.DiGraph()
    seams = []
    for k, pairs in enumerate(edges):
        cost = np.full((len(layers[k]), len(layers[k + 1])), NEVER, np.int32)
        for i, j in pairs:
            cost[i, j] = apart(layers[k][i], layers[k + 1][j])
            graph.add_edge((k, i), (k + 1, j), weight=int(cost[i, j]))
        seams.append(PointSeam(0, 0, all=cost))
    ends = [(len(edges), j) for j in range(len(layers[-1]))]
    graph.add_edges_from((("begin", (0, i)) for i in range(len(layers[0]))), weight=0)
    graph.add_edges_from(((end, "end") for end in ends), weight=0)
    packed = [
        packed_layer(
            np.zeros((1, n), np.int16), *[np.zeros(n, of) for of in (np.int32, np.int32, np.int64)]
        )
        for n in map(len, layers)
    ]
    way = points.best_paths(PointProblem(packed, [1] * len(layers), seams, 1, 0, False))[0]
    steps = list(pairwise(way))
    assert all(step in pairs for step, pairs in zip(steps, edges, strict=True))
    cost = sum(int(of.all[step]) for of, step in zip(seams, steps, strict=True))
    assert cost == nx.dijkstra_path_length(graph, "begin", "end")


@pytest.mark.peer
def test_two_five_one_of_the_realizer_moves_eight() -> None:
    """Computed from music21's realizations alone: the smallest motion of D3(7) G2(7) C3 is 8."""
    layers, edges = realized(BASSES[3])
    sums = [
        apart(layers[0][i], layers[1][j]) + apart(layers[1][j], layers[2][k])
        for i, j in edges[0]
        for j2, k in edges[1]
        if j == j2
    ]
    assert len(sums) == 9
    assert min(sums) == 8
