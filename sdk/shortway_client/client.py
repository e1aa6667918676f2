"""Client: one method for each call of the service.

Puts the pure `_wire` on top of the `_transport`. Reads no environment variable: proxies, CA
bundles and ``.netrc`` come with a session of the caller's own, if wanted.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence, Sized
from importlib import import_module
from os import PathLike
from pathlib import Path as FilePath
from types import TracebackType
from typing import Any, Self
from urllib.parse import urlsplit

import requests

from shortway_client import _batch, _wire
from shortway_client._transport import Timeout, Transport
from shortway_client._wire import (
    AlignLike,
    ChartLike,
    PathRequestLike,
    PinLike,
    PlayedLike,
    SettingLike,
)
from shortway_client.models import (
    ChartReading,
    Chord,
    Exercise,
    Family,
    Health,
    Path,
    PathResult,
    Preset,
    Review,
    Rhythm,
    UnreadableSymbol,
    Voicing,
    VoicingPage,
)

CONNECT_TIMEOUT = 3.05
"""Seconds to connect; a little over the three of a repeated TCP SYN."""
READ_TIMEOUT = 60.0
"""Seconds without a sign of life of the answer."""
USER_AGENT = "shortway-client/0.1.0"
NoteLike = int | str
PAGE = 1000
"""Voicings fetched at a time when all are wanted: the most that one call may give."""


class Client:
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
        The base URL is not http or https, a timeout is not positive, `retries` is negative, the
        token is none.

    Notes
    -----
    Every method may raise any `ShortwayClientError`. Charts and settings may be models, dicts of
    the wire's shape, or strings: a text chart or the JSON of either. A chart may also be a lead
    sheet: MusicXML as a string or bytes, or the bytes of a compressed .mxl.
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
        if retries < 0:
            raise ValueError("retries cannot be negative")
        self._transport = Transport(
            _checked_url(base_url),
            _checked_timeout(timeout),
            retries,
            session or _new_session(),
            _checked_token(token),
        )

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.close()

    def close(self) -> None:
        """Close the connections."""
        self._transport.close()

    def chord(self, symbol: str) -> Chord:
        """What one chord symbol stands for."""
        return _wire.read_as(Chord, self._send(_wire.get("v1/chords", symbol=symbol)))

    def chords(self, symbols: Sequence[str]) -> tuple[Chord | UnreadableSymbol, ...]:
        """What many symbols stand for, in their order; a bad one does not sink the rest."""
        body = {"symbols": list(symbols)}
        return _wire.read_chords(self._send(_wire.post("v1/chords", body)))

    def families(self) -> tuple[Family, ...]:
        """The table of families."""
        return _wire.read_families(self._send(_wire.get("v1/families")))

    def rhythms(self) -> tuple[Rhythm, ...]:
        """The comping patterns."""
        return _wire.read_list(Rhythm, "rhythms", self._send(_wire.get("v1/rhythms")))

    def settings(self) -> tuple[Preset, ...]:
        """The presets by situation."""
        return _wire.read_settings(self._send(_wire.get("v1/settings")))

    def voicings(
        self,
        symbol: str,
        setting: SettingLike | None = None,
        after: Sequence[int] | None = None,
        limit: int | None = None,
        offset: int | None = None,
        *,
        melody: Sequence[NoteLike] | None = None,
        ceiling: NoteLike | None = None,
        top: NoteLike | None = None,
        colours: Sequence[str] | None = None,
    ) -> VoicingPage:
        """A page of the voicings of a chord; nearest first after the MIDI notes of `after`.

        `melody`, `ceiling` and `top` are what holds over it, notes by name or MIDI number;
        `colours` the degrees that may be added, as a step's context names them.
        """
        over = {"melody": melody, "ceiling": ceiling, "top": top, "colours": colours}
        request = _wire.voicings(symbol, setting, after=after, limit=limit, offset=offset, **over)
        return _wire.read_as(VoicingPage, self._send(request))

    def every_voicing(
        self,
        symbol: str,
        setting: SettingLike | None = None,
        after: Sequence[int] | None = None,
        page: int = PAGE,
        *,
        melody: Sequence[NoteLike] | None = None,
        ceiling: NoteLike | None = None,
        top: NoteLike | None = None,
        colours: Sequence[str] | None = None,
    ) -> Iterator[Voicing]:
        """All voicings of a chord, fetched `page` at a time as they are used."""
        offset, total = 0, 1
        while offset < total:
            over: dict[str, Any] = {"melody": melody, "ceiling": ceiling, "top": top}
            found = self.voicings(symbol, setting, after, page, offset, **over, colours=colours)
            yield from found.voicings
            total = found.total if found.voicings else 0
            offset += len(found.voicings)

    def read_chart(self, chart: ChartLike | PathLike[str]) -> ChartReading:
        """A chart as the service reads it, with its steps in playing order.

        Parameters
        ----------
        chart : Chart, dict, str, bytes or path
            Bytes are a lead sheet: MusicXML, or a compressed .mxl. A path is that of a file with
            a lead sheet, or with a text or JSON chart in UTF-8.

        Raises
        ------
        OSError, UnicodeDecodeError
            The file cannot be read.
        """
        return _wire.read_as(ChartReading, self._send(_wire.chart(_loaded(chart))))

    def solve_path(
        self,
        chart: ChartLike,
        setting: SettingLike | None = None,
        loop: bool = False,
        pins: Sequence[PinLike] | None = None,
        start_from: Sequence[int] | None = None,
        alternatives: int = 0,
        differs_in: int = 1,
        top_line: str | None = None,
    ) -> Path:
        """The path with the least motion through a chart.

        Parameters
        ----------
        chart : Chart, dict or str
        setting : Setting, dict or str, optional
        loop : bool
            Count the way from the last step back to the first: the form is played round and round.
        pins : sequence of Pin or dict, optional
            What given steps must be.
        start_from : sequence of int, optional
            MIDI numbers of the notes that sound already.
        alternatives, differs_in : int, optional
            How many further paths, each differing from the best and all earlier ones in at least so
            many steps.
        top_line : str, optional
            What is asked of the top voice before least motion: ``hold``, ``rise`` or ``fall``.
        """
        request = _wire.path(
            chart, setting, loop, pins, start_from, alternatives, differs_in, top_line
        )
        return _wire.read_as(Path, self._send(request))

    def render_score(
        self,
        chart: ChartLike,
        setting: SettingLike | None = None,
        kind: str = "musicxml",
        *,
        title: str | None = None,
        tempo: float | None = None,
        rhythm: str | Mapping[str, Any] | None = None,
        held: str | None = None,
        symbols: bool | None = None,
        degrees: bool | None = None,
        picture: str | None = None,
        width: float | None = None,
        loop: bool = False,
        pins: Sequence[PinLike] | None = None,
        start_from: Sequence[int] | None = None,
        top_line: str | None = None,
    ) -> bytes:
        """The best path through a chart as the bytes of a score.

        Parameters
        ----------
        chart, setting, loop, pins, start_from, top_line
            As for `solve_path`.
        kind : str
            ``musicxml``, ``mxl``, ``midi`` or ``svg``.
        title : str, optional
        tempo : float, optional
            Quarter notes a minute.
        rhythm : str or mapping, optional
            A pattern of `rhythms`, or hits of one's own; ``held`` where not given.
        held : str, optional
            ``tied`` or ``struck``: what notes do that stay from chord to chord.
        symbols, degrees : bool, optional
            Whether chord symbols and the notes' degrees are written.
        picture : str, optional
            What an ``svg`` shows: ``staff``, ``keyboards`` or ``lines``.
        width : float, optional
            Of an ``svg``, px.

        Raises
        ------
        ValueError
            There is no such kind.
        """
        shown: dict[str, Any] = {
            "held": held,
            "symbols": symbols,
            "degrees": degrees,
            "picture": picture,
        }
        shown |= {"width": width}
        asked: dict[str, Any] = {
            "title": title,
            "tempo": tempo,
            "rhythm": rhythm,
            "loop": loop,
            "pins": pins,
        }
        asked |= {"start_from": start_from, "top_line": top_line}
        request = _wire.score(chart, setting, kind, **asked, **shown)
        return _wire.read_score(kind, self._send(request))

    def solve_paths(
        self,
        requests: Iterable[PathRequestLike],
        *,
        workers: int = 2,
        progress: bool = False,
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

        Yields
        ------
        PathResult
            The path, or the problem of this one request; a problem of one is not raised.

        Raises
        ------
        ShortwayClientError
            The service cannot be reached, or refuses the call as such, and the retries are used
            up. What has been yielded by then stays good; a window whose answer breaks off is asked
            again only for what it lacks.
        ValueError
            `workers` is not positive.
        ImportError
            `progress` without tqdm.
        """
        if workers < 1:
            raise ValueError("at least one worker is needed")
        shown = _shown(requests) if progress else None
        results = _batch.solved(self._transport, requests, workers)
        return results if shown is None else shown(results)

    def review(
        self,
        chart: ChartLike,
        played: PlayedLike,
        setting: SettingLike | None = None,
        loop: bool = False,
        pins: Sequence[PinLike] | None = None,
        align: AlignLike | None = None,
    ) -> Review:
        """What was played over a chart, judged and compared with the best path.

        Parameters
        ----------
        chart : Chart, dict or str
        played : sequence or bytes
            For each step MIDI numbers or note names, or None; or a Standard MIDI File.
        setting, loop, pins
            As for `solve_path`.
        align : Align or dict, optional
            How the MIDI file is laid along the chart.
        """
        request = _wire.review(chart, played, setting, loop, pins, align)
        return _wire.read_as(Review, self._send(request))

    def exercise(
        self,
        chart: ChartLike,
        way: str | Sequence[str] = "fourths",
        setting: SettingLike | None = None,
        loop: bool = False,
        start_from: Sequence[int] | None = None,
        top_line: str | None = None,
    ) -> Exercise:
        """A chart through the keys, as one path with the least motion.

        Parameters
        ----------
        chart : Chart, dict or str
        way : str or sequence of str
            ``fourths``, ``fifths``, ``half-steps-up``, ``half-steps-down``, ``whole-steps-up``,
            ``whole-steps-down``, ``minor-thirds-up``, ``minor-thirds-down``, or tonics in the order
            wanted.
        setting, loop, start_from, top_line
            As for `solve_path`; a loop leads from the last key back to the first.
        """
        asked = {"loop": loop, "start_from": start_from, "top_line": top_line}
        request = _wire.exercise(chart, setting, way=way, **asked)
        return _wire.read_as(Exercise, self._send(request))

    def health(self) -> Health:
        """Whether the service lives."""
        return _wire.read_as(Health, self._send(_wire.get("healthz")))

    def ready(self) -> Health:
        """Whether the service takes calls; `Unavailable` while it does not."""
        return _wire.read_as(Health, self._send(_wire.get("readyz")))

    def _send(self, request: _wire.Request) -> _wire.Answer:
        answer = self._transport.send(request)
        _wire.check_version(answer.headers)
        return answer


def _loaded(chart: ChartLike | PathLike[str]) -> ChartLike:
    """`chart`, or what is in the file that it is the path of."""
    if not isinstance(chart, PathLike):
        return chart
    content = FilePath(chart).read_bytes()
    return content if _wire.is_sheet(content) else content.decode("utf-8-sig")


def _shown(
    requests: Iterable[PathRequestLike],
) -> Callable[[Iterator[PathResult]], Iterator[PathResult]]:
    """What shows a bar while results are taken."""
    try:
        bar = import_module("tqdm").tqdm
    except ImportError as error:
        wanted = "progress=True needs tqdm: pip install 'shortway-client[progress]'"
        raise ImportError(wanted) from error
    total = len(requests) if isinstance(requests, Sized) else None
    return lambda results: iter(bar(results, total=total, unit="chart"))


def _checked_url(base_url: str) -> str:
    parts = urlsplit(base_url)
    if parts.scheme not in ("http", "https") or not parts.hostname or parts.query or parts.fragment:
        raise ValueError(f"not the base URL of a service: {base_url!r}")
    return base_url.rstrip("/")


def _checked_timeout(timeout: Timeout) -> tuple[float, float]:
    connect, read = timeout if isinstance(timeout, tuple) else (timeout, timeout)
    if not (0 < connect < float("inf") and 0 < read < float("inf")):
        raise ValueError("a timeout has to be a positive number of seconds")
    return float(connect), float(read)


def _checked_token(token: str | None) -> str | None:
    if token is not None and not re.fullmatch(r"[A-Za-z0-9._~+/-]+=*", token):
        raise ValueError("a token is letters, digits and -._~+/ with no blank or line end")
    return token


def _new_session() -> requests.Session:
    session = requests.Session()
    session.trust_env = False
    session.headers["User-Agent"] = USER_AGENT
    return session
