"""Errors of the client; each code has a class of its own in `shortway_client.problems`."""

from __future__ import annotations

from functools import partial
from typing import Any

from shortway_client.models import Fault, ProblemDetails

__all__ = [
    "BadAnswer", "ConnectionFailed", "OtherVersion", "Problem", "RateLimited", "Refused",
    "ShortwayClientError", "TimedOut", "Unavailable",
]  # fmt: skip


class ShortwayClientError(Exception):
    """Whatever a call may raise, apart from errors about the caller's own arguments."""


class ConnectionFailed(ShortwayClientError):
    """No connection to the base URL: no such host, refused, cut off."""


class TimedOut(ShortwayClientError):
    """No connection, or no answer, within the timeout."""


class BadAnswer(ShortwayClientError):
    """An answer that is not the service's: `status`, if any, and the `excerpt` it begins with."""

    def __init__(self, message: str, *, status: int | None = None, excerpt: str = "") -> None:
        super().__init__(f"{message}: {excerpt!r}" if excerpt else message)
        self.status = status
        self.excerpt = excerpt


class OtherVersion(ShortwayClientError):
    """The service has another `version` of the API than this client."""

    def __init__(self, version: str, own: str) -> None:
        super().__init__(f"the service speaks version {version} of its API, this client {own}")
        self.version, self._own = version, own

    def __reduce__(self) -> tuple[Any, ...]:
        """Its arguments, so that it can be pickled."""
        return type(self), (self.version, self._own)


class Problem(ShortwayClientError):
    """The service rejected the request or failed, with a problem document (RFC 9457).

    Attributes
    ----------
    details : ProblemDetails
        The whole problem; `status`, `code`, `title`, `detail` and `errors` are its own.
    request_id : str or None
        For whoever runs the service.
    retry_after : float or None
        Seconds after which to ask again, where the service gives them.
    """

    def __init__(
        self,
        details: ProblemDetails,
        *,
        request_id: str | None = None,
        retry_after: float | None = None,
    ) -> None:
        super().__init__(_message(details))
        self.details, self.request_id, self.retry_after = details, request_id, retry_after
        self.status, self.code = details.status, details.code
        self.title, self.detail, self.errors = details.title, details.detail, details.errors

    def __reduce__(self) -> tuple[Any, ...]:
        """Its arguments, so that it can be pickled."""
        kind = partial(type(self), request_id=self.request_id, retry_after=self.retry_after)
        return kind, (self.details,)


class Refused(Problem):
    """The request has to change (4xx)."""


class RateLimited(Problem):
    """Too many requests (429), and the retries are used up; `retry_after` in seconds."""


class Unavailable(Problem):
    """The service cannot answer now (503), and the retries are used up."""


def _message(details: ProblemDetails) -> str:
    """The detail and code, and of the first error its place and what was expected there."""
    found = f"{details.detail} ({details.code})"
    return found + (f": {place}" if details.errors and (place := _place(details.errors[0])) else "")


def _place(fault: Fault) -> str:
    at = "" if fault.position is None else f"character {fault.position} from 0"
    expected = f"expected {fault.expected}" if fault.expected else ""
    return ", ".join(part for part in (fault.pointer, at, expected) if part)
