"""Deprecated calls: what their responses and the OpenAPI document say of them.

`DEPRECATED` is the switch: a row there, by operationId, marks the call in the document and adds
the headers of RFC 9745 (Deprecation) and RFC 8594 (Sunset) to its responses.
"""

from dataclasses import dataclass
from datetime import UTC, date, datetime, time
from typing import Final

from werkzeug.http import http_date

#: Where a header's link leads.
POLICY: Final = "/docs/versions"


@dataclass(frozen=True, slots=True)
class Deprecation:
    """A call that is to go.

    `since`: from when on it is deprecated. `sunset`: when it may stop answering; not before `since`
    (RFC 9745, section 4).
    """

    since: date
    sunset: date

    def headers(self) -> dict[str, str]:
        """The headers of a response.

        >>> for header in Deprecation(date(2027, 3, 1), date(2028, 3, 1)).headers().items():
        ...     print(*header)
        Deprecation @1803859200
        Sunset Wed, 01 Mar 2028 00:00:00 GMT
        Link </docs/versions>; rel="deprecation"; type="text/html"
        """
        return {
            "Deprecation": f"@{_seconds(self.since)}",
            "Sunset": http_date(_seconds(self.sunset)),
            "Link": f'<{POLICY}>; rel="deprecation"; type="text/html"',
        }


#: Deprecated calls by operationId; none today.
DEPRECATED: Final[dict[str, Deprecation]] = {}


def _seconds(day: date) -> int:
    return int(datetime.combine(day, time(), UTC).timestamp())
