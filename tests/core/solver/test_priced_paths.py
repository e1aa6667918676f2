"""Paths with prices against plain counting: least motion, alternatives, wide steps, choruses."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from itertools import product

import numpy as np
import pytest
from flask.testing import FlaskClient
from hypothesis import assume, given
from hypothesis import strategies as st

from shortway.core.errors import NoVoicing
from shortway.core.settings.prices import HOME_BAND
from shortway.core.shortest_path import points
from shortway.core.solver.request import as_chart, build_problem
from shortway.core.solver.search import exact
from shortway.core.solver.search.point_search import point_paths
from shortway.core.solver.search.weights import BITS
from shortway.core.solver.solve import Path, solve
from support.charts import SETTINGS, charts, transposed
from support.layered import Layered, layered, plus, upper
from support.prices import move_counts
from support.tables import each_row

Given = Mapping[str, object]
Notes = tuple[tuple[int, ...], ...]


def played(path: Path) -> Notes:
    """The notes of every sounding step."""
    return tuple(step.voicing.midi_notes for step in path.steps if step.voicing is not None)


# --- least motion --------------------------------------------------------------------------------


@given(charts(6, 2), st.sampled_from(SETTINGS), st.booleans())
def test_the_least_motion_is_networkxs_without_prices(
    text: str, setting: Given, loop: bool
) -> None:
    problem = layered(text, setting, loop=loop)
    assume(len(problem.layers) > 1 and all(problem.layers))
    assume(not loop or len(problem.layers[0]) <= 30)
    problem.setting = replace(problem.setting, pricing="none")
    expected = problem.by_networkx()
    assume(expected is not None)
    path = solve(text, setting, loop=loop, with_least_motion=True)
    assert path.least_motion == expected <= path.motion


def test_the_least_motion_over_http(client: FlaskClient) -> None:
    body = {
        "chart": {"text": "| Dm7b5 | G7 | Cm6 | Ab7 |"},
        "setting": {"hands": "left"},
        "loop": True,
    }
    said = client.post("/v1/paths", json={**body, "with_least_motion": True}).get_json()
    free = client.post("/v1/paths", json={**body, "setting": {"hands": "left", "pricing": "none"}})
    assert said["least_motion"] == free.get_json()["motion"] < said["motion"]
    assert client.post("/v1/paths", json=body).get_json()["least_motion"] is None


# --- alternatives --------------------------------------------------------------------------------

SMALL: tuple[dict[str, object], ...] = (
    {"families": ["guide-tone"]},
    {"families": ["guide-tone-extended"]},
    {"families": ["rootless", "close"], "hands": "left", "notes": 4},
    {"families": ["rootless-three"], "hands": "left", "prices": {"top-note-held": 7}},
    {"families": ["shell"], "bass_player": False, "hands": "left"},
)


def in_order(problem: Layered) -> list[Notes]:
    """The notes of every way, the best first by the whole order of preference."""
    nodes = [[problem.node(k, i) for i, _ in enumerate(of)] for k, of in enumerate(problem.layers)]
    edges = {
        (a, i, b, j): problem.edge(a, i, b, j)
        for a, b in problem.seams()
        for i, j in product(range(len(problem.layers[a])), range(len(problem.layers[b])))
    }
    keyed = []
    for way in problem.every_way():
        own = [nodes[k][i] for k, i in enumerate(way)]
        moves = [edges[a, way[a], b, way[b]] for a, b in problem.seams()]
        notes = tuple(problem.layers[k][i].midi_notes for k, i in enumerate(way))
        keyed.append((plus(*own, *moves), notes))
    return list(dict.fromkeys(notes for _, notes in sorted(keyed)))


def apart(ways: list[Notes], most: int, differs_in: int) -> list[Notes]:
    """The first of `ways`, and the next that differ from all before in enough steps."""
    found: list[Notes] = []
    for way in ways:
        if len(found) > most:
            break
        if all(sum(a != b for a, b in zip(way, k, strict=True)) >= differs_in for k in found):
            found.append(way)
    return found


@given(
    charts(4, 2), st.sampled_from(SMALL), st.booleans(), st.integers(1, 2), st.booleans(), st.data()
)
def test_alternatives_are_the_next_of_all_ways(
    text: str, setting: Given, loop: bool, differs_in: int, pinned: bool, data: st.DataObject
) -> None:
    pins: list[dict[str, object]] = []
    problem = layered(text, setting, loop=loop)
    assume(len(problem.layers) > 1 and all(problem.layers))
    if pinned:
        k = data.draw(st.integers(0, len(problem.layers) - 1))
        midi = data.draw(st.sampled_from(problem.layers[k])).midi_notes
        pins = [{"step": problem.indices[k], "midi_notes": list(midi)}]
        problem = layered(text, setting, loop=loop, pins=pins)
    assume(0 < problem.ways() <= 3_000)
    expected = apart(in_order(problem), 4, differs_in)
    assume(expected)
    path = solve(text, setting, loop=loop, pins=pins, alternatives=4, differs_in=min(differs_in, 2))
    assert [played(of) for of in (path, *path.alternatives)] == expected


# --- wide steps ----------------------------------------------------------------------------------


def least_cost(problem: Layered) -> int:
    """The least cost of an open path, by a plain dynamic program over all candidates."""
    rest = [0] * len(problem.layers[-1])
    for k in range(len(problem.layers) - 1, -1, -1):
        values = [problem.node(k, i)[0] + more for i, more in enumerate(rest)]
        if k == 0:
            return min(values)
        ahead = list(zip(map(upper, problem.layers[k]), values, strict=True))
        held, same = (_due(problem, k, name) for name in ("top-note-held", "unheard-change"))
        rest = [_least(upper(of), ahead, held, same) for of in problem.layers[k - 1]]
    raise AssertionError


def _least(
    before: tuple[int, ...], ahead: list[tuple[tuple[int, ...], int]], held: int, same: int
) -> int:
    return min(
        value
        + sum([abs(x - y) for x, y in zip(before, notes, strict=True)])
        + held * (before[-1] == notes[-1])
        + same * (before == notes)
        for notes, value in ahead
    )


def _due(problem: Layered, k: int, name: str) -> int:
    """What a move of one name into layer `k` costs: none where the chord stays."""
    old, new = problem.layers[k - 1][0], problem.layers[k][0]
    ends = (problem.chords[k - 1], problem.facts[k - 1], old)
    assert "suspension-unresolved" not in move_counts(
        ends, (problem.chords[k], problem.facts[k], new)
    )
    return problem.price({name: 1})


@pytest.mark.parametrize("setting", [{}, {"bass_player": False}], ids=str)
@each_row("text", ["| Dm7 | G7 |", "| Fm6 | Bb7alt | Ebmaj7 |", "| Am7b5 | D7b9 | Gm6 |"])
def test_narrowed_steps_cost_what_a_plain_program_says(
    monkeypatch: pytest.MonkeyPatch, text: str, setting: Given
) -> None:
    everything = {"families": ["any-playable"], "notes": 4, **setting}
    expected = least_cost(layered(text, everything))
    for wide in (exact.WIDE, 0):
        monkeypatch.setattr(exact, "WIDE", wide)
        monkeypatch.setattr(points, "NATIVE", False)
        assert solve(text, everything).cost == expected


@pytest.mark.slow
def test_a_really_wide_step_costs_what_a_plain_program_says() -> None:
    text, everything = "| Dm7 | G7 |", {"families": ["any-playable"], "notes": 5}
    path = solve(text, everything)
    assert path.size.transitions > 4 * exact.WIDE
    assert path.cost == least_cost(layered(text, everything))


# --- tie breaking --------------------------------------------------------------------------------

FREE: tuple[dict[str, object], ...] = (
    *SETTINGS,
    {"families": ["guide-tone", "guide-tone-extended", "close"], "notes_vary": True},
    {"families": ["any-playable"], "notes": 3, "hands": "left"},
)


@given(charts(6, 2), st.sampled_from(FREE), st.booleans(), st.booleans(), st.integers(0, 2**32 - 1))
def test_costs_of_32_and_64_bits_rank_alike(
    text: str, setting: Given, loop: bool, sounds: bool, seed: int
) -> None:
    """On a few candidates a layer, several of them where a loop may begin."""
    random = np.random.default_rng(seed)
    start = [50, 57, 60, 65] if sounds else None
    problem = build_problem(as_chart(text), setting, loop=loop, start_from=start)
    assume(problem.layers)
    sizes = [len(of) for of in problem.candidates]
    rows = [np.sort(random.permutation(n)[: random.integers(1, 6)]) for n in sizes]
    part = problem.on(rows)
    expected = point_paths(part, 0, 1, BITS[1:])
    if not expected:
        with pytest.raises(NoVoicing):
            exact.solve_k_best(part)
    else:
        assert exact.solve_k_best(part)[0].indices == expected[0]


# --- choruses ------------------------------------------------------------------------------------

FORMS = (
    "| Ebmaj7 | Cm7 | Fm7 | Bb7 | Gm7 | C7 | Fm7 Bb7 | Ebmaj7 |",
    "| Am7 | D7 | Gmaj7 | Cmaj7 | Gbm7b5 | B7 | Em6 | Em6 |",
    "| F7 | Bb7 | F7 | Cm7 F7 | Bb7 | Bdim7 | F7 | D7alt | Gm7 | C7 | F7 D7 | Gm7 C7 |",
    "| Dbmaj7 | Bbm7 | Ebm7 | Ab7 | Fm7 Bb7 | Ebm7 Ab7 | Dbmaj7 | A7#11 |",
)


def chorus_means(text: str, setting: Given, *, loop: bool) -> list[float]:
    """The mean pitch of each of three choruses."""
    once = as_chart(text)
    chart = replace(once, order=(*range(1, len(once.measures) + 1),) * 3)
    notes = [upper(step.voicing) for step in solve(chart, setting, loop=loop).steps if step.voicing]
    size = len(notes) // 3
    return [float(np.mean(sum(notes[k : k + size], ()))) for k in range(0, 3 * size, size)]


@given(
    st.sampled_from(FORMS),
    st.integers(0, 11),
    st.sampled_from([{}, {"hands": "left"}, {"bass_player": False}]),
    st.booleans(),
)
def test_choruses_stay_where_the_first_began(
    text: str, by: int, setting: Given, loop: bool
) -> None:
    """Their mean pitch stays in the band around the first; in a loop all are alike."""
    means = chorus_means(transposed(text, by), setting, loop=loop)
    assert max(abs(mean - means[0]) for mean in means) <= (0 if loop else HOME_BAND), means


def test_a_chart_that_climbs_is_not_drawn_up_chorus_by_chorus() -> None:
    """Every root rises a whole step, and so would the voicings if `home` did not hold them."""
    means = chorus_means("| Cmaj7 | D7 | Emaj7 | F#7 | Abmaj7 | Bb7 |", {}, loop=False)
    assert max(abs(mean - means[0]) for mean in means) <= 2, means
