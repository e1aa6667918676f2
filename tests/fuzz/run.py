"""Fuzzing of every reader, guided by coverage: ``python tests/fuzz/run.py --minutes 60``.

The minutes are shared among the laws of `laws.py` and spent by `--processes` at once, each law in
a process of its own, forked from this one, which has loaded all of them. An input that breaks a law
is written to `found/`, once for each place in the code, and the search goes on; one that takes more
than 20 seconds of processor time, or a gigabyte, ends its process, which begins again.
`test_laws.py` tries everything in `found/` at every run.
"""

from __future__ import annotations

import argparse
import faulthandler
import hashlib
import io
import mmap
import multiprocessing
import os
import re
import signal
import subprocess
import sys
import tempfile
import time
import traceback
from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from contextlib import redirect_stderr
from dataclasses import dataclass, field
from importlib.util import find_spec
from pathlib import Path
from typing import Final

HERE: Final = Path(__file__).parent
FOUND: Final = HERE / "found"
sys.path.insert(0, str(HERE.parent))

NAMES: Final = (
    "symbol", "chart_text", "chart_json", "chordpro", "lab", "abc", "romantext", "musicxml", "mxl",
    "midi", "json_lines", "body",
)  # fmt: skip
#: Seconds of processor time for one input, beside a load or not.
MOST_SECONDS: Final = 20
#: Megabytes that a process may hold while it fuzzes.
MOST_MEMORY: Final = 1024
#: Times that a law's process may end by itself before the law is given up.
MOST_ENDS: Final = 5
#: What libFuzzer says at the end of a process, and libFuzzer's own code for too much memory.
_COVER: Final = re.compile(rb"cov: (\d+) ft: (\d+)")
_STATISTIC: Final = re.compile(rb"stat::(\w+):\s+(\d+)")
_NO_MEMORY: Final = 71
_FORK: Final = multiprocessing.get_context("fork")


@dataclass
class Tally:
    """What the fuzzing of one law came to."""

    law: str
    seconds: float = 0.0
    executions: int = 0
    coverage: int = 0
    memory: int = 0
    findings: list[str] = field(default_factory=list)


def main() -> int:
    """Fuzz, print the table; 1 if anything was found."""
    options = _options()
    if find_spec("atheris") is None:
        print("Fuzzing wants atheris, which has wheels for Linux on x86-64 alone.")
        return 2
    _load()
    with tempfile.TemporaryDirectory(prefix="shortway-fuzz-") as place:
        corpus = options.corpus or Path(place) / "corpus"
        each = options.minutes * 60 / len(options.laws)

        def fuzz(law: str) -> Tally:
            return _fuzzed(law, each, corpus / law, Path(place) / law)

        with ThreadPoolExecutor(options.processes) as pool:
            tallies = list(pool.map(fuzz, options.laws))
    _print(tallies)
    return 1 if any(tally.findings for tally in tallies) else 0


def _options() -> argparse.Namespace:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else None)
    parser.add_argument("--minutes", type=float, default=5, help="of all the processes together")
    parser.add_argument("--processes", type=int, default=1, help="at once")
    parser.add_argument("--corpus", type=Path, help="a folder to begin with and to add to")
    parser.add_argument("--laws", nargs="+", choices=NAMES, default=NAMES)
    return parser.parse_args()


def _print(tallies: Sequence[Tally]) -> None:
    print(f"{'law':<12}{'executions':>12}{'a second':>10}{'edges':>8}{'MB':>6}  findings")
    for tally in tallies:
        pace = tally.executions / max(tally.seconds, 1)
        figures = f"{tally.executions:>12,}{pace:>10,.0f}{tally.coverage:>8,}{tally.memory:>6}"
        print(f"{tally.law:<12}{figures}  {len(tally.findings)}")
    total = sum(tally.executions for tally in tallies)
    minutes = sum(tally.seconds for tally in tallies) / 60
    count = sum(len(tally.findings) for tally in tallies)
    print(f"{total:,} executions in {minutes:.1f} minutes of fuzzing; findings: {count}")
    for tally in tallies:
        for finding in tally.findings:
            print(f"\n{finding}")


# --- one law, from outside ---------------------------------------------------------------------


def _fuzzed(law: str, seconds: float, corpus: Path, place: Path) -> Tally:
    """Let processes fuzz a law until the time is over."""
    corpus.mkdir(parents=True, exist_ok=True)
    place.mkdir(parents=True)
    tally = Tally(law)
    ends = 0
    while (rest := int(seconds - tally.seconds)) > 0 and ends < MOST_ENDS:
        begun = time.monotonic()
        process = _run(law, rest, corpus, place)
        tally.seconds += time.monotonic() - begun
        _count(tally, process.stderr)
        if process.returncode == 0:
            break
        ends += 1
        tally.findings.append(ended(law, process, place))
    notes = place / "findings"
    tally.findings += notes.read_text().split("\f")[:-1] if notes.exists() else []
    return tally


def _run(law: str, seconds: int, corpus: Path, place: Path) -> subprocess.CompletedProcess[bytes]:
    said = place / "said"
    said.write_bytes(b"")  # a process may end before it writes
    child = _FORK.Process(target=_child, args=(law, seconds, corpus, place, said))
    child.start()
    child.join(seconds + 600)
    if child.exitcode is None:
        child.kill()
        raise TimeoutError(f"{law} does not end")
    return subprocess.CompletedProcess(law, child.exitcode, stderr=said.read_bytes())


def _count(tally: Tally, said: bytes) -> None:
    found = {name.decode(): int(number) for name, number in _STATISTIC.findall(said)}
    tally.executions += found.get("number_of_executed_units", 0)
    tally.memory = max(tally.memory, found.get("peak_rss_mb", 0))
    tally.coverage = max([tally.coverage, *(int(edges) for edges, _ in _COVER.findall(said))])


def ended(law: str, process: subprocess.CompletedProcess[bytes], place: Path) -> str:
    """What a process ended on: the input is kept, the last words are told."""
    why = {
        -signal.SIGPROF: f"more than {MOST_SECONDS} seconds of processor time",
        _NO_MEMORY: f"more than {MOST_MEMORY} MB",
    }.get(process.returncode, f"the process ended with {process.returncode}")
    last = place / "last"
    name = _kept(law, _last_input(last)) if last.exists() else "no input"
    return f"{law}: {why} on {name}\n{process.stderr[-2000:].decode(errors='replace')}"


def _last_input(path: Path) -> bytes:
    held = path.read_bytes()
    return held[8 : 8 + int.from_bytes(held[:8], "little")]


def _kept(law: str, data: bytes) -> str:
    """The name under which an input is kept as a regression test."""
    path = FOUND / law / hashlib.sha256(data).hexdigest()[:12]
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_bytes(data)
    return str(path)


# --- one law, from inside ----------------------------------------------------------------------


def _load() -> None:
    """Import what is fuzzed, instrumented, which takes seconds."""
    import atheris

    with (
        redirect_stderr(io.StringIO()),
        atheris.instrument_imports(include=["shortway", "mido"]),
    ):
        from fuzz import laws, seeds  # noqa: F401


def _child(name: str, seconds: int, corpus: Path, place: Path, said: Path) -> None:
    import atheris

    from fuzz import laws, seeds

    with said.open("wb") as file:
        os.dup2(file.fileno(), 2)
    law, longest = laws.LAWS[name]
    for k, seed in enumerate(seeds.seeds(name)):
        (corpus / f"seed{k:03}").write_bytes(seed)
    words = place / "words"
    words.write_bytes(b"".join(map(_quoted, seeds.words(name))))
    arguments = [
        f"-max_total_time={seconds}", f"-max_len={longest}", f"-dict={words}",
        f"-rss_limit_mb={MOST_MEMORY}", "-timeout=3600", "-print_final_stats=1", "-verbosity=1",
        f"-artifact_prefix={place}/", str(corpus),
    ]  # fmt: skip
    atheris.Setup([sys.argv[0], *arguments], Watched(name, law, place))
    atheris.Fuzz()


def _quoted(word: bytes) -> bytes:
    """A line of a dictionary as libFuzzer reads it."""
    return b'"' + b"".join(b"\\x%02x" % byte for byte in word) + b'"\n'


class Watched:
    """A law under a watch: its last input is known if the process dies, and breaches are noted."""

    def __init__(self, name: str, law: Callable[[bytes], None], place: Path) -> None:
        self._name, self._law = name, law
        self._notes, self._known = place / "findings", place / "known"
        size = 8 + (1 << 20)
        with (place / "last").open("wb+") as file:
            file.truncate(size)
            self._last = mmap.mmap(file.fileno(), size)
        faulthandler.register(signal.SIGPROF, chain=True)  # the stack, and then the end

    def __call__(self, data: bytes) -> None:
        self._last[: 8 + len(data)] = len(data).to_bytes(8, "little") + data
        signal.setitimer(signal.ITIMER_PROF, MOST_SECONDS)
        try:
            self._law(data)
        except Exception as error:
            self._note(data, error)

    def _note(self, data: bytes, error: Exception) -> None:
        """Keep an input, unless another one failed at the same place."""
        where = f"{type(error).__name__} {_place(error)}"
        known = self._known.read_text().splitlines() if self._known.exists() else []
        if where in known:
            return
        self._known.write_text("\n".join([*known, where]))
        told = "".join(traceback.format_exception(error))[-3000:]
        with self._notes.open("a") as notes:
            notes.write(f"{self._name}: {_kept(self._name, data)}\n{told}\f")


def _place(error: BaseException) -> str:
    """Where in the code an error came from; of a broken law, which."""
    last = traceback.extract_tb(error.__traceback__)[-2:]
    return " ".join(f"{Path(frame.filename).name}:{frame.lineno}" for frame in last)


if __name__ == "__main__":
    sys.exit(main())
