"""What is asked for, in which shares: the table `MIX`, and the bytes of a request.

Knows the service's calls, and no network. Charts come from the book (tests/bench/book.py).
"""

from __future__ import annotations

import json
import random
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Any
from urllib.parse import quote

from bench import book
from support import tunes

MIDI = "audio/midi"
MUSICXML = "application/vnd.recordare.musicxml+xml"
SVG = "image/svg+xml"


@dataclass(frozen=True, slots=True)
class Ask:
    """A request before it is bytes."""

    path: str
    body: Any = None
    accept: str = "application/json"

    def encoded(self) -> bytes:
        """As it goes over the wire."""
        body = b"" if self.body is None else json.dumps(self.body).encode()
        head = f"{'POST' if body else 'GET'} {self.path} HTTP/1.1\r\nHost: load\r\n"
        head += f"Accept: {self.accept}\r\n"
        if body:
            head += f"Content-Type: application/json\r\nContent-Length: {len(body)}\r\n"
        return head.encode() + b"\r\n" + body


@dataclass(frozen=True, slots=True)
class Kind:
    """A row of the mix: its name, requests in a hundred, and how one is drawn."""

    name: str
    share: float
    make: Callable[[book.Book], Ask]


def symbol(draw: random.Random) -> str:
    """A chord as charts have them."""
    return next(tunes.progression(draw))


def _chords_get(book_: book.Book) -> Ask:
    return Ask(f"/v1/chords?symbol={quote(symbol(book_.draw))}")


def _chords(book_: book.Book) -> Ask:
    return Ask("/v1/chords", {"symbols": [symbol(book_.draw) for _ in range(16)]})


def _voicings(book_: book.Book) -> Ask:
    return Ask("/v1/voicings", {"symbol": symbol(book_.draw), "limit": 20})


def _chart(book_: book.Book) -> Ask:
    return Ask("/v1/charts", book.request(book_.wish())["chart"])


def _path(**more: Any) -> Callable[[book.Book], Ask]:
    return lambda book_: Ask("/v1/paths", book.request(book_.wish()) | more)


def _score(accept: str, **more: Any) -> Callable[[book.Book], Ask]:
    return lambda book_: Ask("/v1/scores", book.request(book_.wish()) | more, accept)


def _picture(picture: str) -> Callable[[book.Book], Ask]:
    return _score(SVG, show={"picture": picture})


def _review(book_: book.Book) -> Ask:
    chart = book.request(book_.wish())["chart"]
    steps = sum(1 for word in chart.split() if word != "|")
    played = [sorted(book_.draw.sample(range(52, 77), 4)) for _ in range(steps)]
    return Ask("/v1/reviews", {"chart": chart, "played": played})


MIX: tuple[Kind, ...] = (
    Kind("one chord", 10, _chords_get),
    Kind("16 chords", 5, _chords),
    Kind("voicings", 12, _voicings),
    Kind("chart", 5, _chart),
    Kind("path", 35, _path()),
    Kind("path, loop", 10, _path(loop=True)),
    Kind("MIDI file", 6, _score(MIDI)),
    Kind("MusicXML", 5, _score(MUSICXML)),
    Kind("picture: lines", 2, _picture("lines")),
    Kind("picture: keyboards", 2, _picture("keyboards")),
    Kind("picture: staff", 2, _picture("staff")),
    Kind("review", 6, _review),
)


def drawn(seed: int) -> Iterator[tuple[int, bytes]]:
    """Requests without end: a kind's place in `MIX`, and the bytes."""
    book_ = book.Book(seed)
    places, shares = range(len(MIX)), [kind.share for kind in MIX]
    while True:
        place = book_.draw.choices(places, shares)[0]
        yield place, MIX[place].make(book_).encoded()
