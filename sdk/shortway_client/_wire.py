"""Requests and answers of the service as plain values; pure: no socket, no clock, no environment.

One function builds each request, one reads each answer. What is sent goes as it was given: the
service judges it, and its refusals say where it is wrong.
"""

from __future__ import annotations

import base64
import gzip
import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime
from email.utils import parsedate_to_datetime
from typing import Any, NoReturn, TypeVar
from urllib.parse import quote, urlencode

from shortway_client._codec import from_json, to_json
from shortway_client.errors import (
    BadAnswer,
    OtherVersion,
    Problem,
    RateLimited,
    Refused,
    Unavailable,
)
from shortway_client.models import (
    Align,
    Chart,
    Chord,
    Family,
    Path,
    PathRequest,
    PathResult,
    Pin,
    Preset,
    ProblemDetails,
    Setting,
    UnreadableSymbol,
)

T = TypeVar("T")
ChartLike = Chart | Mapping[str, Any] | str | bytes
SettingLike = Setting | Mapping[str, Any] | str
PinLike = Pin | Mapping[str, Any]
PathRequestLike = PathRequest | Mapping[str, Any]
AlignLike = Align | Mapping[str, Any]
PlayedLike = Sequence[Sequence[int | str] | None] | bytes

API_VERSION = "1"
"""The version of the HTTP API that this client speaks."""
JSON = "application/json"
JSONL = "application/jsonl"
PROBLEM = "application/problem+json"
TEXT = "text/plain; charset=utf-8"
SCORES = {
    "musicxml": "application/vnd.recordare.musicxml+xml",
    "mxl": "application/vnd.recordare.musicxml",
    "midi": "audio/midi",
    "svg": "image/svg+xml",
}
"""Kinds of a score with their media types."""
SHOWN = ("held", "symbols", "degrees", "picture", "width")
"""Fields of what a score shows."""
_ZIP = b"PK\x03\x04"
"""What a compressed lead sheet begins with."""
PACKED_FROM = 4096
"""Bytes from which the lines of a batch are packed."""
_OUT_OF_TIME = b'"code":"out-of-time"'
_BROKEN = (b'"code":"body-incomplete"', b'"code":"not-gzip"')
EXCERPT = 120
"""Characters of a bad answer that its error shows."""


@dataclass(frozen=True, slots=True)
class Request:
    """What to send; `path` is below the base URL, and carries the query."""

    method: str
    path: str
    headers: Mapping[str, str] = field(default_factory=dict)
    body: bytes | None = None


@dataclass(frozen=True, slots=True)
class Answer:
    """What came back; the keys of `headers` are in lower case."""

    status: int
    headers: Mapping[str, str]
    body: bytes


# Requests


def get(path: str, **query: str) -> Request:
    """A GET that asks for JSON; in its query a blank is %20, for a + may be part of a symbol.

    >>> get("v1/chords", symbol="C+7 b9").path
    'v1/chords?symbol=C%2B7%20b9'
    """
    address = f"{path}?{urlencode(query, quote_via=quote, safe='')}" if query else path
    return Request("GET", address, {"Accept": JSON})


def post(path: str, value: Any) -> Request:
    """A POST of JSON.

    Raises
    ------
    ValueError, TypeError
        `value` has no JSON: a NaN, a set.
    """
    return _post(path, JSON, _dump(value))


def _post(path: str, content_type: str, body: bytes, accept: str = JSON) -> Request:
    return Request("POST", path, {"Accept": accept, "Content-Type": content_type}, body)


def _dump(value: Any) -> bytes:
    return json.dumps(to_json(value), allow_nan=False, ensure_ascii=False).encode()


def voicings(symbol: str, setting: SettingLike | None, **optional: Any) -> Request:
    """Ask for a page of voicings; what is None is left out."""
    body = {"symbol": symbol, "setting": setting_value(setting), **optional}
    return post("v1/voicings", _given(body))


def chart(given: ChartLike) -> Request:
    """Ask for a chart's reading: a text or a lead sheet goes as it is, all else as JSON."""
    if isinstance(given, bytes):
        return _post("v1/charts", SCORES["mxl" if given.startswith(_ZIP) else "musicxml"], given)
    value = chart_value(given)
    if isinstance(value, str):
        return _post("v1/charts", TEXT, value.encode())
    return post("v1/charts", value)


def path(
    given: ChartLike,
    setting: SettingLike | None,
    loop: bool,
    pins: Sequence[PinLike] | None,
    start_from: Sequence[int] | None,
    alternatives: int = 0,
    differs_in: int = 1,
    top_line: str | None = None,
) -> Request:
    """Ask for the path with the least motion through a chart."""
    optional = {"setting": setting_value(setting), "pins": pins, "start_from": start_from}
    optional |= {"top_line": top_line}
    if alternatives:
        optional |= {"alternatives": alternatives, "differs_in": differs_in}
    return post("v1/paths", {"chart": chart_value(given), "loop": loop, **_given(optional)})


def review(
    given: ChartLike,
    played: PlayedLike,
    setting: SettingLike | None,
    loop: bool,
    pins: Sequence[PinLike] | None,
    align: AlignLike | None,
) -> Request:
    """Ask what was played is worth: notes for each step, or the bytes of a MIDI file."""
    notes = (
        {"midi": base64.b64encode(played).decode()}
        if isinstance(played, bytes)
        else {"played": played}
    )
    optional = {
        **notes,
        "setting": setting_value(setting),
        "pins": pins,
        "align": align,
    }
    return post("v1/reviews", {"chart": chart_value(given), "loop": loop, **_given(optional)})


def exercise(given: ChartLike, setting: SettingLike | None, **optional: Any) -> Request:
    """Ask for a chart through the keys; what is None is left out."""
    body = {"chart": chart_value(given), "setting": setting_value(setting), **optional}
    return post("v1/exercises", _given(body))


def score(given: ChartLike, setting: SettingLike | None, kind: str, **optional: Any) -> Request:
    """Ask for a path's score as `kind`; what is None is left out, also of what is shown."""
    shown = {name: optional.pop(name) for name in SHOWN}
    body = {"chart": chart_value(given), "setting": setting_value(setting), **optional}
    body |= {"show": _given(shown) or None}
    return _post("v1/scores", JSON, _dump(_given(body)), accept=score_type(kind))


def score_type(kind: str) -> str:
    """The media type of a kind of score.

    Raises
    ------
    ValueError
        There is no such kind.
    """
    if kind not in SCORES:
        raise ValueError(f"no kind of score is {kind!r}: expected one of {', '.join(SCORES)}")
    return SCORES[kind]


def _given(fields: Mapping[str, Any]) -> dict[str, Any]:
    return {key: value for key, value in fields.items() if value is not None}


def is_sheet(content: bytes) -> bool:
    """Whether a file's content is a lead sheet, by how it begins; a text chart begins otherwise.

    >>> is_sheet(b"<?xml ...") and not is_sheet(b"| Dm7 |")
    True
    """
    marks = b"\xef\xbb\xbf\xff\xfe\x00 \t\r\n"
    return content.startswith(_ZIP) or content.lstrip(marks).startswith(b"<")


def chart_value(given: ChartLike) -> Any:
    """A chart for the wire.

    A text that begins with a brace is the JSON form, one that begins with ``<`` a lead sheet, as
    bytes are: MusicXML, or a compressed one.

    >>> chart_value("| Dm7 | G7 |"), chart_value('{"measures": []}')
    ('| Dm7 | G7 |', {'measures': []})
    >>> chart_value("<score-partwise/>")
    {'musicxml': '<score-partwise/>'}
    """
    if isinstance(given, bytes):
        if given.startswith(_ZIP):
            return {"mxl": base64.b64encode(given).decode()}
        return {"musicxml": given.decode("utf-8-sig")}
    if isinstance(given, str):
        if given.lstrip("\ufeff \t\r\n").startswith("<"):
            return {"musicxml": given}
        return json.loads(given) if given.lstrip().startswith("{") else given
    return to_json(given)


def setting_value(given: SettingLike | None) -> Any:
    """A setting for the wire; a text is its JSON."""
    return json.loads(given) if isinstance(given, str) else to_json(given)


# Batches


@dataclass(frozen=True, slots=True)
class Line:
    """A request on its way: its number from 0, its id, and its JSON."""

    index: int
    id: str
    raw: bytes


def batch_line(index: int, request: PathRequestLike) -> Line:
    """A request as a line; its id is its number where it has none.

    >>> batch_line(7, {"chart": "| Dm7 |"}).raw
    b'{"chart": "| Dm7 |", "id": "7"}'
    """
    fields = dict(request) if isinstance(request, Mapping) else to_json(request)
    if fields.get("id") is None:
        fields["id"] = str(index)
    for name, value in (("chart", chart_value), ("setting", setting_value)):
        if name in fields:
            fields[name] = value(fields[name])
    return Line(index, str(fields["id"]), _dump(fields))


def batch(lines: Sequence[Line]) -> Request:
    """Ask for the paths of `lines`; what is not small goes packed."""
    headers = {"Accept": JSONL, "Content-Type": JSONL, "Accept-Encoding": "gzip"}
    body = b"".join(line.raw + b"\n" for line in lines)
    if len(body) > PACKED_FROM:
        body = gzip.compress(body, 1)
        headers["Content-Encoding"] = "gzip"
    return Request("POST", "v1/batches", headers, body)


def is_broken_off(raw: bytes) -> bool:
    """Whether an answer's line says that the lines did not all arrive."""
    return raw.startswith(b'{"id":null,') and any(code in raw for code in _BROKEN)


def read_batch_answer(line: Line, raw: bytes) -> PathResult:
    """What became of `line`.

    Raises
    ------
    BadAnswer
        `raw` is not the answer to it.
    """
    answer = Answer(200, {}, raw)
    said = _load(answer)
    if not isinstance(said, dict) or said.get("id", "") not in (line.id, None):
        raise _bad(f"not the answer to the line {line.id!r}", answer)
    if "problem" in said:
        problem = from_json(ProblemDetails, said["problem"], "/problem")
        return PathResult(line.index, line.id, problem=problem)
    return PathResult(line.index, line.id, from_json(Path, said.get("path"), "/path"))


# Answers


def check_version(headers: Mapping[str, str]) -> None:
    """Refuse an answer of another version; one that names none, a proxy's, is judged elsewhere.

    Raises
    ------
    OtherVersion

    >>> check_version({"api-version": "1"})
    """
    version = headers.get("api-version", API_VERSION)
    if version != API_VERSION:
        raise OtherVersion(version, API_VERSION)


def read(answer: Answer) -> Any:
    """The JSON of a good answer.

    Raises
    ------
    Problem
        The service said no.
    BadAnswer
        The answer is not the service's.
    """
    if not 200 <= answer.status < 300:
        refuse(answer)
    kind = _kind(answer)
    if kind != JSON:
        raise _bad(f"expected {JSON}, found {kind or 'no content type'}", answer)
    return _load(answer)


def read_score(kind: str, answer: Answer) -> bytes:
    """The bytes of a good answer, which must be a score of this kind.

    Raises
    ------
    Problem, BadAnswer
    """
    if not 200 <= answer.status < 300:
        refuse(answer)
    if _kind(answer) != score_type(kind):
        found = _kind(answer) or "no content type"
        raise _bad(f"expected {score_type(kind)}, found {found}", answer)
    return answer.body


def refuse(answer: Answer) -> NoReturn:
    """Raise what an answer without success says.

    Raises
    ------
    Problem, BadAnswer
    """
    if answer.status >= 400 and _kind(answer) == PROBLEM:
        _refuse(answer)
    raise _bad(f"HTTP status {answer.status} without a problem document", answer)


def is_out_of_time(answer: Answer) -> bool:
    """Whether the service gave the request up as too much work, which it would be again."""
    return _OUT_OF_TIME in answer.body and _kind(answer) == PROBLEM


def _kind(answer: Answer) -> str:
    return answer.headers.get("content-type", "").partition(";")[0].strip().lower()


def read_as(kind: type[T], answer: Answer) -> T:
    """A good answer as a model."""
    return from_json(kind, read(answer))


def read_list(kind: type[T], name: str, answer: Answer) -> tuple[T, ...]:
    """The list `name` of a good answer as models."""
    return tuple(from_json(kind, item, f"/{name}/{i}") for i, item in _items(name, answer))


def read_families(answer: Answer) -> tuple[Family, ...]:
    """The table of families."""
    return read_list(Family, "families", answer)


def read_settings(answer: Answer) -> tuple[Preset, ...]:
    """The presets."""
    return read_list(Preset, "settings", answer)


def read_chords(answer: Answer) -> tuple[Chord | UnreadableSymbol, ...]:
    """The chords of many symbols, in their order."""
    return tuple(_chord(item, f"/chords/{i}") for i, item in _items("chords", answer))


def _chord(item: Any, pointer: str) -> Chord | UnreadableSymbol:
    bad = isinstance(item, dict) and "problem" in item
    return from_json(UnreadableSymbol, item, pointer) if bad else from_json(Chord, item, pointer)


def _items(name: str, answer: Answer) -> list[tuple[int, Any]]:
    value = read(answer)
    if not isinstance(value, dict) or not isinstance(value.get(name), list):
        raise _bad(f"the answer lacks the list /{name}", answer)
    return list(enumerate(value[name]))


def _load(answer: Answer) -> Any:
    try:
        return json.loads(answer.body.decode("utf-8"))
    except (ValueError, RecursionError) as error:
        raise _bad("the answer is not JSON", answer) from error


def _bad(message: str, answer: Answer) -> BadAnswer:
    text = answer.body[: 4 * EXCERPT].decode("utf-8", "replace")
    return BadAnswer(message, status=answer.status, excerpt=" ".join(text.split())[:EXCERPT])


def _refuse(answer: Answer) -> NoReturn:
    details = from_json(ProblemDetails, _load(answer))
    raise _problem_class(answer.status)(
        details,
        request_id=answer.headers.get("x-request-id"),
        retry_after=retry_after(answer),
    )


def _problem_class(status: int) -> type[Problem]:
    special: dict[int, type[Problem]] = {429: RateLimited, 503: Unavailable}
    return special.get(status, Refused if status < 500 else Problem)


def retry_after(answer: Answer, now: datetime | None = None) -> float | None:
    """Seconds to wait by ``Retry-After`` (seconds, or an HTTP date), or None.

    A date is measured against `now`, else against the answer's own ``Date``.

    >>> retry_after(Answer(503, {"retry-after": "7"}, b""))
    7.0
    """
    text = answer.headers.get("retry-after", "").strip()
    if text.isascii() and text.isdigit():
        return float(text)
    when, since = _date(text), now or _date(answer.headers.get("date", ""))
    if when is None or since is None:
        return None
    return max(0.0, (when - since).total_seconds())


def _date(text: str) -> datetime | None:
    try:
        value = parsedate_to_datetime(text)
    except ValueError:
        return None
    return value if value.tzinfo else value.replace(tzinfo=UTC)
