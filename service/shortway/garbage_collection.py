"""Short garbage collections, for processes whose caches hold many values.

Knows the standard library only. Python's collector looks through every value that lives long, again
and again: 300 ms for full caches. Cached values hold no reference cycles, so that nothing is lost
where the collector never looks at a survivor again; they are freed with their last reference.
"""

import gc
from collections.abc import Mapping
from itertools import count
from typing import Any, Final

#: New values before a collection, and collections of new values before one of their survivors.
_THRESHOLDS: Final = (10_000, 10, 10)
#: Requests between two collections of new values.
_EVERY: Final = 16

_requests: Final = count(1)


def shorten_collections() -> None:
    """From now on collect new values only, in this process and those forked from it."""
    gc.collect()
    gc.freeze()
    gc.set_threshold(*_THRESHOLDS)
    if _freeze_survivors not in gc.callbacks:
        gc.callbacks.append(_freeze_survivors)


def collect_after_request() -> None:
    """Call after each request: collect now and then what is new.

    Python would wait until ten thousand more values have been made than freed. Where caches free as
    many as they take in that is a long time, and the collection then takes 90 ms.
    """
    if next(_requests) % _EVERY == 0:
        gc.collect(1)


def _freeze_survivors(phase: str, about: Mapping[str, Any]) -> None:
    if phase == "stop" and about["generation"] > 0:
        gc.freeze()
