"""Segmented least-recently-used caches that share one budget in bytes.

Knows no music. An entry counts with all that it holds: value, key and the cache's own records. A
key must hold no large object, which it would keep alive uncounted; a number stands for it. A new
entry goes into the probationary segment; a second request moves it into the protected segment,
which holds up to three quarters of the budget. Only the probationary segment evicts for new
entries, so that a client with ever new keys cannot evict what others request again (Karedla, Love &
Wherry, IEEE Computer 27(3), 1994). Protected entries get a second chance before they are demoted,
so that a hit takes no lock. Thread-safe; two threads that miss at the same time both compute the
value, and the count of hits may be a few short.
"""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Callable, Hashable, Iterable
from contextlib import suppress
from dataclasses import dataclass
from functools import partial
from threading import Lock
from typing import Any, Final, Generic, TypeVar, cast

from shortway.core.cancellation import checkpoint

K = TypeVar("K", bound=Hashable)
V = TypeVar("V")

#: Share of the budget that the protected segment may hold.
PROTECTED_SHARE: Final = 0.75
#: The budget of all caches of a process together, for which each cache declares its own.
DEFAULT_BUDGET: Final = 384 << 20
#: Bytes of a dropped generation that go with each byte of a new value; more than one, so that all
#: are gone before the next one is dropped.
_FREED: Final = 3
#: Bytes of an entry beside key and value: its record and its places in the dictionaries.
ENTRY_BYTES: Final = 200

_SHARED: Final = [DEFAULT_BUDGET]
_CACHES: list[Cache[Any, Any] | Memo[Any, Any]] = []


@dataclass(slots=True)
class _Entry(Generic[V]):
    """A value, its size in bytes, and whether it was requested since its last turn."""

    value: V
    size: int
    used: bool = False


@dataclass(frozen=True, slots=True)
class CacheReport:
    """Figures of one cache: budget and contents in bytes, entries, hits and misses."""

    name: str
    budget: int
    bytes: int
    entries: int
    hits: int
    misses: int


class Cache(Generic[K, V]):
    """Values by key within a budget in bytes; the least recently used are evicted.

    Parameters
    ----------
    name : str
        The name in `cache_reports`.
    budget : int
        Bytes of all entries together, as part of `DEFAULT_BUDGET`.
    size : callable
        Bytes of one value and its key.

    >>> cache: Cache[str, bytes] = Cache("example", 1000, len)
    >>> cache.get("a", lambda: b"once"), cache.get("a", lambda: b"never")
    (b'once', b'once')
    """

    def __init__(self, name: str, budget: int, size: Callable[[V], int]) -> None:
        self.name, self._declared, self._size = name, budget, size
        self.scale(shared_budget())
        self._probation: OrderedDict[K, _Entry[V]] = OrderedDict()
        self._protected: OrderedDict[K, _Entry[V]] = OrderedDict()
        self._probation_bytes = self._protected_bytes = 0
        self._hits = self._misses = 0
        self._lock = Lock()
        _CACHES.append(self)

    def get(self, key: K, make: Callable[[], V]) -> V:
        """The value of `key`, computed by `make` on a miss."""
        entry = self._entry(key)
        if entry is not None:
            return entry.value
        checkpoint()
        value = make()
        self.put(key, value)
        return value

    def find(self, key: K) -> V | None:
        """The value of `key`, if it is here; for values that are not always worth a `put`."""
        entry = self._entry(key)
        return None if entry is None else entry.value

    def put(self, key: K, value: V) -> None:
        """Add a value that was missed."""
        with self._lock:
            self._misses += 1
            self._add(key, value)

    def report(self) -> CacheReport:
        """The current figures."""
        with self._lock:
            entries = len(self._probation) + len(self._protected)
            held = self._probation_bytes + self._protected_bytes
            return CacheReport(self.name, self.budget, held, entries, self._hits, self._misses)

    def scale(self, budget: int) -> None:
        """Take this cache's part of `budget`; entries over it go at the next insertion."""
        self.budget = self._declared * budget // DEFAULT_BUDGET

    def clear(self) -> None:
        """Remove every entry; for benchmarks and tests."""
        with self._lock:
            self._probation.clear()
            self._protected.clear()
            self._probation_bytes = self._protected_bytes = 0

    def _entry(self, key: K) -> _Entry[V] | None:
        entry = self._protected.get(key)
        if entry is None:
            with self._lock:
                entry = self._promote(key)
        if entry is not None:
            entry.used = True
            self._hits += 1
        return entry

    def _promote(self, key: K) -> _Entry[V] | None:
        """Move the probationary entry of `key` into the protected segment."""
        entry = self._probation.pop(key, None)
        if entry is None:
            return self._protected.get(key)
        self._probation_bytes -= entry.size
        self._protected[key] = entry
        self._protected_bytes += entry.size
        while self._protected_bytes > PROTECTED_SHARE * self.budget and len(self._protected) > 1:
            self._demote()
        return entry

    def _demote(self) -> None:
        """Demote the oldest protected entry, unless it was requested since its last turn."""
        key, entry = self._protected.popitem(last=False)
        if entry.used:
            entry.used = False
            self._protected[key] = entry
        else:
            self._protected_bytes -= entry.size
            self._admit(key, entry)

    def _add(self, key: K, value: V) -> None:
        size = self._size(value) + ENTRY_BYTES
        if size <= (1 - PROTECTED_SHARE) * self.budget and key not in self._protected:
            again = self._probation.pop(key, None)
            self._probation_bytes -= again.size if again else 0
            self._admit(key, _Entry(value, size))

    def _admit(self, key: K, entry: _Entry[V]) -> None:
        self._probation[key] = entry
        self._probation_bytes += entry.size
        while self._probation and self._probation_bytes + self._protected_bytes > self.budget:
            self._probation_bytes -= self._probation.popitem(last=False)[1].size


class Memo(dict[K, V]):
    """Small values by key, in two generations within a budget in bytes.

    ``memo[key]`` is the value of `key`; where a value takes more than its key to make, it is
    ``memo.get(key) or memo.recall(key, make)``. A hit is one look-up in a dict, and is not counted.
    Once the young generation has half the budget it becomes the old one, and the old one is
    dropped, a few values at each new one: all at once is a pause of 13 ms. What is requested again
    is young again. A value of more than half the budget is not held. Thread-safe; two threads that
    miss at the same time both compute the value, and the counts may be a few short.

    `name`, `budget`, `size`: as of `Cache`. No value is false. `make`: the value of a key.

    >>> memo: Memo[str, bytes] = Memo("example", 1000, len, str.encode)
    >>> memo["a"], memo.get("b") or memo.recall("b", lambda: b"once"), memo["b"]
    (b'a', b'once', b'once')
    """

    def __init__(
        self,
        name: str,
        budget: int,
        size: Callable[[V], int],
        make: Callable[[K], V] | None = None,
    ) -> None:
        super().__init__()
        self.name, self._declared, self._size, self._make = name, budget, size, make
        self.scale(shared_budget())
        self._old: dict[K, V] = {}
        self._dropped: dict[K, V] = {}
        self._bytes = self._old_bytes = self._dropped_bytes = self._misses = 0
        self._lock = Lock()
        _CACHES.append(self)

    def __missing__(self, key: K) -> V:
        if self._make is None:
            raise KeyError(key)
        return self.recall(key, partial(self._make, key))

    def each(self, keys: Iterable[K], make: Callable[[int], V]) -> list[V]:
        """The value of each key; `make` recalls or makes what is not young, by its place."""
        found = list(map(self.get, keys))
        if all(found):
            return cast("list[V]", found)
        return [make(k) if value is None else value for k, value in enumerate(found)]

    def recall(self, key: K, make: Callable[[], V]) -> V:
        """The value of `key`: from either generation, or from `make`."""
        value = self.get(key)
        if value is not None:
            return value
        value = self._old.get(key)
        if value is None:
            checkpoint()
            value = make()
            self._misses += 1
        size = self._size(value) + ENTRY_BYTES
        if size > self.budget // 2:
            return value
        if self._bytes + size > self.budget // 2:
            self._turn(size)
        if self._dropped:
            self._free(_FREED * size)
        self[key] = value
        self._bytes += size
        return value

    def _turn(self, size: int) -> None:
        """Make the young generation the old one, unless another thread just has."""
        with self._lock:
            if self._bytes + size > self.budget // 2:
                self._dropped, self._dropped_bytes = self._old, self._old_bytes
                self._old, self._old_bytes, self._bytes = dict(self), self._bytes, 0
                super().clear()

    def _free(self, size: int) -> None:
        with suppress(KeyError):  # the last one is gone
            while size > 0:
                _, value = self._dropped.popitem()
                freed = self._size(value) + ENTRY_BYTES
                self._dropped_bytes -= freed
                size -= freed

    def report(self) -> CacheReport:
        """The current figures, without hits."""
        held = self._bytes + self._old_bytes + self._dropped_bytes
        entries = len(self) + len(self._old) + len(self._dropped)
        return CacheReport(self.name, self.budget, held, entries, 0, self._misses)

    def scale(self, budget: int) -> None:
        """As of `Cache`."""
        self.budget = self._declared * budget // DEFAULT_BUDGET

    def clear(self) -> None:
        """Remove every entry; for benchmarks and tests."""
        super().clear()
        self._old, self._dropped = {}, {}
        self._bytes = self._old_bytes = self._dropped_bytes = 0


def compact(data: bytes) -> bytes:
    """A copy that holds no more memory than its length: a serializer's buffer may hold far more."""
    return bytes(memoryview(data))


def cache_reports() -> tuple[CacheReport, ...]:
    """The figures of every cache of this process, in order of creation."""
    return tuple(cache.report() for cache in _CACHES)


def shared_budget() -> int:
    """Bytes of all caches of this process together."""
    return _SHARED[-1]


def set_budget(budget: int) -> None:
    """Divide `budget`, bytes of all caches of this process, among them as `DEFAULT_BUDGET` is.

    Caches that are made later get their part of it, too.
    """
    _SHARED[:] = [budget]
    for cache in _CACHES:
        cache.scale(budget)
