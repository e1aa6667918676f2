"""Client: one method for each call of the service.

Puts the pure `_wire` on top of the `_transport`. Reads no environment variable: proxies, CA
bundles and ``.netrc`` come with a session of the caller's own, if wanted.
"""

from __future__ import annotations

import re
from base64 import b64encode
from collections.abc import Callable, Iterable, Iterator, Mapping, Sized
from copy import copy
from dataclasses import fields, replace
from importlib import import_module
from typing import Any, Self, TypeVar, Unpack
from urllib.parse import urlsplit

import requests
from requests.utils import get_auth_from_url

from shortway_client import _batch, _codec, _wire, models
from shortway_client._batch import PathRequestLike, PathResult
from shortway_client._operations import Operations
from shortway_client._transport import Timeout, Transport
from shortway_client._wire import PlayedLike
from shortway_client.alignment import StepKey, align_steps
from shortway_client.models import (
    ChartLike,
    ChartReading,
    KeptNotes,
    ListedVoicing,
    Review,
    SettingLike,
    ShowOptions,
    VoicingPath,
)

T = TypeVar("T")
CONNECT_TIMEOUT = 3.05  # seconds to connect; a little over the three of a repeated TCP SYN
READ_TIMEOUT = 60.0  # seconds without data from the service
USER_AGENT = "shortway-client/0.1.0"
PAGE = 1000  # voicings fetched at a time when all are wanted: the most that one call may give


class Client(Operations):
    """Calls a Shortway service; a context manager that closes its connections.

    Parameters
    ----------
    base_url : str
        Where the service is, with or without a path of its own.
    timeout : float or (float, float)
        Seconds, or seconds to connect and seconds between two signs of life of an answer.
    retries : int
        How often a call is repeated at most, after a failed connection or on 429, 502, 503, 504.
    token : str, optional
        What the service knows you by, where it asks for tokens. It goes to `base_url` alone.
    session : requests.Session, optional
        One of your own, for proxies or certificates. By default a new one that
        reads nothing from the environment.

    Raises
    ------
    ValueError
        The base URL is not http or https, a timeout is not positive, `retries` is negative, or the
        token has other characters than a bearer token may have.

    Notes
    -----
    Every method may raise any `ShortwayClientError`. Options are keywords, described in
    `shortway_client.models`; None is not sent. Charts and settings may be models, dicts of the
    wire's shape, or strings: a text chart or the JSON of either. A chart may also be a lead sheet:
    MusicXML as a string or bytes, or the bytes of a compressed .mxl; or the path of a file in any
    readable format; or what `read_chart` gave. OSError or UnicodeDecodeError is raised where a file
    cannot be read.
    """

    def __init__(
        self,
        base_url: str = "http://127.0.0.1:8000",
        *,
        timeout: Timeout = (CONNECT_TIMEOUT, READ_TIMEOUT),
        retries: int = 3,
        token: str | None = None,
        session: requests.Session | None = None,
    ) -> None:
        self._transport = Transport(
            _checked_url(base_url),
            _checked_timeout(timeout),
            _checked_retries(retries),
            session or _new_session(),
            _checked_token(token),
            get_auth_from_url(base_url),
        )

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def close(self) -> None:
        """Close the connections."""
        self._transport.session.close()

    def with_options(self, *, timeout: Timeout | None = None, retries: int | None = None) -> Self:
        """A client with other options for single calls, over the same connections.

        `timeout` and `retries` are as for the client; None keeps its own. Raises ValueError as the
        client does.
        """
        changed = copy(self)
        changed._transport = replace(
            self._transport,
            timeout=self._transport.timeout if timeout is None else _checked_timeout(timeout),
            retries=self._transport.retries if retries is None else _checked_retries(retries),
        )
        return changed

    def send(self, method: str, path: str, fields: Mapping[str, Any] | None = None) -> bytes:
        """The body of a call's successful answer as it came, for example `send("GET", "healthz")`.

        Raises Problem where the call is rejected.
        """
        body = None if fields is None else _wire.dump(_wire.converted(fields))
        headers = {"Accept": "*/*"} | ({"Content-Type": _wire.JSON} if body else {})
        answer = self._transport.send(_wire.Request(method, path.lstrip("/"), headers, body))
        return answer.body if 200 <= answer.status < 300 else _wire.refuse(answer)

    def iter_voicings(
        self,
        symbol: str,
        setting: SettingLike | None = None,
        page: int = PAGE,
        **options: Unpack[models.VoicingsOptions],
    ) -> Iterator[ListedVoicing]:
        """All voicings of a chord, fetched `page` at a time as they are used."""
        offset, total = 0, 1
        while offset < total:
            found = self.list_voicings(symbol, setting, page, offset, **options)
            total = found.total if offset == 0 else total
            if not found.voicings:
                return
            yield from found.voicings[: min(page, total - offset)]
            offset += len(found.voicings)

    def read_chart(self, chart: ChartLike) -> ChartReading:
        """A chart as the service reads it, with its steps in playing order."""
        return self._call(_wire.post_chart(chart), _codec.read_chart_reading)

    def keep_notes(self, before: VoicingPath, chart: ChartLike) -> tuple[KeptNotes, ...]:
        """The notes of an earlier path at the steps that an edited chart still has, for `keep`.

        Raises as `read_chart` does.
        """
        after = self.read_chart(chart).steps
        old, new = (
            [StepKey(s.measure, s.beat, s.symbol) for s in of] for of in (before.steps, after)
        )
        pairs = ((k, before.steps[i].midi_notes) for i, k in align_steps(old, new))
        return tuple(KeptNotes(k, notes) for k, notes in pairs if notes)

    def write_score(
        self,
        chart: ChartLike,
        setting: SettingLike | None = None,
        kind: str = "musicxml",
        **options: Unpack[models.ScoreOptions],
    ) -> bytes:
        """The best path as a score: ``musicxml``, ``mxl``, ``midi``, ``svg`` or ``pdf``.

        Raises ValueError where there is no such kind.
        """
        given: dict[str, Any] = {"chart": chart, "setting": setting, **options}
        show = {
            f.name: given.pop(f.name) for f in fields(ShowOptions) if given.get(f.name) is not None
        }
        if (media_type := _codec.SCORES.get(kind)) is None:
            raise ValueError(
                f"no kind of score is {kind!r}: expected one of {', '.join(_codec.SCORES)}"
            )
        request = _wire.post("v1/scores", {**given, "show": show or None}, accept=media_type)
        return _wire.read_bytes(self._transport.send(request), media_type)

    def review_playing(
        self,
        chart: ChartLike,
        played: PlayedLike,
        setting: SettingLike | None = None,
        **options: Unpack[models.ReviewOptions],
    ) -> Review:
        """What was played over a chart, judged and compared with the best path.

        `played` is a list of MIDI numbers for each step, or None where nothing was
        played; or the bytes of a Standard MIDI File, which `align` places along the chart.
        """
        midi = b64encode(played).decode() if isinstance(played, bytes) else None
        given = {"played": played} if midi is None else {"midi_file": midi}
        request = {"chart": chart, "setting": setting, **given, **options}
        return self._call(_wire.post("v1/reviews", request), _codec.read_review)

    def find_paths(
        self, requests: Iterable[PathRequestLike], *, workers: int = 2, progress: bool = False
    ) -> Iterator[PathResult]:
        """A result for each of many requests, in their order, as they come.

        Parameters
        ----------
        requests : iterable of PathRequest or dict
            Read as it is needed: at most `workers` windows of 256 ahead. An id that is missing is
            the request's number from 0.
        workers : int
            Windows that are under way at once.
        progress : bool
            Show a bar; needs tqdm (``pip install 'shortway-client[progress]'``).

        A problem of one request is a result and not raised. Raises ValueError where `workers` is
        not positive, ImportError where `progress` is without tqdm.
        """
        if workers < 1:
            raise ValueError("at least one worker is needed")
        bar = _progress_bar(requests) if progress else iter
        return bar(_batch.solved(self._transport, requests, workers))

    def _call(self, request: _wire.Request, reader: Callable[[Any], T]) -> T:
        return _wire.read(self._transport.send(request), reader)


def _progress_bar(requests: Iterable[PathRequestLike]) -> Callable[..., Iterator[PathResult]]:
    try:
        tqdm = import_module("tqdm").tqdm
    except ImportError as error:
        wanted = "progress=True needs tqdm: pip install 'shortway-client[progress]'"
        raise ImportError(wanted) from error
    total = len(requests) if isinstance(requests, Sized) else None
    return lambda results: iter(tqdm(results, total=total, unit="chart"))


def _checked_url(base_url: str) -> str:
    """The URL without user and password, which no error is to show."""
    shown = re.sub("//.*@", "//", base_url)
    try:
        parts = urlsplit(base_url)
        is_base = parts.scheme in ("http", "https") and parts.hostname
    except ValueError:
        is_base = False
    if not is_base or parts.query or parts.fragment:
        raise ValueError(f"not the base URL of a service: {shown!r}") from None
    return parts._replace(netloc=parts.netloc.rpartition("@")[2]).geturl().rstrip("/")


def _checked_timeout(timeout: Timeout) -> tuple[float, float]:
    connect, read = timeout if isinstance(timeout, tuple) else (timeout, timeout)
    if not (0 < connect < float("inf") and 0 < read < float("inf")):
        raise ValueError("a timeout has to be a positive number of seconds")
    return float(connect), float(read)


def _checked_retries(retries: int) -> int:
    if retries < 0:
        raise ValueError("retries cannot be negative")
    return retries


def _checked_token(token: str | None) -> str | None:
    if token is not None and not re.fullmatch(r"[A-Za-z0-9._~+/-]+=*", token):
        raise ValueError("a token is letters, digits and -._~+/ with no blank or line end")
    return token


def _new_session() -> requests.Session:
    session = requests.Session()
    session.trust_env = False
    session.headers["User-Agent"] = USER_AGENT
    return session
