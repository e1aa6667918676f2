"""The grammar of suffixes: text after the root -> Quality, one function per grammar line.

Knows the vocabulary, the state and the lines for words and numbers; roots, basses and N.C. are
`shortway.core.symbols.parser`'s affair. Positions count from the start of the suffix.

::

    suffix     = [ "-" | "+" ] { item | separator }
    item       = major | triangle | minor | diminished | half | augmented | plus | dominant
               | number | altered | sus | add | no | alt
    separator  = space | "(" | ")" | "," | "/"

A number after a separator is added to what stands; before any, it is the extension. Where the
suffix ends in ``b`` or ``#`` its signs follow their numbers, otherwise they stand before them.
"""

from collections.abc import Callable
from functools import lru_cache

from shortway.core.symbols import grammar_numbers as numbers
from shortway.core.symbols import grammar_words as words
from shortway.core.symbols.lexicon import (
    ENDS_IN_SIGN,
    LEADING,
    LOOK_ALIKES,
    TRAILING,
    VOCABULARY,
    classify_word,
)
from shortway.core.symbols.parse_state import ParseState
from shortway.core.symbols.semantics import interpret
from shortway.core.theory.qualities import Quality

_EXPECTED = "maj, m, dim, aug, sus, add, no, alt, a number, or b or # with a number"


@lru_cache(maxsize=4096)
def read_suffix(text: str) -> Quality:
    """The quality that `text`, a symbol without root and bass, stands for.

    Raises SymbolError with the position in `text` and what was expected there.

    >>> read_suffix("mi7(b5)").degrees
    ('1', 'b3', 'b5', 'b7')
    """
    plain = text if text.isascii() else text.translate(LOOK_ALIKES)
    start = len(plain) - len(plain.lstrip(" "))
    sign = plain[start : start + 1]
    signed = sign in ("-", "+") and sign != ""
    trailing = plain[-1:] in ("b", "#", ")", "]", " ") and ENDS_IN_SIGN.search(plain) is not None
    start += signed
    state = ParseState((TRAILING if trailing else LEADING).findall(plain, start), start)
    state.trailing = trailing
    if signed:
        _leading_sign(state, sign)
    _read_pieces(state)
    return interpret(state)


def _leading_sign(state: ParseState, sign: str) -> None:
    """``[ "-" | "+" ]``: directly after the root ``-`` is minor and ``+`` the raised fifth."""
    state.signed = True
    if sign == "-":
        state.family, state.third = "minor", "b3"
    else:
        state.family, state.fifth = "augmented", "#5"


def _read_pieces(state: ParseState) -> None:
    """``{ item | separator }``"""
    pieces = state.pieces
    at, end = 0, len(pieces)
    while at < end:
        found = VOCABULARY.get(pieces[at]) or classify_word(pieces[at])
        if found is None:
            raise state.fault(at, f"cannot read {pieces[at]!r} in a chord symbol", _EXPECTED)
        at = _LINES[found.kind](state, at, found.value)
    if state.depth:
        raise state.fault(end, "the parenthesis is not closed", ")")
    if pieces and pieces[-1] in ",;/":
        raise state.fault(end, f"nothing follows the {pieces[-1]}", "a degree")


def _space(state: ParseState, at: int, _: str) -> int:
    """space = " ", anywhere"""
    return at + 1


def _open(state: ParseState, at: int, _: str) -> int:
    """open = "(" """
    state.depth += 1
    state.stacked = "("
    return at + 1


def _close(state: ParseState, at: int, _: str) -> int:
    """close = ")" """
    if state.depth == 0:
        raise state.fault(at, "the parenthesis was not opened", "( before it")
    if state.pieces[at - 1] in "([,;/":
        raise state.fault(at, "the parentheses are empty", "a degree")
    state.depth -= 1
    state.stacked = ""
    return at + 1


def _between(state: ParseState, at: int, sign: str) -> int:
    """comma = "," and stroke = "/" between degrees; "/" before a note name would be the bass"""
    if state.pieces[at - 1] in "([,;/":
        raise state.fault(at, f"nothing comes before the {sign}", "a degree")
    if state.stacked != "(" or not state.depth:
        state.stacked = sign
    return at + 1


def _lone_sign(state: ParseState, at: int, _: str) -> int:
    """A sign without its number; "-" may join "m" and "maj7" """
    if (
        state.pieces[at] == "-"
        and state.family == "minor"
        and state.next(at + 1)[1].kind in ("major", "triangle")
    ):
        return at + 1
    raise state.fault(at, f"{state.pieces[at]} has no number", "5, 9, 11 or 13 with its sign")


_LINES: dict[str, Callable[[ParseState, int, str], int]] = {
    "major": words.read_major,
    "triangle": words.read_triangle,
    "minor": words.read_minor,
    "diminished": words.read_diminished,
    "half_diminished": words.read_half_diminished,
    "augmented": words.read_augmented,
    "plus": words.read_plus,
    "dominant": words.read_dominant,
    "number": numbers.read_number,
    "altered": numbers.read_altered,
    "sus": words.read_sus,
    "add": words.read_add,
    "no": words.read_no,
    "alt": words.read_alt,
    "open": _open,
    "close": _close,
    "comma": _between,
    "stroke": _between,
    "space": _space,
    "lone_sign": _lone_sign,
}
