"""Garbage collection: what survives is not looked at again, and caches need no collector."""

from __future__ import annotations

import subprocess
import sys

#: Paths fill the caches; then each cache is emptied, and what only a collector frees is counted.
PROGRAM = """
import gc
from shortway.core import cache
from shortway.core.solver.solve import solve
from shortway.garbage_collection import shorten_collections
shorten_collections()
chart = " | ".join(root + kind for kind in ("m7", "13", "maj7") for root in ("C", "F", "Bb", "E"))
for setting in ({}, {"hands": "left"}, {"bass_player": False}):
    solve(chart, setting, loop=True)
gc.collect(1)
old = len(gc.get_objects(generation=1)) + len(gc.get_objects(generation=2))
gc.disable()
gc.unfreeze()
gc.collect()
for each in cache._CACHES:
    each.clear()
print(old, gc.collect())
"""


def test_survivors_are_not_looked_at_again_and_cached_values_need_no_collector() -> None:
    found = subprocess.run(
        [sys.executable, "-c", PROGRAM], capture_output=True, text=True, check=True
    ).stdout
    assert found.split() == ["0", "0"]
