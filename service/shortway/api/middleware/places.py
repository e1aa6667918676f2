"""Places for batches: a limit of concurrent batches in each process.

Knows HTTP and no noun. A batch holds a thread for as long as its client likes; without a limit a
few of them would hold all threads.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from threading import BoundedSemaphore
from typing import Final

from flask import Flask, Response, current_app

from shortway.api.http.problems import RequestError

_EXTENSION: Final = "shortway-batch-places"
#: Seconds after which to retry: a window of the client's is done by then.
RETRY_AFTER: Final = 1


def init_places(app: Flask) -> None:
    """Give `app` its places."""
    app.extensions[_EXTENSION] = BoundedSemaphore(app.config["MOST_BATCHES"])


class Place:
    """One batch's place, released once, however often `release` is called."""

    def __init__(self, places: BoundedSemaphore) -> None:
        self._places: BoundedSemaphore | None = places

    def release(self) -> None:
        """Release the place."""
        places, self._places = self._places, None
        if places is not None:
            places.release()


def held(answers: Iterator[bytes], respond: Callable[[Iterator[bytes]], Response]) -> Response:
    """The response to a batch, which holds a place until it is sent or its client disconnects.

    Raises
    ------
    RequestError
        All places are taken (503).
    """
    place = _taken()
    response = respond(_until_the_end(answers, place))
    response.call_on_close(place.release)
    return response


def _taken() -> Place:
    places: BoundedSemaphore = current_app.extensions[_EXTENSION]
    if places.acquire(blocking=False):
        return Place(places)
    most = current_app.config["MOST_BATCHES"]
    detail = f"{most} batches are under way in this process, which is the limit"
    raise RequestError("unavailable", detail, headers={"Retry-After": str(RETRY_AFTER)})


def _until_the_end(answers: Iterator[bytes], place: Place) -> Iterator[bytes]:
    try:
        yield from answers
    finally:
        place.release()
