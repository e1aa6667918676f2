"""JSON as it is read: what RFC 8259 defines and no more, and every value back unchanged."""

from __future__ import annotations

import json
import time

import pytest
from hypothesis import given
from hypothesis import strategies as st

from shortway.wire.strict_json import NotJson, read_json
from support.tables import each_row

VALUES = st.recursive(
    st.none() | st.booleans() | st.integers(-(2**80), 2**80) | st.floats(-1e300, 1e300) | st.text(),
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(st.text(), inner, max_size=4),
    max_leaves=12,
)


@given(VALUES, st.booleans())
def test_every_value_reads_back(value: object, ascii_only: bool) -> None:
    assert read_json(json.dumps(value, ensure_ascii=ascii_only).encode()) == value


@each_row(
    "raw, position, said",
    [
        (b"", 0, "empty"),
        (b"{", None, "the body is not JSON"),
        (b"[1,]", None, "the body is not JSON"),
        (b"01", None, "the body is not JSON"),
        (b"'a'", 0, "the body is not JSON"),
        (b"1 2", None, "the body is not JSON"),
        # RFC 8259, section 6: NaN and infinities are no numbers; 8.1: UTF-8, no byte order mark;
        # 8.2: a lone surrogate is no character; 4: names within an object should be unique.
        (b"NaN", None, "JSON"),
        (b"-Infinity", None, "JSON"),
        ('"é"'.encode("latin-1"), None, "UTF-8"),
        ("1".encode("utf-16"), None, "JSON"),
        (b"\xef\xbb\xbf1", None, "JSON"),
        (b'"\\ud800"', None, "JSON"),
        (b'{"a": 1, "b": 2, "a": 3}', None, "'a'"),
        (b'{"a b": [], "a b": []}', None, "'a b'"),
        (rb'[{"a": "", "\u0061": ":"}]', None, "'a'"),
        (b"[" * 100_000, None, "JSON"),
    ],
)
def test_what_is_no_json_is_rejected(raw: bytes, position: int | None, said: str) -> None:
    """With its position where that is a character's."""
    with pytest.raises(NotJson, match=said) as caught:
        read_json(raw)
    assert position is None or caught.value.fault.position == position
    assert caught.value.fault.expected


def test_a_key_that_stands_twice_among_many_is_found_in_linear_time() -> None:
    """A line of a batch may hold as many; a search by list took 35 s."""
    raw = "{" + "".join(f'"k{i}":0,' for i in range(60_000)) + '"k59999":0}'
    begun = time.thread_time()
    with pytest.raises(NotJson, match="'k59999'"):
        read_json(raw.encode())
    assert time.thread_time() - begun < 2
