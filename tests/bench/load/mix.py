"""What is asked for, in which shares: the table `MIX`, and the bytes of a request.

Knows the service's calls, and no network. Charts come from the book (tests/bench/book.py).
"""

from __future__ import annotations

import json
import random
from collections.abc import Callable, Hashable, Iterator
from dataclasses import dataclass, replace
from itertools import accumulate
from typing import Any
from urllib.parse import quote

from bench import book
from support import tunes

MIDI = "audio/midi"
MUSICXML = "application/vnd.recordare.musicxml+xml"
SVG = "image/svg+xml"


@dataclass(frozen=True, slots=True)
class Ask:
    """A request before it is bytes.

    Attributes
    ----------
    key : hashable
        What the answer depends on, beside the kind; None where no answer is kept.
    body : callable, optional
        Makes the value of the body; without it, it is a GET.
    """

    path: str
    key: Hashable = None
    body: Callable[[], Any] | None = None
    accept: str = "application/json"

    def encoded(self) -> bytes:
        """As it goes over the wire."""
        body = json.dumps(self.body()).encode() if self.body else b""
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
    symbols = tuple(symbol(book_.draw) for _ in range(16))
    return Ask("/v1/chords", symbols, lambda: {"symbols": symbols})


def _voicings(book_: book.Book) -> Ask:
    chord = symbol(book_.draw)
    return Ask("/v1/voicings", chord, lambda: {"symbol": chord, "limit": 20})


def _chart(book_: book.Book) -> Ask:
    wish = replace(book_.wish(), preset=None)
    return Ask("/v1/charts", wish, lambda: book.request(wish)["chart"])


def _with_path(address: str, accept: str, **more: Any) -> Callable[[book.Book], Ask]:
    def make(book_: book.Book) -> Ask:
        wish = book_.wish()
        return Ask(address, wish, lambda: book.request(wish) | more, accept)

    return make


def _path(**more: Any) -> Callable[[book.Book], Ask]:
    return _with_path("/v1/paths", "application/json", **more)


def _score(accept: str, **more: Any) -> Callable[[book.Book], Ask]:
    return _with_path("/v1/scores", accept, **more)


def _picture(picture: str) -> Callable[[book.Book], Ask]:
    return _score(SVG, show={"picture": picture})


def _review(book_: book.Book) -> Ask:
    """What was played differs every time; four notes anywhere in the middle, at every step."""
    wish, draw = book_.wish(), random.Random(book_.draw.random())

    def body() -> Any:
        chart = book.request(wish)["chart"]
        steps = sum(word != "|" for word in chart["text"].split())
        played = [sorted(draw.sample(range(52, 77), 4)) for _ in range(steps)]
        return {"chart": chart, "played": played}

    return Ask("/v1/reviews", None, body)


MIX: tuple[Kind, ...] = (
    Kind("one chord", 10, _chords_get),
    Kind("16 chords", 5, _chords),
    Kind("voicings", 12, _voicings),
    Kind("chart", 5, _chart),
    Kind("path", 33, _path()),
    Kind("path, loop", 10, _path(loop=True)),
    Kind("MIDI file", 6, _score(MIDI)),
    Kind("MusicXML", 5, _score(MUSICXML)),
    Kind("picture: lines", 2, _picture("lines")),
    Kind("picture: keyboards", 2, _picture("keyboards")),
    Kind("picture: staff", 2, _picture("staff")),
    Kind("review", 6, _review),
    Kind("exercise, 12 keys", 2, _with_path("/v1/exercises", "application/json")),
)


def asked(book_: book.Book) -> Iterator[tuple[int, Ask]]:
    """Requests without end, each with its kind's place in `MIX`."""
    places, shares = range(len(MIX)), list(accumulate(kind.share for kind in MIX))
    while True:
        place = book_.draw.choices(places, cum_weights=shares)[0]
        yield place, MIX[place].make(book_)


def drawn(seed: int) -> Iterator[tuple[int, bytes]]:
    """The same as bytes."""
    return ((place, ask.encoded()) for place, ask in asked(book.Book(seed)))
