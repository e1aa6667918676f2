"""Sends requests over HTTP: one session, timeouts always on, retries that end.

Knows nothing of music. Every call of the service only computes, so a POST is retried like a GET:
when there was no connection, when it was cut before the end of the answer (once: it may have been
idle too long, or the process behind it died), and on 429, 502, 503 and 504, unless the request
itself takes too long.
"""

from __future__ import annotations

import random
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field

import requests
from urllib3.exceptions import NewConnectionError, ProtocolError, ReadTimeoutError

from shortway_client._wire import Answer, Request, check_version, refuse, retry_after
from shortway_client.errors import BadAnswer, ConnectionFailed, ShortwayClientError, TimedOut

Timeout = float | tuple[float, float]

OK = 200
_OUT_OF_TIME = b'"code":"out-of-time"'  # the same work would be given up again
RETRIED = frozenset({429, 502, 503, 504})
FIRST_WAIT = 0.2  # seconds before the first retry; each further wait is up to twice as long
LONGEST_WAIT = 20.0  # seconds of one wait, whatever Retry-After says
ALL_WAITS = 60.0  # seconds of all waits of one call


@dataclass
class Transport:
    """The session of one client; `timeout` is seconds to connect, and seconds between two reads.

    The token is sent with every request. Redirects are not followed, so nobody else gets it.
    """

    base_url: str
    timeout: tuple[float, float]
    retries: int
    session: requests.Session
    token: str | None = field(default=None, repr=False)
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

    def _attempt(self, request: Request) -> Answer | ShortwayClientError:
        try:
            response = self._ask(request)
        except requests.RequestException as error:
            return _translated(error, self.base_url)
        return Answer(response.status_code, _headers(response), response.content)

    def lines(self, request: Request) -> Iterator[bytes]:
        """The lines of a streamed answer as they come, in one attempt; half a line is none.

        Raises ShortwayClientError where no good answer came, or it broke off.
        """
        try:
            with self._ask(request, stream=True) as response:
                headers = _headers(response)
                if response.status_code != OK:
                    refuse(Answer(response.status_code, headers, response.content))
                held = b""
                for piece in response.iter_content(None):
                    *ended, held = (held + piece).split(b"\n")
                    yield from ended
        except requests.RequestException as error:
            raise _translated(error, self.base_url) from error

    def _ask(self, request: Request, *, stream: bool = False) -> requests.Response:
        return self.session.request(
            request.method,
            f"{self.base_url}/{request.path}",
            headers=dict(request.headers),
            data=request.body,
            timeout=self.timeout,
            auth=self._authorized if self.token else None,
            allow_redirects=False,
            stream=stream,
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
