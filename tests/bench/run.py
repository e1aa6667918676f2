"""Every benchmark, one table after another: `python tests/bench/run.py`, with `--short` for CI.

Each is a process of its own, so that none warms another's tables.
"""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

NAMES = ("symbols.py", "search.py", "phases.py", "service.py", "batch.py", "load")


def main() -> None:
    """Run them one after another; the first that fails ends it."""
    here = Path(__file__).parent
    for name in NAMES:
        print(f"\n== {name.removesuffix('.py')}", flush=True)
        subprocess.run([sys.executable, str(here / name), *sys.argv[1:]], check=True)


if __name__ == "__main__":
    main()
