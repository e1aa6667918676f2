"""The words and signs of chord symbols: tables, and the one pattern that cuts a suffix into them.

Knows no grammar: which word may stand where is `symbols.grammar`'s affair. Spellings are
common practice, no source, but for those of research corpora (``^ j h %``).
"""

import re
from typing import NamedTuple

#: Look-alikes, one character for one, so that positions stay what they were.
LOOK_ALIKES = str.maketrans(
    {
        **dict.fromkeys("♭", "b"),
        **dict.fromkeys("♯＃", "#"),
        **dict.fromkeys("∆△▵", "Δ"),
        **dict.fromkeys("º˚ᵒο○◦⁰", "°"),
        **dict.fromkeys("Ø∅⌀", "ø"),
        **dict.fromkeys("−–—‐‑⁻", "-"),
        **dict.fromkeys("＋⁺", "+"),
        **dict.fromkeys("\u00a0\u2009\u202f\t", " "),
        **dict.fromkeys("（⁽", "("),
        **dict.fromkeys("）⁾", ")"),
        **dict.fromkeys("∕⁄", "/"),
        **{superscript: str(digit) for digit, superscript in enumerate("¹²³⁴⁵⁶⁷⁸⁹", start=1)},
    }
)

#: Roots and basses: a letter and what may stand directly after it.
ACCIDENTALS = {
    "b": "b", "♭": "b", "bb": "bb", "♭♭": "bb", "𝄫": "bb",
    "#": "#", "♯": "#", "##": "##", "♯♯": "##", "𝄪": "##",
}  # fmt: skip
NOTE = r"([A-G])(bb|♭♭|𝄫|##|♯♯|𝄪|[b♭#♯])?"

#: ``N`` and ``X``, no chord and an unknown one, are Harte's and mir_eval's.
NO_CHORD = re.compile(r"\s*(?:n\.? ?c\.?|no ?chord|(?-i:[NX]))\s*", re.IGNORECASE)


class Word(NamedTuple):
    """What one piece of a suffix is: its `kind` names the grammar line that reads it."""

    kind: str
    value: str = ""


_WORDS: dict[str, Word] = {
    **dict.fromkeys(("maj", "major", "ma", "M"), Word("major")),
    **dict.fromkeys(("Δ", "^", "j"), Word("triangle")),
    **dict.fromkeys(("min", "minor", "mi", "m"), Word("minor")),
    **dict.fromkeys(("dim", "diminished", "°", "o"), Word("diminished")),
    **dict.fromkeys(("ø", "h", "%", "hdim", "halfdim"), Word("half_diminished")),
    **dict.fromkeys(("half-dim", "half dim"), Word("half_diminished")),
    **dict.fromkeys(("half-diminished", "half diminished"), Word("half_diminished")),
    **dict.fromkeys(("aug", "augmented"), Word("augmented")),
    "+": Word("plus"),
    **dict.fromkeys(("dom", "dominant"), Word("dominant")),
    **dict.fromkeys(("sus", "suspended"), Word("sus")),
    "add": Word("add"),
    **dict.fromkeys(("no", "omit"), Word("no")),
    **dict.fromkeys(("alt", "altered"), Word("alt")),
    **dict.fromkeys("([", Word("open")),
    **dict.fromkeys(")]", Word("close")),
    ",": Word("comma", ","),
    ";": Word("comma", ","),
    "/": Word("stroke", "/"),
    " ": Word("space"),
    **dict.fromkeys("b#-", Word("lone_sign")),
}

_NUMBERS = ("13", "11", "10", "9", "7", "6", "5", "4", "3", "2")
_SIGNS = {
    "b": "b", "-": "b", "flat": "b", "flat ": "b",
    "#": "#", "+": "#", "sharp": "#", "sharp ": "#",
}  # fmt: skip

VOCABULARY: dict[str, Word] = (
    _WORDS
    | {number: Word("number", number) for number in _NUMBERS}
    | {
        number + ordinal: Word("number", number)
        for number in _NUMBERS
        for ordinal in ("rd", "nd", "th")
    }
    | {
        sign + number: Word("altered", meant + number)
        for sign, meant in _SIGNS.items()
        for number in _NUMBERS
    }
    | {number + sign: Word("altered", sign + number) for number in _NUMBERS for sign in "b#"}
)

_NUMBER = r"(?:1[013]|[2-79])"
_LETTERS = (
    r"(?:[Mm]aj(?:or)?|MAJ(?:OR)?|[Mm]in(?:or)?|MIN(?:OR)?"
    r"|M[Ii]|mi|ma(?!dd)|M[Aa](?![Dd][Dd])"
    r"|(?i:dominant|dom|diminished|dim|augmented|aug|suspended|sus|add|omit|no(?!r)|altered|alt"
    r"|half[- ]?dim(?:inished)?|hdim)|[mMhjo])\.?"
)
#: Signs before their numbers, the usual way.
LEADING = re.compile(
    rf"{_LETTERS}|(?:[b#+-]|(?i:flat|sharp) ?)?{_NUMBER}(?:rd|nd|th)?|.", re.DOTALL
)
#: Signs after their numbers: a symbol that ends in one of them.
TRAILING = re.compile(rf"{_LETTERS}|[+-]?{_NUMBER}(?!\d)[b#]?|{_NUMBER}|.", re.DOTALL)
#: What makes signs stand after their numbers: the last one does, parentheses apart.
ENDS_IN_SIGN = re.compile(r"\d[b#][)\]\s]*\Z")


def classify_word(piece: str) -> Word | None:
    """What `piece` is, in whichever case and with or without a full stop."""
    bare = piece.rstrip(".")
    return VOCABULARY.get(bare) or (VOCABULARY.get(bare.lower()) if len(bare) > 1 else None)
