"""What takes longer than CI may: ``python tests/release/long.py``, before a release (hours).

Each part is a process of its own and all run, whatever the others find; the exit code is 1 if one
found something. Name parts to run those alone. `--list` shows the commands.
"""

from __future__ import annotations

import argparse
import shlex
import subprocess
import sys
import time
from pathlib import Path

TESTS = Path(__file__).parents[1]

#: Part, and what Python runs for it, from the root of the repository.
PARTS: dict[str, tuple[str, ...]] = {
    # Every law on a thousand inputs that are drawn anew, and every test in Python's development
    # mode, which tells of files left open and memory freed wrongly.
    "tests": ("-X", "dev", "-m", "pytest", "-m", "", "--hypothesis-profile=new"),
    "sanitizers": ("tests/release/sanitizers.py",),
    "conformance": ("tests/conformance/run.py", "--long"),
    "fuzz": ("tests/fuzz/run.py", "--minutes", "60"),
    "load": ("tests/bench/load",),
    "soak": ("tests/release/soak.py",),
    "benchmarks": ("tests/bench/run.py",),
    "capacity": ("tests/bench/capacity.py",),
    "image": ("tests/containers/check_image.py",),
}


def run(name: str) -> bool:
    """Run one part and tell how it ended."""
    print(f"\n== {name}: python {shlex.join(PARTS[name])}", flush=True)
    begun = time.monotonic()
    done = subprocess.run([sys.executable, *PARTS[name]], cwd=TESTS.parent, check=False)
    passed = "passed" if done.returncode == 0 else f"FAILED ({done.returncode})"
    print(f"== {name}: {passed} after {time.monotonic() - begun:.0f} s", flush=True)
    return done.returncode == 0


def main() -> None:
    """Run the parts that are named, or all."""
    options = argparse.ArgumentParser(description=__doc__)
    options.add_argument("parts", nargs="*", default=list(PARTS), help=", ".join(PARTS))
    options.add_argument("--list", action="store_true", help="show the commands and end")
    given = options.parse_args()
    if unknown := set(given.parts) - set(PARTS):
        options.error(f"no such part: {', '.join(sorted(unknown))}")
    if given.list:
        for name, command in PARTS.items():
            print(f"{name:<12} python {shlex.join(command)}")
    elif [name for name in given.parts if not run(name)]:
        sys.exit(1)


if __name__ == "__main__":
    main()
