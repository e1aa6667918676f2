"""Freed memory goes back to the system: the kernel counts what a process holds."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

#: Frees all but every hundredth of many blocks that are too small to be mapped each by itself, on
#: threads with arenas of their own; prints the resident megabytes before and after some seconds.
CODE = """
import sys, threading, time
from shortway.serving.freed_memory import start_trimming
def resident():
    return int(open("/proc/self/statm").read().split()[1]) * 4096 // 10**6
def fill():
    blocks = [bytearray(50_000) for _ in range(1_000)]
    kept.append(blocks[::100])
kept = []
threads = [threading.Thread(target=fill) for _ in range(4)]
for thread in threads: thread.start()
for thread in threads: thread.join()
held = resident()
if sys.argv[1:] == ["trim"]: start_trimming()
time.sleep(2.5)
print(held, resident())
"""


def measured(*arguments: str) -> tuple[int, int]:
    found = subprocess.check_output([sys.executable, "-c", CODE, *arguments], text=True)
    before, after = map(int, found.split())
    return before, after


def test_memory_that_threads_have_freed_goes_back() -> None:
    assert Path("/proc/self/statm").exists()
    before, after = measured("trim")
    assert after < before / 2
    before, after = measured()
    assert after > 0.9 * before  # it is the trimming that gives it back
