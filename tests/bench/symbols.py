"""How fast symbols are read, as ratios to two peers in one run: ``python tests/bench/symbols.py``.

Distinct symbols only: suffixes of tests/data/suffixes.tsv in twelve keys, and nothing cached: our
memory of suffixes is by-passed, and every chord's attributes are worked out anew for each symbol.
music21 and pychord are peers from outside the project; each is timed on the symbols that it reads.
"""

from __future__ import annotations

import gc
import random
import sys
import time
import warnings
from collections.abc import Callable, Sequence
from pathlib import Path

from music21.harmony import ChordSymbol
from pychord import Chord as PyChord

sys.path.insert(0, str(Path(__file__).parents[1]))

from bench.rows import row
from shortway.core.symbols import grammar as suffix
from shortway.core.symbols import parser as symbols
from shortway.core.theory import pitch

ROOTS = ["C", "Db", "D", "Eb", "E", "F", "F#", "G", "Ab", "A", "Bb", "B"]
SUFFIXES = 170
ROUNDS = 7


def suffixes() -> list[str]:
    """170 suffixes drawn from the table, always the same."""
    table = Path(__file__).parents[1] / "data" / "suffixes.tsv"
    lines = [line for line in table.read_text("utf-8").splitlines() if not line.startswith("# ")]
    found = ["" if line[0] == "." else line.split("\t")[0] for line in lines]
    return random.Random(170).sample(found, SUFFIXES)


def readable(read: Callable[[str], object], texts: Sequence[str]) -> list[str]:
    """Those of `texts` that a peer reads at all."""
    found = []
    for text in texts:
        try:
            read(text)
        except Exception:  # a peer may raise what it likes
            continue
        found.append(text)
    return found


def seconds(read: Callable[[str], object], texts: Sequence[str]) -> float:
    """The best of `ROUNDS` times for one pass over `texts`, in seconds a symbol."""
    best = float("inf")
    for _ in range(ROUNDS):
        pitch.spell.cache_clear()
        gc.collect()
        begin = time.perf_counter()
        for text in texts:
            read(text)
        best = min(best, time.perf_counter() - begin)
    return best / len(texts)


def for_music21(text: str) -> str:
    """music21 writes a flat root with a minus sign."""
    return text.replace("b", "-", 1) if text[1:2] == "b" else text


def with_tones(text: str) -> object:
    """Our chord with its spelled tones."""
    return symbols.parse(text).tones


def with_everything(text: str) -> object:
    """Our chord with every attribute that the wire shows."""
    chord = symbols.parse(text)
    return (chord.name, chord.kind, chord.harte, chord.tones, chord.guide_tones, chord.tensions,
            chord.colours, chord.avoid, chord.chord_type)  # fmt: skip


def main() -> None:
    """Print the ratios."""
    warnings.simplefilter("ignore")
    symbols.read_suffix = suffix.read_suffix.__wrapped__  # type: ignore[attr-defined]
    symbols._remembered = symbols._remembered.__wrapped__  # type: ignore[attr-defined]
    texts = [root + tail for tail in suffixes() for root in ROOTS]
    ours = seconds(symbols.parse, texts)
    print(f"{len(texts)} distinct symbols, nothing cached")
    print(f"ours: {ours * 1e6:.2f} us read, {seconds(with_tones, texts) * 1e6:.2f} us with tones,"
          f" {seconds(with_everything, texts) * 1e6:.2f} us with everything")  # fmt: skip
    report("pychord.Chord", PyChord, texts, symbols.parse)
    report(
        "pychord.Chord and its components",
        lambda text: PyChord(text).components(),
        texts,
        with_tones,
    )
    sample = texts[::7]
    ours, theirs = report(
        "music21.harmony.ChordSymbol", lambda t: ChordSymbol(for_music21(t)), sample, symbols.parse
    )
    row("reading distinct symbols, nothing cached", f"{ours * 1e6:.1f} µs",
        f"music21's `ChordSymbol`: {theirs * 1e6:,.0f} µs")  # fmt: skip
    report(
        "music21.harmony.ChordSymbol, ours with everything",
        lambda t: ChordSymbol(for_music21(t)),
        sample,
        with_everything,
    )


def report(
    name: str,
    theirs: Callable[[str], object],
    texts: Sequence[str],
    ours: Callable[[str], object],
) -> tuple[float, float]:
    """Print how many times faster we are than a peer on what both can read; seconds of each."""
    both = readable(theirs, texts)
    peer, own = seconds(theirs, both), seconds(ours, both)
    print(f"{name}: {peer * 1e6:.2f} us, ours {own * 1e6:.2f} us, "
          f"{peer / own:.2f} times faster on {len(both)} symbols that both read")  # fmt: skip
    return own, peer


if __name__ == "__main__":
    main()
