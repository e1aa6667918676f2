"""Every playable voicing and the alternatives, against searches that are not ours.

networkx finds the least motion over what is listed; sorting every way finds the alternatives. The
narrowed search is forced on charts small enough for both.
"""

from __future__ import annotations

from collections.abc import Mapping
from functools import cache
from itertools import combinations, pairwise, product

import networkx as nx
import numpy as np
import pytest
from hypothesis import HealthCheck, assume, given, settings
from hypothesis import strategies as st

from shortway.core.settings.setting import resolve
from shortway.core.shortest_path import points
from shortway.core.solver.search import exact as optimum
from shortway.core.solver.solve import Path, solve, voicings
from shortway.core.symbols.parser import parse
from support.charts import ROOTS, SUFFIXES, charts
from support.layered import Layered, layered
from support.plain import CENTRES, OCTAVE_MM, minor_ninths, muddy, semitones
from support.tables import each_row

FILTERED = settings(suppress_health_check=[HealthCheck.filter_too_much])
#: The least motion alone, which is what these graphs count.
NONE = {"pricing": "none"}
SMALL = {"lowest": "G3", "highest": "D5"}
OPEN: tuple[dict[str, object], ...] = (
    {"families": ["any-playable"], "notes": 3},
    {"families": ["any-playable"], "notes": 4, **SMALL},
    {"families": ["any-playable"], "notes": 4, **SMALL, "repeats": "change"},
    {
        "families": ["any-playable"],
        "notes": 3,
        "bass_player": False,
        "lowest": "E2",
        "highest": "B4",
    },
)


@pytest.fixture(autouse=True)
def narrowed(monkeypatch: pytest.MonkeyPatch) -> None:
    """Every search is narrowed, and loops are cut as soon as they can be."""
    monkeypatch.setattr(optimum, "WIDE", -1)
    monkeypatch.setattr(points, "NATIVE", False)
    monkeypatch.setattr(optimum, "FEW", 500)
    return


def answer(path: Path, problem: Layered) -> tuple[int, ...]:
    """The way that `path` takes through the layers of `problem`."""
    sounding = [step.voicing for step in path.steps if step.voicing is not None]
    return tuple(k.index(v) for k, v in zip(problem.layers, sounding, strict=True))


# --- what is listed ------------------------------------------------------------------------------


@each_row("suffix, notes", product(SUFFIXES, [3, 4, 5]), sample=20)
def test_every_set_of_keys_is_listed_that_the_rules_allow(suffix: str, notes: int) -> None:
    """All combinations of keys, judged one by one in plain Python, by `support.plain`."""
    setting = resolve(
        {"families": ["any-playable"], "notes": notes, "lowest": "E3", "highest": "G4"}
    )
    for root in ("C", "F#"):
        chord = parse(root + suffix)
        listed = {r.voicing.midi_notes for r in voicings(chord, setting).voicings}
        keys = range(setting.lowest, setting.highest + 1)
        allowed = {midi for midi in combinations(keys, notes) if plays(midi, chord.symbol)}
        assert listed == allowed, chord.symbol


@cache
def pool_of(symbol: str) -> tuple[set[str], set[str], list[set[str]]]:
    """A chord's tones, these with its colours, and which of them each pitch class is."""
    chord = parse(symbol)
    degrees = set(chord.degrees)
    if "3" in degrees and "11" in degrees:
        degrees.discard("3" if "11" in chord.written else "11")
    pool, root = degrees | set(chord.colours), chord.root_pc or 0
    classes = [{d for d in pool if (root + semitones(d)) % 12 == n} for n in range(12)]
    return degrees, pool, classes


def plays(midi: tuple[int, ...], symbol: str) -> bool:
    """The hard rules for voicings with no recipe, two hands and a bass player."""
    chord = parse(symbol)
    root = chord.root_pc or 0
    degrees, pool, classes = pool_of(symbol)
    sounding = [classes[n % 12] for n in midi]
    if not all(sounding) or muddy(midi) or midi[-1] - midi[-2] == 1:
        return False
    if any(c - a <= 2 for a, c in zip(midi, midi[2:], strict=False)):
        return False
    if any(b - a > 12 for a, b in pairwise(midi)):
        return False
    heard = set().union(*sounding)
    return (
        not _clash(heard, set(chord.written))
        and _leads(heard, degrees, chord.chord_type, set(chord.written))
        and _roomy(heard, degrees, chord.chord_type, set(chord.written), len(midi))
        and _own_tones_first(sounding, degrees, chord.chord_type, set(chord.written))
        and not any(sum(d in s for s in sounding) > 1 for d in heard & ALTERED)
        and all(_excused(root, low, high, pool) for low, high in minor_ninths(midi))
        and _over_root(midi[0], root, chord.bass is None)
        and _two_hands(midi)
    )


ALTERED = {"b9", "#9", "#11", "b13", "b5", "#5"}
CLASHING = ("9 b9", "9 #9", "13 b13", "6 b13", "5 #5", "5 b13", "5 b5", "11 #11")
THIRDS = ("3", "b3", "4", "11")
SEVENTHS = ("b7", "7", "bb7", "6")


def _clash(heard: set[str], written: set[str]) -> bool:
    pairs = [set(pair.split()) for pair in CLASHING]
    return any(pair <= heard and not pair <= written for pair in pairs)


def _guides(degrees: set[str], chord_type: str, written: set[str]) -> tuple[str | None, str | None]:
    thirds = [d for d in THIRDS if d in degrees and (d != "11" or "11" in written)]
    third = thirds[0] if thirds else "9" if chord_type == "suspended" and "9" in degrees else None
    return third, next((d for d in SEVENTHS if d in degrees), None)


def _leads(heard: set[str], degrees: set[str], chord_type: str, written: set[str]) -> bool:
    third, seventh = _guides(degrees, chord_type, written)
    sixth = chord_type == "major-seventh" and "13" in heard and "13" not in written
    flat = chord_type in ("half-diminished", "diminished-seventh", "diminished")
    return (
        (third is None or third in heard)
        and (seventh is None or seventh in heard or sixth)
        and (not flat or "b5" in heard)
    )


def _own_tones_first(
    sounding: list[set[str]], degrees: set[str], chord_type: str, written: set[str]
) -> bool:
    """A triad's third once; a diminished seventh's four tones, and a tension on top alone."""
    third, seventh = _guides(degrees, chord_type, written)
    tones = degrees & {"1", third, "5", "b5", "#5"}
    if seventh is None and len(tones) > 2 and chord_type != "augmented":
        return sum(third in s for s in sounding) < 2
    if chord_type != "diminished-seventh":
        return True
    four = degrees & {"1", "b3", "b5", "bb7" if "bb7" in degrees else "7"}
    complete = len(sounding) < len(four) or four <= set().union(*sounding)
    return complete and all(s & degrees for s in sounding[:-1])


def _roomy(
    heard: set[str], degrees: set[str], chord_type: str, written: set[str], size: int
) -> bool:
    if written == {"b9", "#9", "#11", "b13"} and "5" not in degrees:
        return True  # An alt leaves the choice of alterations to the player.
    third, seventh = _guides(degrees, chord_type, written)
    guides = {third, seventh} - {None}
    if chord_type == "diminished-seventh":
        guides |= {"1", "b5"} & degrees
    must = (written | ({"b5", "#5"} & degrees)) - guides - {"1", "5", "3" if third == "11" else ""}
    return len(must - heard) <= max(0, len(must) - (size - len(guides)))


def _excused(root: int, low: int, high: int, pool: set[str]) -> bool:
    return (low - root) % 12 == 0 and (high - root) % 12 == 1 and "b9" in pool


def _over_root(lowest: int, root: int, assumed: bool) -> bool:
    below = lowest - (lowest - root) % 12
    return not assumed or not muddy((below, lowest)) or below == lowest


def _two_hands(midi: tuple[int, ...]) -> bool:
    def span(hand: tuple[int, ...]) -> float:
        ends = [OCTAVE_MM * (n // 12) + CENTRES[n % 12] for n in hand]
        return ends[-1] - ends[0] if ends else 0.0

    return any(
        max(span(midi[:k]), span(midi[k:])) <= 198.0
        for k in range(max(0, len(midi) - 5), min(5, len(midi)) + 1)
    )


# --- least motion --------------------------------------------------------------------------------


@FILTERED
@given(charts(6, 2), st.sampled_from(OPEN), st.booleans())
def test_least_motion_over_everything_is_networkxs(
    text: str, setting: Mapping[str, object], loop: bool
) -> None:
    problem = layered(text, setting, loop=loop)
    assume(len(problem.layers) > 1 and all(problem.layers))
    assume(max(map(len, problem.layers)) <= 120 and (not loop or len(problem.layers[0]) <= 40))
    expected = problem.by_networkx()
    assume(expected is not None)
    path = solve(text, setting, loop=loop)
    assert path.cost == expected
    assert problem.key(answer(path, problem))[0][0] == expected


@FILTERED
@given(charts(5, 2), st.sampled_from(OPEN), st.booleans(), st.data())
def test_pinned_over_everything_is_networkxs(
    text: str, setting: Mapping[str, object], loop: bool, data: st.DataObject
) -> None:
    free = layered(text, setting, loop=loop)
    assume(len(free.layers) > 1 and all(free.layers) and max(map(len, free.layers)) <= 120)
    k = data.draw(st.integers(0, len(free.layers) - 1))
    voicing = data.draw(st.sampled_from(free.layers[k]))
    pins = [{"step": free.indices[k], "midi_notes": list(voicing.midi_notes)}]
    problem = layered(text, setting, loop=loop, pins=pins)
    assume(not loop or len(problem.layers[0]) <= 40)
    expected = problem.by_networkx()
    assume(expected is not None)
    path = solve(text, setting, loop=loop, pins=pins)
    assert path.cost == expected
    assert path.steps[free.indices[k]].voicing == voicing


@FILTERED
@given(charts(4, 2), st.sampled_from(OPEN), st.booleans())
def test_ties_fall_as_the_order_of_preference_says(
    text: str, setting: Mapping[str, object], loop: bool
) -> None:
    """The whole order, by a dynamic program over tuples in plain Python."""
    problem = layered(text, setting, loop=loop)
    assume(len(problem.layers) > 1 and all(problem.layers))
    assume(max(map(len, problem.layers)) <= (25 if loop else 60))
    expected = problem.by_tuples()
    assume(expected is not None)
    assert problem.key(answer(solve(text, setting, loop=loop), problem)) == expected


@pytest.mark.peer
def test_thousands_of_candidates_against_scipy() -> None:
    """Four steps of five voices in full range: scipy.sparse.csgraph on all transitions."""
    from scipy.sparse import csr_array
    from scipy.sparse.csgraph import dijkstra

    setting = {**NONE, "families": ["any-playable"], "notes": 5, "tensions": "available"}
    symbols = ("Dm7", "G7", "Cmaj7", "Eb7#11")
    layers = [
        np.array([r.voicing.midi_notes for r in voicings(symbol, setting).voicings], np.int16)
        for symbol in symbols
    ]
    firsts = np.cumsum([0, *map(len, layers)])
    last = int(firsts[-1])
    rows, columns, weights = [], [], []
    for k in range(len(layers) - 1):
        apart = np.abs(layers[k][:, None, :] - layers[k + 1][None, :, :]).sum(axis=2)
        r, c = np.nonzero(apart >= 0)
        rows.append(r + firsts[k])
        columns.append(c + firsts[k + 1])
        weights.append(apart[r, c] + 1.0)
    ends = np.arange(len(layers[0]))
    rows.append(np.full(len(ends), last))
    columns.append(ends)
    weights.append(np.ones(len(ends)))
    graph = csr_array(
        (np.concatenate(weights), (np.concatenate(rows), np.concatenate(columns))),
        shape=(last + 1, last + 1),
    )
    distance = dijkstra(graph, indices=last)[firsts[-2] : firsts[-1]].min() - len(symbols)
    path = solve("| " + " | ".join(symbols) + " |", setting)
    assert path.size.candidates == last
    assert path.motion == distance


# --- alternatives --------------------------------------------------------------------------------


@FILTERED
@given(charts(4, 2), st.booleans(), st.integers(1, 6), st.integers(1, 3), st.data())
def test_alternatives_are_the_best_that_keep_apart(
    text: str, loop: bool, count: int, differs_in: int, data: st.DataObject
) -> None:
    """Every way sorted by the whole order; each alternative the first that differs enough."""
    setting = data.draw(st.sampled_from([OPEN[0], {"families": ["guide-tone"]}]))
    problem = layered(text, setting, loop=loop)
    assume(len(problem.layers) > 1 and all(problem.layers) and problem.ways() <= 20_000)
    differs_in = min(differs_in, problem.length)
    ranked = sorted(problem.every_way(), key=problem.key)
    expected = [ranked[0]]
    for way in ranked:
        played = [differences(way, other, problem) for other in expected]
        if min(played) >= differs_in and len(expected) <= count:
            expected.append(way)
    path = solve(text, setting, loop=loop, alternatives=count, differs_in=differs_in)
    got = [answer(other, problem) for other in (path, *path.alternatives)]
    assert [problem.key(way) for way in got] == [problem.key(way) for way in expected]


def differences(a: tuple[int, ...], b: tuple[int, ...], problem: Layered) -> int:
    """In how many steps two ways differ."""
    return sum(
        problem.layers[k][i].midi_notes != problem.layers[k][j].midi_notes
        for k, (i, j) in enumerate(zip(a, b, strict=True))
    )


@pytest.mark.parametrize("root", ROOTS[:4])
def test_next_best_totals_are_networkxs_shortest_simple_paths(root: str) -> None:
    """Yen's algorithm as networkx has it, on the listed voicings of a ii V I."""
    at = ROOTS.index(root)
    symbols = [ROOTS[(at + 2) % 12] + "m7", ROOTS[(at + 7) % 12] + "7", root + "maj7"]
    setting = {"families": ["rootless", "drop-2"], "notes": 4, "tensions": "available", **NONE}
    layers = [[r.voicing.midi_notes for r in voicings(s, setting).voicings] for s in symbols]
    graph = nx.DiGraph()
    for k, (a, b) in enumerate(pairwise(layers)):
        for i, low in enumerate(a):
            for j, high in enumerate(b):
                apart = sum(abs(x - y) for x, y in zip(low, high, strict=True))
                graph.add_edge((k, i), (k + 1, j), weight=apart)
    graph.add_edges_from(("start", (0, i), {"weight": 0}) for i in range(len(layers[0])))
    graph.add_edges_from(((2, j), "end", {"weight": 0}) for j in range(len(layers[2])))
    found = nx.shortest_simple_paths(graph, "start", "end", weight="weight")
    expected = [nx.path_weight(graph, next(found), "weight") for _ in range(12)]
    path = solve("| " + " | ".join(symbols) + " |", setting, alternatives=11)
    assert [other.motion for other in (path, *path.alternatives)] == expected
