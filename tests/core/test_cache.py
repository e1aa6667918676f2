"""Memos hold what is requested again and stay within their budget, whatever else is asked for."""

from __future__ import annotations

import pytest

from shortway.core.cache import ENTRY_BYTES, Memo

BUDGET = 100 * (ENTRY_BYTES + 50)


def test_a_value_that_is_requested_again_outlives_others() -> None:
    made: list[int] = []
    memo: Memo[int, bytes] = Memo("test", BUDGET, lambda _: 50)

    def value(key: int) -> bytes:
        def make() -> bytes:
            made.append(key)
            return b"%d" % key

        return memo.get(key) or memo.recall(key, make)

    for key in range(1, 1_000):
        assert value(0) == b"0"
        assert value(key) == b"%d" % key
    assert made.count(0) == 1


def test_the_bytes_of_both_generations_stay_within_the_budget() -> None:
    memo: Memo[int, bytes] = Memo("test", BUDGET, len)
    for key in range(2_000):
        memo.recall(key, lambda: bytes(50))
        report = memo.report()
        assert report.bytes <= BUDGET
        assert report.entries * (ENTRY_BYTES + 50) == report.bytes
    memo.clear()
    assert (memo.report().entries, memo.report().bytes) == (0, 0)


def test_values_of_unlike_sizes_stay_within_the_budget() -> None:
    memo: Memo[int, bytes] = Memo("test", BUDGET, len)
    for key in range(200):
        large = bytes(BUDGET * 2 // 5 if key % 5 == 4 else BUDGET // 20)
        memo.recall(key, lambda value=large: value)  # type: ignore[misc]
        assert memo.report().bytes <= BUDGET


def test_a_dropped_generation_goes_a_few_values_at_a_time() -> None:
    freed: list[int] = []

    class Value:
        def __del__(self) -> None:
            freed.append(1)

    memo: Memo[int, Value] = Memo("test", BUDGET, lambda _: 50)
    for key in range(1_000):
        before = len(freed)
        memo.recall(key, Value)
        assert len(freed) - before <= 4
    assert len(freed) >= 900


def test_a_value_over_half_the_budget_is_not_held() -> None:
    memo: Memo[int, bytes] = Memo("test", BUDGET, len)
    for key in range(20):
        assert memo.recall(key, lambda: bytes(BUDGET)) == bytes(BUDGET)
    assert memo.report().bytes == 0


def test_a_memo_without_a_way_to_make_values_says_what_is_missing() -> None:
    memo: Memo[str, bytes] = Memo("test", BUDGET, len)
    with pytest.raises(KeyError, match="absent"):
        memo["absent"]
