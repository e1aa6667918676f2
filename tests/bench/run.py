"""Every benchmark, and one table of what they found: ``python tests/bench/run.py``.

``--short`` for CI; ``--readme`` writes the table into README.md, without the rows of scores. Each
benchmark is a process of its own, so that none warms another's tables; what it prints as a table's
row is gathered.
"""

from __future__ import annotations

import argparse
import os
import platform
import re
import subprocess
import sys
from datetime import date
from itertools import chain
from pathlib import Path

import numpy as np

NAMES = ("phases.py", "service.py", "scores.py", "search.py", "symbols.py", "batch.py")
README = Path(__file__).parents[2] / "README.md"
_BLOCK = re.compile(r"(<!-- measured -->\n).*?(<!-- measured: end -->)", re.DOTALL)


def output(name: str, *options: str) -> list[str]:
    """What a benchmark prints, shown as it comes."""
    print(f"\n== {name.removesuffix('.py')}", flush=True)
    command = [sys.executable, str(Path(__file__).parent / name), *options]
    lines = []
    with subprocess.Popen(command, stdout=subprocess.PIPE, text=True) as process:
        assert process.stdout is not None
        for line in process.stdout:
            print(line, end="", flush=True)
            lines.append(line.rstrip("\n"))
    if process.returncode:
        raise SystemExit(f"{name} failed")
    return lines


def machine() -> str:
    """Processor, versions, and what else the machine did."""
    info = Path("/proc/cpuinfo")
    lines = info.read_text("utf-8").splitlines() if info.exists() else []
    models = [line.partition(":")[2].strip() for line in lines if line.startswith("model name")]
    model = " ".join(models[0].split()[:2]) if models else platform.processor()
    versions = f"Python {platform.python_version()}, numpy {np.__version__}"
    return f"{os.cpu_count()} cores of an {model}, {versions}"


def main() -> None:
    """Run them one after another; the first that fails ends it."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--short", action="store_true")
    parser.add_argument("--readme", action="store_true")
    options = parser.parse_args()
    short, load = ["--short"] if options.short else [], os.getloadavg()[0]
    rows = {name: [line for line in output(name, *short) if line[:2] == "| "] for name in NAMES}
    command = f"`python tests/bench/run.py{' --short' if options.short else ''}`"
    loads = f"load average {load:.1f} before, {os.getloadavg()[0]:.1f} after"
    about = f"Measured on {date.today()} with {command} on {machine()}; {loads}."
    about += " Both figures of a row come from one run."
    head = ["| what | figure | compared with |", "| --- | --- | --- |"]
    print("\n" + "\n".join([about, "", *head, *chain(*rows.values())]))
    if options.readme:
        text = README.read_text("utf-8")
        kept = chain(*(found for name, found in rows.items() if name != "scores.py"))
        block = "\n".join([about, "", *head, *kept]) + "\n"
        README.write_text(_BLOCK.sub(lambda found: found[1] + block + found[2], text), "utf-8")


if __name__ == "__main__":
    main()
