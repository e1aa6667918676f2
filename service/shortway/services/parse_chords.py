"""Chord symbols read, one or many.

Knows the core's parser; a symbol that cannot be read does not stop the others.
"""

from collections.abc import Iterable, Iterator

from shortway.core.errors import SymbolError
from shortway.core.symbols.parser import parse
from shortway.core.theory.chord import Chord
from shortway.request_trace import PARSE, phase


def parse_chord(symbol: str, pointer: str = "/symbol") -> Chord:
    """The chord of a symbol, which stands at `pointer` of the request. Raises SymbolError."""
    try:
        with phase(PARSE):
            return parse(symbol)
    except SymbolError as error:
        raise error.under(pointer) from None


def parse_chords(symbols: Iterable[str]) -> Iterator[tuple[str, Chord | SymbolError]]:
    """Each symbol with its chord, or with the error that says why it cannot be read.

    >>> [type(found).__name__ for _, found in parse_chords(["Eb7", "Xm7"])]
    ['Chord', 'SymbolError']
    """
    for index, symbol in enumerate(symbols):
        try:
            yield symbol, parse_chord(symbol, f"/symbols/{index}")
        except SymbolError as error:
            yield symbol, error
