"""What can go wrong between this client and the service.

::

    ShortwayClientError
    ├── ConnectionFailed     nobody answered: no such host, refused, cut off
    ├── TimedOut             connected or not, no answer in time
    ├── BadAnswer            an answer that is not the service's: HTML, half a document
    ├── OtherVersion         an answer of another version of the API than this client's
    └── Problem              the service said no, and why (problem+json)
        ├── Refused          4xx: the request has to change
        ├── RateLimited      429, when the retries are used up; `retry_after` in seconds
        └── Unavailable      503, when the retries are used up; `retry_after` in seconds
"""

from __future__ import annotations

from shortway_client.models import Fault, ProblemDetails


class ShortwayClientError(Exception):
    """Whatever a call may raise, wrong arguments of the caller's own apart."""


class ConnectionFailed(ShortwayClientError):
    """Nobody answered at the base URL."""


class TimedOut(ShortwayClientError):
    """No connection, or no answer, within the timeout."""


class BadAnswer(ShortwayClientError):
    """An answer that is not one of the service's; `excerpt` is how it begins.

    Attributes
    ----------
    status : int or None
        The HTTP status, where there was one.
    excerpt : str
        The first characters of the body.
    """

    def __init__(self, message: str, *, status: int | None = None, excerpt: str = "") -> None:
        super().__init__(f"{message}: {excerpt!r}" if excerpt else message)
        self.status = status
        self.excerpt = excerpt


class OtherVersion(ShortwayClientError):
    """The service speaks another version of the API: this client has to be renewed, or is too new.

    Attributes
    ----------
    version : str
        The service's, as its ``API-Version`` says.
    """

    def __init__(self, version: str, own: str) -> None:
        super().__init__(f"the service speaks version {version} of its API, this client {own}")
        self.version = version


def _told(details: ProblemDetails) -> str:
    """The detail and code, and of the first error its place and what was expected there."""
    said = f"{details.detail} ({details.code})"
    for fault in details.errors[:1]:
        at = "" if fault.position is None else f"character {fault.position} from 0"
        expected = f"expected {fault.expected}" if fault.expected else ""
        place = ", ".join(part for part in (fault.pointer, at, expected) if part)
        said += f": {place}" if place else ""
    return said


class Problem(ShortwayClientError):
    """The service refused or failed, and said why.

    Attributes
    ----------
    details : ProblemDetails
        The whole refusal; `status`, `code`, `title`, `detail` and `errors` are its own.
    request_id : str or None
        Quote it to whoever runs the service.
    retry_after : float or None
        Seconds after which to ask again, where the service named them.
    """

    def __init__(
        self,
        details: ProblemDetails,
        *,
        request_id: str | None = None,
        retry_after: float | None = None,
    ) -> None:
        super().__init__(_told(details))
        self.details = details
        self.request_id = request_id
        self.retry_after = retry_after

    @property
    def status(self) -> int:
        """The HTTP status."""
        return self.details.status

    @property
    def code(self) -> str:
        """The stable code, such as ``symbol-unreadable``."""
        return self.details.code

    @property
    def title(self) -> str:
        """What sort of problem it is."""
        return self.details.title

    @property
    def detail(self) -> str:
        """What is wrong, in a musician's words."""
        return self.details.detail

    @property
    def errors(self) -> tuple[Fault, ...]:
        """Each thing wrong, with its place and what was expected there."""
        return self.details.errors


class Refused(Problem):
    """The request has to change (4xx)."""


class RateLimited(Problem):
    """Too many requests (429), and the retries are used up."""


class Unavailable(Problem):
    """The service cannot answer now (503), and the retries are used up."""
