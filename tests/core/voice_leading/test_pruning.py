"""Narrowing: the same answer as the dense search, whatever the request; caches stay in bounds."""

from __future__ import annotations

import os
import subprocess
import sys
from collections.abc import Mapping
from threading import Thread

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from shortway.core.cache import ENTRY_BYTES, Cache, cache_reports
from shortway.core.errors import ShortwayError, TooLarge
from shortway.core.shortest_path import points
from shortway.core.solver.search import exact as optimum
from shortway.core.solver.solve import solve, voicings
from support.charts import charts

WIDE: tuple[dict[str, object], ...] = (
    {"families": ["any-playable"], "notes": 4},
    {"families": ["any-playable"], "notes": 4, "repeats": "change"},
    {"families": ["any-playable"], "notes": 3, "bass_player": False},
    {"families": ["any-playable", "rootless"], "notes": 4, "hands": "left"},
    {"families": ["close", "drop-2", "guide-tone"], "notes": 4},
    {},
)


def told(text: str, setting: Mapping[str, object], **wishes: object) -> object:
    """The answer, or what it was refused with."""
    try:
        return solve(text, setting, **wishes)  # type: ignore[arg-type]
    except ShortwayError as error:
        return error.code, error.detail


@settings(suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(charts(7), st.sampled_from(WIDE), st.booleans(), st.data())
def test_narrowed_or_not_the_answer_is_one(
    monkeypatch: pytest.MonkeyPatch,
    text: str,
    setting: Mapping[str, object],
    loop: bool,
    data: st.DataObject,
) -> None:
    wishes: dict[str, object] = {"loop": loop}
    if data.draw(st.booleans()):
        wishes["start_from"] = sorted(
            data.draw(st.sets(st.integers(50, 80), min_size=3, max_size=5))
        )
    if data.draw(st.booleans()):
        wishes["pins"] = [{"step": 0, "form": data.draw(st.sampled_from("AB"))}]
    if data.draw(st.booleans()):
        wishes["alternatives"] = 3
    answers = []
    for wide, few in ((1 << 60, 1 << 60), (-1, 1 << 60), (-1, 300)):
        monkeypatch.setattr(optimum, "WIDE", wide)
        monkeypatch.setattr(points, "NATIVE", False)
        monkeypatch.setattr(optimum, "FEW", few)
        answers.append(told(text, setting, **wishes))
    assert answers[0] == answers[1] == answers[2]


def test_a_step_no_near_pair_leads_to() -> None:
    """Two registers an octave and more apart: every pair is far."""
    setting = {"families": ["any-playable"], "notes": 4}
    path = solve("| C7 | C7 |", {**setting, "repeats": "change"}, pins=[{"step": 0, "top": "C6"}])
    assert path.steps[0].voicing is not None
    far = solve("| C7 | F7 |", setting, pins=[{"step": 0, "top": "C6"}, {"step": 1, "top": "F4"}])
    assert far.motion >= 19


def test_too_wide_is_refused_before_it_is_grown() -> None:
    everything = {
        "families": ["any-playable"],
        "notes": 8,
        "tensions": "available",
        "reach_mm": 400,
    }
    with pytest.raises(TooLarge, match="of one chord") as caught:
        voicings("Cm13", {**everything, "lowest": "C1", "highest": "C8"})
    assert caught.value.faults[0].pointer == "/setting"
    assert "at most" in str(caught.value.faults[0].expected)


def test_too_many_paths_too_far_apart_are_refused() -> None:
    with pytest.raises(TooLarge, match="states"):
        solve("| Dm7 | G7 | Cmaj7 | A7 | Dm7 | G7 |", alternatives=40, differs_in=2)


# --- caches --------------------------------------------------------------------------------------


def test_a_cache_keeps_its_budget_and_says_so() -> None:
    cache: Cache[int, bytes] = Cache("test", 1000, len)
    for key in range(100):
        cache.get(key, lambda: bytes(90))
    report = cache.report()
    assert report.bytes <= report.budget == 1000
    assert report.entries == report.bytes // (90 + ENTRY_BYTES)
    assert (report.hits, report.misses) == (0, 100)
    assert any(r.name == "test" for r in cache_reports())


def test_a_greedy_client_does_not_push_out_what_others_ask_for() -> None:
    cache: Cache[str, bytes] = Cache("test", 3000, len)
    common = [f"common {k}" for k in range(6)]
    for _ in range(2):
        for key in common:
            cache.get(key, lambda: bytes(100))
    for key in range(10_000):
        cache.get(f"odd {key}", lambda: bytes(100))
    missed: list[str] = []
    for key in common:
        cache.get(key, lambda key=key: (missed.append(key), bytes(100))[1])  # type: ignore[misc]
    assert missed == []


def test_what_is_larger_than_probation_is_not_held() -> None:
    cache: Cache[str, bytes] = Cache("test", 1000, len)
    cache.get("large", lambda: bytes(600))
    assert cache.report().entries == 0


def test_a_cache_serves_threads() -> None:
    cache: Cache[int, bytes] = Cache("test", 5_000, len)
    wrong: list[object] = []

    def ask() -> None:
        for turn in range(2_000):
            key = turn * 7 % 60
            if cache.get(key, lambda key=key: bytes([key]) * 100)[0] != key:  # type: ignore[misc]
                wrong.append(key)

    threads = [Thread(target=ask) for _ in range(4)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert wrong == []
    assert cache.report().bytes <= 5_000


SCRIPT = """
from shortway.core.solver.solve import solve
setting = {"families": ["any-playable"], "notes": 5}
for loop in (False, True):
    path = solve("| Dm7 | G7 | Cmaj7 | A7alt |", setting, loop=loop)
    print(path.cost, [step.voicing.midi_notes for step in path.steps])
"""


@pytest.mark.slow
def test_ties_fall_alike_in_every_process_and_at_every_cache_state() -> None:
    said = {
        subprocess.run(
            [sys.executable, "-c", SCRIPT],
            env={**os.environ, "PYTHONHASHSEED": seed},
            capture_output=True,
            text=True,
            check=True,
            timeout=60,
        ).stdout
        for seed in ("0", "4242")
    }
    here = []
    for loop in (True, False, True):
        setting = {"families": ["any-playable"], "notes": 5}
        path = solve("| Dm7 | G7 | Cmaj7 | A7alt |", setting, loop=loop)
        midi = [step.voicing.midi_notes for step in path.steps if step.voicing]
        here.append(f"{path.cost} {midi}\n")
    assert said == {here[1] + here[2]}
    assert here[0] == here[2]
