"""Fragments: the JSON of values that many answers share, encoded once."""

from __future__ import annotations

from collections.abc import Callable
from typing import TypeVar

import orjson

from shortway.core.cache import Memo

T = TypeVar("T")


def fragments(
    name: str, budget: int, encode: Callable[[T], bytes], weight: int
) -> Callable[[T], bytes]:
    """`encode`, whose results are held in a `Memo` by the identity of the value.

    `weight` is the bytes of a value that nothing else may hold.
    """
    memo: Memo[int, tuple[T, bytes]] = Memo(name, budget, lambda held: weight + len(held[1]))

    def fragment(value: T) -> bytes:
        key = id(value)  # no other's, for the memo holds the value
        return (memo.get(key) or memo.recall(key, lambda: (value, encode(value))))[1]

    return fragment


def inside(value: object) -> bytes:
    """The JSON of a dict or a list without the brackets round it."""
    return orjson.dumps(value)[1:-1]
