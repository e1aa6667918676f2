"""The laws of the readers over all that was ever found, over damaged inputs and over large ones.

`run.py` searches for hours what is tried here in seconds; what it finds lies in `found/` and is
tried here for ever. Inputs of our own; common practice, no source.
"""

from __future__ import annotations

import signal
import tracemalloc
from collections.abc import Iterator
from contextlib import contextmanager

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from fuzz import laws, seeds
from fuzz import run as fuzz
from support.tables import each_row

MIB = 1 << 20
#: Bytes that reading a body of 1 MiB may take at its worst, objects of Python's included.
MOST_MEMORY = 200 * MIB


@contextmanager
def watched() -> Iterator[None]:
    """An error after as much processor time as fuzzing allows; beside a load nothing changes."""

    def over(*_: object) -> None:
        raise TimeoutError(f"more than {fuzz.MOST_SECONDS} seconds of processor time")

    before = signal.signal(signal.SIGPROF, over)
    signal.setitimer(signal.ITIMER_PROF, fuzz.MOST_SECONDS)
    try:
        yield
    finally:
        signal.setitimer(signal.ITIMER_PROF, 0)
        signal.signal(signal.SIGPROF, before)


def test_every_law_is_fuzzed() -> None:
    assert tuple(laws.LAWS) == fuzz.NAMES


@pytest.mark.parametrize("name", laws.LAWS)
def test_a_law_holds_of_its_seeds_and_of_all_that_was_found(name: str) -> None:
    law, _ = laws.LAWS[name]
    tried = seeds.seeds(name)
    for data in tried:
        with watched():
            law(data)
    assert len(tried) >= 3


@st.composite
def damaged(draw: st.DrawFn, name: str) -> bytes:
    """A seed with a few of its places cut, doubled or written over."""
    data = bytearray(draw(st.sampled_from(seeds.seeds(name))))
    words = st.sampled_from(seeds.words(name)) | st.binary(max_size=4)
    for _ in range(draw(st.integers(1, 5))):
        start = draw(st.integers(0, len(data)))
        end = min(start + draw(st.integers(0, 30)), len(data))
        data[start:end] = draw(words | st.just(bytes(data[start:end]) * 2))
    return bytes(data[: laws.LAWS[name][1]])


@pytest.mark.parametrize("name", laws.LAWS)
@given(data=st.data())
@settings(
    max_examples=60, deadline=None, database=None, derandomize=True,
    suppress_health_check=list(HealthCheck),
)  # fmt: skip
def test_a_law_holds_of_damaged_inputs(name: str, data: st.DataObject) -> None:
    spoilt = data.draw(damaged(name))
    with watched():
        laws.LAWS[name][0](spoilt)


MEASURE = b'[{"symbol":"C"}],'
ONE_MEASURE = b'{"measures":[[{"symbol":"C"}]]'
HEAD = b"MThd\0\0\0\6\0\0\0\1\0\x60MTrk\0\1\xff\xe4"
EVENT = b"\x01\x90\x3c\x40\x01\x80\x3c\x00"
LARGE = {
    "words": ("chart_text", b"C " * (MIB // 2)),
    "one long word": ("chart_text", b"C" * MIB),
    "bars": ("chart_text", b"|C" * (MIB // 2)),
    "signs": ("chart_text", b"|:" * (MIB // 2)),
    "open brackets": ("chart_text", b"(" * MIB),
    "lines": ("chart_text", b"\n" * MIB),
    "endings": ("chart_text", b"|: C " + b"|1-99. C :" * (MIB // 10)),
    "headings": ("chart_text", b"key: C\n" * (MIB // 7)),
    "chords over lyrics": ("chordpro", b"[A]" * (MIB // 3)),
    "brackets": ("chordpro", b"[" * MIB),
    "cells": ("chordpro", b"{sog}\n" + b"| . " * (MIB // 4) + b"\n{eog}"),
    "a directive": ("chordpro", b"{t: " + b" " * MIB),
    "choruses": ("chordpro", b"{soc}\n[A]|\n{eoc}\n" + b"{chorus}\n" * (MIB // 9)),
    "times": ("lab", b"".join(b"%d %d C\n" % (k, k + 1) for k in range(MIB // 12))),
    "a time": ("lab", b"1" * MIB),
    "a tune": ("abc", b'X:1\nK:C\n' + b'"C"C' * (MIB // 4)),
    "numerals": ("romantext", b"m1 C: " + b"I " * (MIB // 2)),
    "measures": ("chart_json", b'{"measures":[' + MEASURE * (MIB // 18) + b"[]]}"),
    "an order": ("chart_json", ONE_MEASURE + b',"order":[1' + b",1" * (MIB // 2) + b"]}"),
    "fields": ("chart_json", b"{" + b",".join(b'"%d":0' % k for k in range(MIB // 10)) + b"}"),
    "digits": ("chart_json", b'{"measures":[[{"symbol":"C","beats":' + b"9" * MIB + b"}]]}"),
    "nesting": ("chart_json", b"[" * MIB),
    "nested fields": ("body", b"\x03" + b'{"chart":' * (MIB // 9)),
    "symbols": ("body", b'\x00{"symbols":[' + b'"Xq",' * (MIB // 5) + b'"C"]}'),
    "pins": ("body", b'\x03{"chart":{"text":"| C |"},"pins":[' + b"{}," * (MIB // 3) + b"{}]}"),
    "played": ("body", b'\x04{"chart":{"text":"| C |"},"played":[' + b"[]," * (MIB // 3) + b"[]]}"),
    "short lines": ("json_lines", b"[]\n" * 2000),
    "blank lines": ("json_lines", b"\n" * MIB),
    "notes": ("midi", HEAD + EVENT * 16_380 + b"\0\xff\x2f\0"),
    "elements": ("musicxml", b"<a>" + b"<b/>" * (MIB // 4) + b"</a>"),
    "attributes": ("musicxml", b"<a " + b" ".join(b'b%d=""' % k for k in range(MIB // 10)) + b"/>"),
    "a long text": ("musicxml", b"<a>" + b"&lt;" * (MIB // 4) + b"</a>"),
}  # fmt: skip


@each_row("what", LARGE)
def test_a_law_holds_of_a_body_as_large_as_is_read(what: str) -> None:
    """In bounded memory, too: measured as what Python holds at the most."""
    name, data = LARGE[what]
    law, _ = laws.LAWS[name]
    law(b"")  # what is loaded once is no part of it
    tracemalloc.start()
    try:
        with watched():
            law(data)
        peak = tracemalloc.get_traced_memory()[1]
    finally:
        tracemalloc.stop()
    assert peak < MOST_MEMORY
