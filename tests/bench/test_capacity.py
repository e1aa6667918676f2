"""The arithmetic of the capacity plan, by hand: no source but the definitions in its docstrings."""

from __future__ import annotations

import pytest

from bench import capacity
from bench.capacity import Asked, Memory, least_hits, pays, replicas, told

CALL = {"fresh_ms": 4.0, "kept_ms": 1.0, "bytes": 30_000}
REDIS = {"get_ms": 0.1, "set_ms": 0.2}
OFTEN, ONCE, NEVER = (
    Asked(CALL, "often", True), Asked(CALL, "once", False), Asked(CALL, None, False),
)  # fmt: skip


@pytest.fixture(autouse=True)
def few(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(capacity, "WARM", 1)
    monkeypatch.setattr(capacity, "COUNTED", 4)


def test_a_process_for_itself() -> None:
    asked = [OFTEN, OFTEN, OFTEN, ONCE, NEVER]
    memory = Memory()
    own = [memory.knows(one) for one in asked]
    assert own == [False, True, True, False, False]
    found = told(asked, own)
    assert (found.own, found.shared, found.cost) == (0.5, 0.0, (1 + 1 + 4 + 4) / 4)


def test_then_a_redis() -> None:
    """It knows what is of the book; what is asked for once is looked up in vain, and put there."""
    found = told([OFTEN, OFTEN, OFTEN, ONCE, NEVER], [False] * 5, REDIS)
    assert (found.own, found.shared) == (0.0, 0.5)
    assert found.cost == pytest.approx((2 * (1 + 0.1) + (4 + 0.1 + 0.2) + 4) / 4)


def test_the_least_share_of_hits_is_where_saving_and_cost_are_equal() -> None:
    share = least_hits(CALL, REDIS)
    assert share == pytest.approx(0.3 / 3.2)
    assert pays(CALL, REDIS, share + 0.001)
    assert not pays(CALL, REDIS, share - 0.001)
    assert least_hits(CALL | {"fresh_ms": 1.05}, REDIS) is None


def test_replicas_of_two_processes_that_are_busy_three_fifths_of_the_time() -> None:
    """1,000 a second at 6 ms are 6 processors' work; a replica does 1.2."""
    assert replicas(1_000, 6.0) == 5
    assert replicas(1_001, 6.0) == 6
