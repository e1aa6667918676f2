"""Batches: lines in, lines out; each line's own faults, the body's faults, and their bounds."""

from __future__ import annotations

import gzip
import json
import tracemalloc
from collections.abc import Iterator
from itertools import count
from typing import Any
from unittest import mock

import pytest
from flask.testing import FlaskClient

from shortway.api import create_app
from shortway.batch import lines as batch_lines
from shortway.batch.lines import MAX_LINE, answer_line
from shortway.batch.stream import (
    IncompleteInput,
    Limits,
    LineSplitter,
    answer_stream,
    compress,
    decompress,
)
from shortway.services.solve_path import solve_path
from support.tables import each_row

JSONL = "application/jsonl"
NDJSON = "application/x-ndjson"
ONE = b'{"id": "a", "chart": {"text": "| Fm7 | Bb7 |"}}\n'
Json = dict[str, Any]


def post(client: FlaskClient, data: bytes, kind: str = JSONL, **headers: str) -> Any:
    named = {name.replace("_", "-"): value for name, value in headers.items()}
    response = client.post("/v1/batches", data=data, content_type=kind, headers=named)
    response.get_data()  # to the end, which gives its place back
    return response


def told(client: FlaskClient, data: bytes, **headers: str) -> list[Json]:
    response = post(client, data, **headers)
    assert response.status_code == 200
    return [json.loads(line) for line in response.data.splitlines()]


def codes(client: FlaskClient, data: bytes, **headers: str) -> list[tuple[Any, ...]]:
    """For each answer its id, and line and code of its problem or the path's total."""
    return [
        (a["id"], a["line"], a["problem"]["code"]) if a["problem"] else (a["id"], "path")
        for a in told(client, data, **headers)
    ]


# --- lines --------------------------------------------------------------------------------------


def test_answers_are_those_of_single_calls_in_order(client: FlaskClient) -> None:
    asked: list[Json] = [
        {"chart": {"text": "| Fm7 | Bb7 |"}, "loop": True},
        {"chart": {"measures": [[{"symbol": "C7"}], [{"symbol": "F7"}]]}},
        {
            "chart": {"text": "| Fm7 |"},
            "setting": {"hands": "left"},
            "pins": [{"step": 0, "form": "B"}],
        },
        {"chart": {"text": "| Fm7 |"}, "start_from": [56, 60, 63, 67, 70]},
    ]
    body = b"".join(json.dumps({"id": str(k), **a}).encode() + b"\n" for k, a in enumerate(asked))
    for k, (got, request) in enumerate(zip(told(client, body), asked, strict=True)):
        single = client.post("/v1/paths", json=request)
        assert got == {
            "id": str(k), "line": k + 1, "path": single.get_json(), "problem": None,
        }  # fmt: skip


# what the line is, and the code of its problem
BAD: list[tuple[bytes, str]] = [
    (b"{", "not-json"),
    (b"\xff\xfe", "not-json"),
    (b'{"id": "x", "chart": {"text": "Caf\xe9"}}', "not-json"),
    (b'{"id": "x", "chart": NaN}', "not-json"),
    (b'{"id": "x", "id": "y", "chart": {"text": "| C |"}}', "not-json"),
    (b"[" * 5000, "not-json"),
    (b"[]", "wrong-type"),
    (b"null", "wrong-type"),
    (b'{"chart": {"text": "| C |"}}', "missing-field"),
    (b'{"id": null, "chart": {"text": "| C |"}}', "missing-field"),
    (b'{"id": 7, "chart": {"text": "| C |"}}', "wrong-type"),
]
NAMED: list[tuple[Json, str]] = [
    ({}, "missing-field"),
    ({"chart": {"text": "| C |"}, "swing": 1}, "unknown-field"),
    ({"chart": {"text": "| Xm7 |"}}, "symbol-unreadable"),
    ({"chart": {"measures": [[{"symbol": "C", "beats": 3}], [{"symbol": "C", "beats": 9}]]}},
     "beats-do-not-fit"),
    ({"chart": {"text": "| C |"}, "setting": {"hands": "feet"}}, "out-of-range"),
    ({"chart": {"text": "| C |"}, "setting": [None]}, "wrong-type"),
    ({"chart": {"text": "| C |"}, "pins": [{"step": 9, "form": "A"}]}, "pin-unplayable"),
    ({"chart": {"text": "| C |"}, "start_from": [10**30]}, "out-of-range"),
]  # fmt: skip


@pytest.mark.parametrize(("line", "code"), BAD)
def test_a_line_without_a_readable_id(client: FlaskClient, line: bytes, code: str) -> None:
    found = codes(client, ONE + b"\n \t\r\n" + line + b"\n" + ONE)
    assert found == [("a", "path"), (None, 4, code), ("a", "path")]


@pytest.mark.parametrize(("request_", "code"), NAMED)
def test_a_line_with_an_id(client: FlaskClient, request_: Json, code: str) -> None:
    line = json.dumps({"id": "é\n", **request_}).encode()
    assert codes(client, line + b"\r\n" + ONE) == [("é\n", 1, code), ("a", "path")]


def test_a_problem_is_the_one_of_the_single_call(client: FlaskClient) -> None:
    """But that of the fields it might have had a line has an id as well."""
    for request, _ in NAMED:
        (got,) = told(client, json.dumps({"id": "a", **request}).encode())
        assert (
            json.loads(json.dumps(got["problem"]).replace(" id,", ""))
            == client.post("/v1/paths", json=request).get_json()
        )


def test_lines_may_be_cut_anywhere_and_lack_their_end() -> None:
    body = ONE + b"\r\n\n{\n" + ONE.strip()
    whole = b"".join(answer_stream([body]))
    assert whole.count(b"\n") == 3
    for size in (1, 2, 7, 100):
        assert (
            b"".join(answer_stream(body[k : k + size] for k in range(0, len(body), size))) == whole
        )


def test_no_lines_no_answers(client: FlaskClient) -> None:
    for body in (b"", b"\n", b" \r\n\n"):
        assert told(client, body) == []


@pytest.mark.parametrize("end", [b"\n", b"\r\n", b""])
def test_a_line_may_have_a_mebibyte(client: FlaskClient, end: bytes) -> None:
    line = ONE.strip()
    fits = line + b" " * (MAX_LINE - len(line))
    assert codes(client, fits + end) == [("a", "path")]
    assert codes(client, fits + b" " + end) == [(None, 1, "line-too-large")]


def test_a_line_of_ten_megabytes_is_read_past_without_being_held() -> None:
    def pieces() -> Iterator[bytes]:
        yield ONE + b'{"id": "b", "chart": "'
        for _ in range(160):
            yield b"x" * 65_536
        yield b'"}\n' + ONE

    list(answer_stream([ONE]))
    tracemalloc.start()
    said = [json.loads(line) for line in answer_stream(pieces())]
    _, peak = tracemalloc.get_traced_memory()
    tracemalloc.stop()
    assert [(a["path"] is not None, a["line"]) for a in said] == [(True, 1), (False, 2), (True, 3)]
    assert peak < 4 * MAX_LINE


def test_an_unforeseen_fault_shows_nothing_and_the_batch_goes_on(
    caplog: pytest.LogCaptureFixture, monkeypatch: pytest.MonkeyPatch
) -> None:
    def fail(_: object) -> None:
        raise RuntimeError("the secret of line 7")

    monkeypatch.setattr(batch_lines, "solve_path", fail)
    said = json.loads(answer_line(b'{"id": "q", "chart": {"text": "| Db13 | Ab13 |"}}', 7))
    assert (said["id"], said["line"], said["problem"]["code"]) == ("q", 7, "internal-error")
    assert "secret" not in json.dumps(said)
    assert "the secret of line 7" in caplog.text


def test_an_equal_request_is_solved_twice_at_most() -> None:
    """In whatever order its fields are: the second answer is cached."""
    body = {"chart": {"text": "| Gb7 | B7 | E7 | A7 |"}, "setting": {"hands": "left", "notes": 4}}
    turned = {"setting": {"notes": 4, "hands": "left"}, "chart": body["chart"]}
    batch_lines._answers.clear()
    batch_lines._requests.clear()
    with mock.patch.object(batch_lines, "solve_path", wraps=solve_path) as solved:
        said = list(answer_stream(
            json.dumps({"id": str(k), **(turned if k % 2 else body)}).encode() + b"\n"
            for k in range(50)
        ))  # fmt: skip
        assert solved.call_count == 2
        list(answer_stream([json.dumps({"id": "a", **body, "loop": True}).encode()]))
        assert solved.call_count == 3
    assert [json.loads(line)["id"] for line in said] == [str(k) for k in range(50)]
    assert len({line.partition(b',"path"')[2] for line in said}) == 1


def test_a_number_is_not_true() -> None:
    """Requests that Python calls equal are not the same."""
    for loop in (True, 1):
        said = json.loads(
            answer_line(json.dumps({"id": "a", "chart": {"text": "C"}, "loop": loop}).encode(), 1)
        )
        assert (said["path"] is not None) == (loop is True)


# --- media ----------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("kind", "accept", "status", "answered"),
    [
        (JSONL, "", 200, JSONL),
        (NDJSON, "", 200, NDJSON),
        (NDJSON, "*/*", 200, NDJSON),
        (JSONL, NDJSON, 200, NDJSON),
        (NDJSON, f"{JSONL};q=0.1", 200, JSONL),
        (NDJSON, f"application/*, {NDJSON};q=0", 200, JSONL),
        (JSONL + "; charset=utf-8", "", 200, JSONL),
        (JSONL, "application/json", 406, None),
        (JSONL + "; charset=latin-1", "", 415, None),
        ("application/json", "", 415, None),
        ("text/plain", "", 415, None),
    ],
)
def test_types(
    client: FlaskClient, kind: str, accept: str, status: int, answered: str | None
) -> None:
    response = post(client, ONE, kind, Accept=accept) if accept else post(client, ONE, kind)
    assert response.status_code == status
    assert response.mimetype == (answered or "application/problem+json")
    if status == 415:
        assert response.headers["Accept"] == f"{JSONL}, {NDJSON}"
        assert response.headers["Accept-Encoding"] == "gzip, identity"


def test_a_batch_takes_no_query(client: FlaskClient) -> None:
    response = client.post("/v1/batches?x=1", data=ONE, content_type=JSONL)
    assert response.get_json()["code"] == "unknown-field"


@pytest.mark.parametrize("name", ["gzip", "x-gzip", "GZIP"])
def test_gzip_in(client: FlaskClient, name: str) -> None:
    assert codes(client, gzip.compress(ONE * 2), Content_Encoding=name) == [("a", "path")] * 2
    members = gzip.compress(ONE[:9]) + gzip.compress(ONE[9:])
    assert codes(client, members, Content_Encoding=name) == [("a", "path")]


@pytest.mark.parametrize("name", ["deflate", "br", "gzip, gzip", "nonsense"])
def test_other_packings_are_refused(client: FlaskClient, name: str) -> None:
    assert post(client, ONE, Content_Encoding=name).status_code == 415


def test_gzip_out(client: FlaskClient) -> None:
    plain = post(client, ONE * 3)
    response = post(client, ONE * 3, Accept_Encoding="br, gzip;q=0.5")
    assert response.headers["Content-Encoding"] == "gzip"
    assert gzip.decompress(response.data) == plain.data
    assert len(response.data) < len(plain.data) / 3
    for refused in ("identity", "gzip;q=0", "br"):
        assert "Content-Encoding" not in post(client, ONE, Accept_Encoding=refused).headers
    assert plain.headers["Vary"] == "Accept, Accept-Encoding"


def test_gzip_that_breaks_ends_with_a_problem(client: FlaskClient) -> None:
    good = gzip.compress(ONE * 3 + b"\n", mtime=0)
    for body, want in (
        (good[:-9], [("a", "path")] * 3 + [(None, 5, "not-gzip")]),
        (b"", [(None, 1, "not-gzip")]),
        (ONE, [(None, 1, "not-gzip")]),
        (good + b"rest", [("a", "path")] * 3 + [(None, 5, "not-gzip")]),
        (good[:-8] + bytes(8), [(None, 1, "not-gzip")]),  # a wrong checksum spoils its block
    ):
        assert codes(client, body, Content_Encoding="gzip")[-len(want) :] == want


def bomb(size: int, unit: bytes) -> bytes:
    """A gzip of `unit` over and over, `size` bytes of it."""
    return gzip.compress(unit * (size // len(unit)), 9)


@pytest.mark.parametrize(
    ("unit", "lines"),
    [(b"x", [(None, 1, "line-too-large")]), (b" ", [(None, 1, "line-too-large")]), (b"\n", [])],
)
def test_a_gzip_bomb_is_unpacked_a_block_at_a_time(
    unit: bytes, lines: list[tuple[Any, ...]]
) -> None:
    packed_ = bomb(64 * MAX_LINE, unit)
    assert len(packed_) < 100_000
    tracemalloc.start()
    said = [json.loads(line) for line in answer_stream(decompress([packed_]))]
    _, peak = tracemalloc.get_traced_memory()
    tracemalloc.stop()
    assert [(a["id"], a["line"], a["problem"]["code"]) for a in said] == lines
    assert peak < 4 * MAX_LINE


def test_packing_goes_on_line_by_line() -> None:
    """What has been packed of each line can be read before the next one comes."""
    asked: list[int] = []

    def lines() -> Iterator[bytes]:
        for k in range(3):
            asked.append(k)
            yield b"%d\n" % k

    unpacker = decompress(compress(lines()))
    assert (next(unpacker), asked) == (b"0\n", [0])
    assert b"".join(unpacker) == b"1\n2\n"


def test_answers_come_before_the_next_line_is_read() -> None:
    asked: list[int] = []

    def pieces() -> Iterator[bytes]:
        for k in range(3):
            asked.append(k)
            yield ONE

    said = answer_stream(pieces())
    next(said)
    assert asked == [0]
    said.close()  # type: ignore[attr-defined]


def test_a_body_that_breaks_off_ends_with_a_problem() -> None:
    def pieces() -> Iterator[bytes]:
        yield ONE + b'\n{"id": "b"'
        raise IncompleteInput("body-incomplete", "it does")

    first, last = (json.loads(line) for line in answer_stream(pieces()))
    assert first["path"]
    assert (last["id"], last["line"], last["problem"]["code"]) == (None, 3, "body-incomplete")


def test_splitter_counts_blank_lines_however_they_come() -> None:
    for pieces in ([b"\n\n\nx\n"], [b"\n", b"\n\nx", b"\n"], [b"\n\n", b" ", b"\n", b"x\n"]):
        splitter = LineSplitter()
        found = [pair for piece in pieces for pair in splitter.feed(piece)]
        assert (found, splitter.number) == ([(4, b"x")], 4)


@each_row("setting, lines, codes", [
    ({"MAX_BATCH_LINES": 2}, 4, [None, None, "body-too-large"]),
    ({"MAX_BATCH_LINES": 4}, 4, [None] * 4),
    ({"MAX_BATCH_MB": 1}, 2000, ["body-too-large"]),
    ({"MAX_BATCH_SECONDS": 0}, 4, ["request-timeout"]),
])  # fmt: skip
def test_a_batch_is_bounded_as_a_whole(
    setting: dict[str, int], lines: int, codes: list[str | None]
) -> None:
    """A client that never ends would hold a place for batches for ever."""
    padded = ONE.rstrip() + b" " * 700 + b"\n"
    answer = create_app(setting).test_client().post(
        "/v1/batches", data=padded * lines, content_type="application/jsonl"
    )  # fmt: skip
    said = [json.loads(line) for line in answer.data.splitlines()]
    assert [(a["problem"] or {}).get("code") for a in said][-len(codes) :] == codes
    assert said[-1]["line"] == len(said)
    assert len(said) < 2000


def test_blank_lines_are_bounded_as_well() -> None:
    pieces = (b"\n" * 1000 for _ in count())
    (last,) = (json.loads(a) for a in answer_stream(pieces, limits=Limits(lines=10**6)))
    assert (last["line"], last["problem"]["code"]) == (10**6 + 1, "body-too-large")
