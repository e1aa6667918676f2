"""Sends requests over HTTP: one session, timeouts always on, retries that end.

Knows nothing of music. Every call of the service only computes, so a POST is retried like a GET:
when there was no connection, when it was cut before the end of the answer (once: it may have been
idle too long, or the process behind it died), and on 429, 502, 503 and 504, unless the request
itself takes too long. The server is not trusted: an answer is bounded in bytes, unpacked ones
counted, and in time as a whole.
"""

from __future__ import annotations

import random
import time
import zlib
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from queue import Empty, SimpleQueue
from threading import Thread

import requests
from urllib3.exceptions import HTTPError, NewConnectionError, ProtocolError, ReadTimeoutError

from shortway_client._wire import Answer, Request, check_version, refuse, retry_after
from shortway_client.errors import BadAnswer, ConnectionFailed, ShortwayClientError, TimedOut

Timeout = float | tuple[float, float]

OK = 200
_OUT_OF_TIME = b'"code":"out-of-time"'  # the same work would be given up again
RETRIED = frozenset({429, 502, 503, 504})
MAX_BYTES = 128 << 20  # of an answer, or of a line of a streamed one, unpacked
MAX_TIMES = 10  # an answer is complete within the seconds between two reads, so often
PIECE = 1 << 16  # bytes that are read or unpacked at a time
FIRST_WAIT = 0.2  # seconds before the first retry; each further wait is up to twice as long
LONGEST_WAIT = 20.0  # seconds of one wait, whatever Retry-After says
ALL_WAITS = 60.0  # seconds of all waits of one call


@dataclass
class Transport:
    """The session of one client; `timeout` is seconds to connect, and seconds between two reads.

    The token, or else user and password, is sent with every request. Redirects are not followed, so
    nobody else gets it.
    """

    base_url: str
    timeout: tuple[float, float]
    retries: int
    session: requests.Session
    token: str | None = field(default=None, repr=False)
    user: tuple[str, str] = field(default=("", ""), repr=False)
    sleep: Callable[[float], None] = time.sleep
    jitter: Callable[[], float] = field(default=random.random)

    def send(self, request: Request) -> Answer:
        """The last answer: a good one, or what is left when the retries are used up.

        Raises ConnectionFailed, TimedOut or BadAnswer where no answer came, or half of one.
        """
        waits, cut = Waits(self), False
        while True:
            outcome = self._attempt(request)
            asked = retry_after(outcome) if isinstance(outcome, Answer) else None
            if not _worth_repeating(outcome, cut) or not waits.wait(asked):
                break
            cut = cut or _was_cut(outcome)
        if isinstance(outcome, Answer):
            return outcome
        raise outcome

    @property
    def longest(self) -> float:
        """Seconds in which an answer, or a line of a streamed one, is complete."""
        return MAX_TIMES * self.timeout[1]

    def _attempt(self, request: Request) -> Answer | ShortwayClientError:
        """In a thread, which can be given up: a server that sends a byte a second never times out.

        Raises what the attempt does.
        """
        done: SimpleQueue[Answer | Exception] = SimpleQueue()
        Thread(target=lambda: done.put(self._answer(request)), daemon=True).start()
        try:
            found = done.get(timeout=self.longest)
        except Empty:
            return self.too_slow()
        if isinstance(found, Answer | ShortwayClientError):
            return found
        raise found

    def too_slow(self) -> TimedOut:
        return TimedOut(f"no whole answer from {self.base_url} in {self.longest:g} s")

    def _answer(self, request: Request) -> Answer | Exception:
        try:
            with self._ask(request) as response:
                return _whole(response)
        except requests.RequestException as error:
            return _translated(error, self.base_url)
        except Exception as error:
            return error

    def lines(self, request: Request) -> Iterator[bytes]:
        """The lines of a streamed answer as they come, in one attempt; half a line is none.

        Raises ShortwayClientError where no good answer came, or it broke off.
        """
        try:
            with self._ask(request) as response:
                _headers(response)
                if response.status_code != OK:
                    refuse(_whole(response))
                held = bytearray()
                for piece in _pieces(response):
                    held += piece
                    _check_size(len(held))
                    if b"\n" in piece:
                        *ended, held = held.split(b"\n")
                        yield from map(bytes, ended)
        except requests.RequestException as error:
            raise _translated(error, self.base_url) from error

    def _ask(self, request: Request) -> requests.Response:
        return self.session.request(
            request.method,
            f"{self.base_url}/{request.path}",
            headers={"Accept-Encoding": "gzip", **request.headers},
            data=request.body,
            timeout=self.timeout,
            auth=self._authorized if self.token else self.user if any(self.user) else None,
            allow_redirects=False,
            stream=True,
        )

    def _authorized(self, request: requests.PreparedRequest) -> requests.PreparedRequest:
        """Add the token; as requests' `auth`, so that no .netrc wins over it."""
        request.headers["Authorization"] = f"Bearer {self.token}"
        return request


class Waits:
    """The waits between the attempts of one call."""

    def __init__(self, transport: Transport) -> None:
        self._transport, self._attempt, self._waited = transport, 0, 0.0

    def wait(self, asked: float | None) -> bool:
        """Wait, unless the retries or the time for them are used up; whether it waited.

        It waits the seconds that the service asked for, else twice as long each time, with jitter.
        """
        backoff = FIRST_WAIT * 2.0**self._attempt * (0.5 + 0.5 * self._transport.jitter())
        pause = min(LONGEST_WAIT, backoff if asked is None else asked)
        self._attempt, self._waited = self._attempt + 1, self._waited + pause
        if self._attempt > self._transport.retries or self._waited > ALL_WAITS:
            return False
        self._transport.sleep(pause)
        return True


def _whole(response: requests.Response) -> Answer:
    body = bytearray()
    for piece in _pieces(response):
        body += piece
        _check_size(len(body))
    return Answer(response.status_code, _headers(response), bytes(body))


def _pieces(response: requests.Response) -> Iterator[bytes]:
    """The body as it comes, unpacked, in pieces of at most `PIECE` bytes.

    Raises requests' errors, and BadAnswer where it is coded as was not asked for.
    """
    coding = response.headers.get("Content-Encoding", "identity").strip().lower()
    if coding not in ("gzip", "identity"):
        raise BadAnswer(f"the answer is coded as {coding[:40]!r}", status=response.status_code)
    try:
        pieces = response.raw.stream(PIECE, decode_content=False)
        yield from _unpacked(pieces) if coding == "gzip" else pieces
    except ProtocolError as error:
        raise requests.exceptions.ChunkedEncodingError(error) from error
    except zlib.error as error:
        raise requests.exceptions.ContentDecodingError(error) from error
    except (ReadTimeoutError, HTTPError) as error:
        raise requests.ConnectionError(error) from error


def _unpacked(pieces: Iterator[bytes]) -> Iterator[bytes]:
    member = zlib.decompressobj(zlib.MAX_WBITS + 16)
    for piece in pieces:
        while piece:
            yield member.decompress(piece, PIECE)
            piece = member.unconsumed_tail
    while not member.eof:
        block = member.decompress(b"", PIECE)
        if not block:
            raise zlib.error("the gzip breaks off before its end")
        yield block


def _check_size(size: int) -> None:
    if size > MAX_BYTES:
        raise BadAnswer(f"the answer has more than {MAX_BYTES:,} bytes")


def _headers(response: requests.Response) -> dict[str, str]:
    headers = {key.lower(): value for key, value in response.headers.items()}
    check_version(headers)
    return headers


def _translated(error: requests.RequestException, base_url: str) -> ShortwayClientError:
    """The error as one of the client's own."""
    told: ShortwayClientError
    if isinstance(error, requests.Timeout) or isinstance(_reason(error), ReadTimeoutError):
        told = TimedOut(f"no answer from {base_url} in time: {error}")
    elif isinstance(error, requests.ConnectionError):
        told = ConnectionFailed(f"cannot reach {base_url}: {_reason(error)}")
    elif isinstance(
        error, requests.exceptions.ChunkedEncodingError | requests.exceptions.ContentDecodingError
    ):
        told = BadAnswer(f"the answer broke off: {error}")
    else:
        told = ConnectionFailed(f"cannot ask {base_url}: {error}")
    told.__cause__ = error
    return told


def is_passing(error: ShortwayClientError) -> bool:
    """Whether the lines that an answer still lacked may be asked for again."""
    if getattr(error, "status", None) in RETRIED or isinstance(error, ConnectionFailed):
        return True
    return isinstance(error, BadAnswer) and isinstance(error.__cause__, requests.RequestException)


def _worth_repeating(outcome: Answer | ShortwayClientError, cut_before: bool) -> bool:
    if isinstance(outcome, Answer):
        return outcome.status in RETRIED and _OUT_OF_TIME not in outcome.body
    return _was_never_sent(outcome) or (_was_cut(outcome) and not cut_before)


def _was_never_sent(error: ShortwayClientError) -> bool:
    never = (requests.ConnectTimeout, NewConnectionError)
    return isinstance(error.__cause__, never) or isinstance(_reason(error.__cause__), never)


def _was_cut(outcome: Answer | ShortwayClientError) -> bool:
    """Whether the connection ended before the answer did."""
    if isinstance(outcome, BadAnswer):
        return isinstance(outcome.__cause__, requests.exceptions.ChunkedEncodingError)
    return isinstance(outcome, ConnectionFailed) and isinstance(
        _reason(outcome.__cause__), ProtocolError
    )


def _reason(error: BaseException | None) -> object:
    """What urllib3 raised beneath requests' error."""
    inner = error.args[0] if error is not None and error.args else None
    return getattr(inner, "reason", None) or inner
