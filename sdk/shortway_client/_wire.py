"""Requests and answers of the service as plain values; no socket, no clock, no environment.

What is sent goes as it was given: the service checks it.
"""

from __future__ import annotations

import json
from base64 import b64encode
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from email.utils import parsedate_to_datetime
from os import PathLike
from pathlib import Path
from typing import Any, Final, NoReturn, TypeVar
from urllib.parse import quote, urlencode

from shortway_client import problems
from shortway_client._codec import API_VERSION, SCORES, read_problem_details, to_json
from shortway_client.errors import BadAnswer, OtherVersion
from shortway_client.models import ChartLike, ChartReading, ListedVoicing, SettingLike, Voicing

T = TypeVar("T")
PlayedLike = Sequence[Sequence[int] | None] | bytes

JSON = "application/json"
JSONL = "application/jsonl"
PROBLEM = "application/problem+json"
EXCERPT = 120  # characters of a bad answer that its error shows
_ZIP = b"PK\x03\x04"


@dataclass(frozen=True, slots=True)
class Request:
    """What to send; `path` is below the base URL, and carries the query."""

    method: str
    path: str
    headers: Mapping[str, str]
    body: bytes | None = None


@dataclass(frozen=True, slots=True)
class Answer:
    """What came back; the keys of `headers` are in lower case."""

    status: int
    headers: Mapping[str, str]
    body: bytes

    @property
    def media_type(self) -> str:
        """The content type without its parameters."""
        return self.headers.get("content-type", "").partition(";")[0].strip().lower()


# Requests


def get(path: str, **query: str) -> Request:
    """A GET that asks for JSON; in its query a blank is %20, for a + may be part of a symbol.

    >>> get("v1/chords", symbol="C+7 b9").path
    'v1/chords?symbol=C%2B7%20b9'
    """
    address = f"{path}?{urlencode(query, quote_via=quote, safe='')}" if query else path
    return Request("GET", address, {"Accept": JSON})


def post(path: str, fields: Mapping[str, Any], accept: str = JSON) -> Request:
    """A POST of the fields that are not None.

    Raises ValueError or TypeError where a value has no JSON: a NaN, a set.

    >>> post("v1/paths", {"chart": "| C |", "setting": '{"hands": "left"}', "pins": None}).body
    b'{"chart": {"text": "| C |"}, "setting": {"hands": "left"}}'
    """
    return _post(path, JSON, dump(converted(fields)), accept)


def post_chart(given: ChartLike) -> Request:
    """Ask for a chart's reading: the bytes of a lead sheet go as they are, all else as JSON."""
    given = _content(given)
    if isinstance(given, bytes):
        return _post("v1/charts", SCORES["mxl" if given.startswith(_ZIP) else "musicxml"], given)
    return _post("v1/charts", JSON, dump(chart_value(given)))


def _post(path: str, content_type: str, body: bytes, accept: str = JSON) -> Request:
    return Request("POST", path, {"Accept": accept, "Content-Type": content_type}, body)


def dump(value: Any) -> bytes:
    return json.dumps(to_json(value), allow_nan=False, ensure_ascii=False).encode()


def converted(fields: Mapping[str, Any]) -> dict[str, Any]:
    given = {name: value for name, value in fields.items() if value is not None}
    convert: dict[str, Callable[[Any], Any]] = {
        "chart": chart_value, "setting": _setting_value,
        "start_from": _notes_value, "after": _notes_value,
    }  # fmt: skip
    return {name: convert.get(name, to_json)(value) for name, value in given.items()}


#: Formats of a chart's text by the ends of file names; any other text is a grid.
TEXT_FORMATS: Final = {
    ".cho": "chordpro", ".crd": "chordpro", ".chopro": "chordpro", ".chordpro": "chordpro",
    ".pro": "chordpro", ".lab": "lab", ".abc": "abc", ".rntxt": "romantext",
    ".romantext": "romantext",
}  # fmt: skip


def _content(given: ChartLike) -> ChartLike:
    """What is in the file that `given` is the path of; the chart of a reading; else `given`."""
    if isinstance(given, ChartReading):
        return given.chart
    if not isinstance(given, PathLike):
        return given
    content = Path(given).read_bytes()
    if text_format := TEXT_FORMATS.get(Path(given).suffix.lower()):
        return {"text": content.decode("utf-8-sig"), "text_format": text_format}
    return content if _is_sheet(content) else content.decode("utf-8-sig")


def _is_sheet(content: bytes) -> bool:
    """Whether a file's content is a lead sheet, by how it begins."""
    marks = b"\xef\xbb\xbf\xff\xfe\x00 \t\r\n"
    return content.startswith(_ZIP) or content.lstrip(marks).startswith(b"<")


def chart_value(given: ChartLike) -> Any:
    """A chart for the wire: text is a text chart, its JSON form, or MusicXML; bytes are MusicXML.

    >>> chart_value("| Dm7 | G7 |"), chart_value('{"measures": []}')
    ({'text': '| Dm7 | G7 |'}, {'measures': []})
    >>> chart_value("<score-partwise/>")
    {'musicxml': '<score-partwise/>'}
    """
    given = _content(given)
    if isinstance(given, bytes):
        if given.startswith(_ZIP):
            return {"mxl": b64encode(given).decode()}
        return {"musicxml": given.decode("utf-8-sig")}
    if isinstance(given, str):
        if given.lstrip("\ufeff \t\r\n").startswith("<"):
            return {"musicxml": given}
        return json.loads(given) if given.lstrip().startswith("{") else {"text": given}
    return to_json(given)


def _setting_value(given: SettingLike) -> Any:
    return json.loads(given) if isinstance(given, str) else to_json(given)


def _notes_value(given: Any) -> Any:
    return list(given.midi_notes) if isinstance(given, Voicing | ListedVoicing) else to_json(given)


# Answers


def check_version(headers: Mapping[str, str]) -> None:
    """Raises OtherVersion where an answer names another version; a proxy's names none."""
    version = headers.get("api-version", API_VERSION)
    if version != API_VERSION:
        raise OtherVersion(version, API_VERSION)


def read(answer: Answer, reader: Callable[[Any], T]) -> T:
    """The JSON of a successful answer, read by `reader`. Raises Problem or BadAnswer."""
    read_bytes(answer, JSON)
    return reader(load(answer))


def read_bytes(answer: Answer, media_type: str) -> bytes:
    """The bytes of a successful answer of this media type. Raises Problem or BadAnswer."""
    if not 200 <= answer.status < 300:
        refuse(answer)
    if answer.media_type != media_type:
        found = answer.media_type or "no content type"
        raise bad_answer(f"expected {media_type}, found {found}", answer)
    return answer.body


def refuse(answer: Answer) -> NoReturn:
    """Raises the Problem that an answer without success is, or BadAnswer."""
    if answer.status < 400 or answer.media_type != PROBLEM:
        raise bad_answer(f"HTTP status {answer.status} without a problem document", answer)
    details = read_problem_details(load(answer))
    kind = problems.BY_CODE.get(details.code) or problems.base_class(answer.status)
    request_id = answer.headers.get("x-request-id")
    raise kind(details, request_id=request_id, retry_after=retry_after(answer))


def load(answer: Answer) -> Any:
    try:
        return json.loads(answer.body.decode("utf-8"))
    except (ValueError, RecursionError) as error:
        raise bad_answer("the answer is not JSON", answer) from error


def bad_answer(message: str, answer: Answer) -> BadAnswer:
    text = answer.body[: 4 * EXCERPT].decode("utf-8", "replace")
    return BadAnswer(message, status=answer.status, excerpt=" ".join(text.split())[:EXCERPT])


def retry_after(answer: Answer) -> float | None:
    """Seconds to wait by ``Retry-After``; a date counts from ``Date``.

    >>> retry_after(Answer(503, {"retry-after": "7"}, b""))
    7.0
    """
    text = answer.headers.get("retry-after", "").strip()
    if text.isascii() and text.isdigit():
        return float(text)
    when, since = _date(text), _date(answer.headers.get("date", ""))
    if when is None or since is None:
        return None
    return max(0.0, (when - since).total_seconds())


def _date(text: str) -> datetime | None:
    try:
        value = parsedate_to_datetime(text)
    except ValueError:
        return None
    return value if value.tzinfo else value.replace(tzinfo=UTC)
