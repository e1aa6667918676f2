"""Caches with bounds: tables that depend on a request's setting, kept while they fit.

Knows nothing of music. A cache has a budget in bytes and two parts. What is new goes on probation;
what is asked for again is kept in the other part, which holds up to three quarters of the budget.
Only probation makes room for what is new, so a client that never asks twice for the same cannot
push out what others keep asking for (segmented least-recently-used; Karedla, Love & Wherry, IEEE
Computer 27(3), 1994). What is kept stays while it is asked for: it goes when its turn comes and
nobody did since the last (second chance), so that a hit takes no lock. Safe between threads; two
threads that miss at once both compute, and counts of hits may fall short by a few.
"""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Callable, Hashable, Mapping
from dataclasses import dataclass
from threading import Lock
from typing import Final, Generic, TypeVar

from shortway.core.cancellation import checkpoint

K = TypeVar("K", bound=Hashable)
V = TypeVar("V")

#: Share of the budget that tables asked for more than once may hold.
KEPT_SHARE: Final = 0.75

_CACHES: list[Cache[Hashable, object]] = []


@dataclass(slots=True)
class _Entry(Generic[V]):
    """A table, its bytes, and whether it was asked for since its last turn."""

    value: V
    size: int
    used: bool = False


@dataclass(frozen=True, slots=True)
class CacheReport:
    """What a cache holds and how it has served."""

    name: str
    budget: int
    bytes: int
    entries: int
    hits: int
    misses: int


class Cache(Generic[K, V]):
    """Tables by key, those longest unused first, within a budget in bytes.

    Parameters
    ----------
    name : str
        What `cache_reports` calls it.
    budget : int
        Bytes that all its tables may take.
    size : callable
        Bytes of one table.

    >>> cache: Cache[str, bytes] = Cache("example", 100, len)
    >>> cache.get("a", lambda: b"once"), cache.get("a", lambda: b"never")
    (b'once', b'once')
    """

    def __init__(self, name: str, budget: int, size: Callable[[V], int]) -> None:
        self.name, self.budget, self._size = name, budget, size
        self._new: OrderedDict[K, _Entry[V]] = OrderedDict()
        self._kept: OrderedDict[K, _Entry[V]] = OrderedDict()
        self._new_bytes = self._kept_bytes = 0
        self._hits = self._misses = 0
        self._lock = Lock()
        _CACHES.append(self)  # type: ignore[arg-type]

    def get(self, key: K, make: Callable[[], V]) -> V:
        """The table of `key`, made by `make` where it is not held."""
        entry = self._kept.get(key)
        if entry is None:
            with self._lock:
                entry = self._promoted(key)
        if entry is not None:
            entry.used = True
            self._hits += 1
            return entry.value
        checkpoint()
        value = make()
        with self._lock:
            self._misses += 1
            self._add(key, value)
        return value

    def report(self) -> CacheReport:
        """Figures of this moment."""
        with self._lock:
            entries = len(self._new) + len(self._kept)
            held = self._new_bytes + self._kept_bytes
            return CacheReport(self.name, self.budget, held, entries, self._hits, self._misses)

    def clear(self) -> None:
        """Forget every table; for measuring."""
        with self._lock:
            self._new.clear()
            self._kept.clear()
            self._new_bytes = self._kept_bytes = 0

    def _promoted(self, key: K) -> _Entry[V] | None:
        """The entry on probation that `key` asks for a second time, now kept."""
        entry = self._new.pop(key, None)
        if entry is None:
            return self._kept.get(key)
        self._new_bytes -= entry.size
        self._kept[key] = entry
        self._kept_bytes += entry.size
        while self._kept_bytes > KEPT_SHARE * self.budget and len(self._kept) > 1:
            self._turn()
        return entry

    def _turn(self) -> None:
        """The longest kept goes on probation again, unless it was asked for since its last turn."""
        key, entry = self._kept.popitem(last=False)
        if entry.used:
            entry.used = False
            self._kept[key] = entry
        else:
            self._kept_bytes -= entry.size
            self._admit(key, entry)

    def _add(self, key: K, value: V) -> None:
        size = self._size(value)
        if size <= (1 - KEPT_SHARE) * self.budget and key not in self._kept:
            again = self._new.pop(key, None)
            self._new_bytes -= again.size if again else 0
            self._admit(key, _Entry(value, size))

    def _admit(self, key: K, entry: _Entry[V]) -> None:
        self._new[key] = entry
        self._new_bytes += entry.size
        while self._new and self._new_bytes + self._kept_bytes > self.budget:
            self._new_bytes -= self._new.popitem(last=False)[1].size


def cache_reports() -> tuple[CacheReport, ...]:
    """What every cache of this process holds, in the order they were made."""
    return tuple(cache.report() for cache in _CACHES)


def limit_budgets(budgets: Mapping[str, int]) -> None:
    """Lower the budgets of caches by name, for a process that is one of many; never raise one.

    What is held already over a budget goes when something new comes.
    """
    for cache in _CACHES:
        cache.budget = min(cache.budget, budgets.get(cache.name, cache.budget))
