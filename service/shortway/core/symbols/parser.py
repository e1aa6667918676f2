"""Chord symbols: text -> Chord. The one door to the reader.

Knows the grammars of suffixes and of Harte labels, and the chord. ::

    symbol     = no-chord | root suffix [ "/" bass ] | root ":" label
    root, bass = "A".."G" [ "b" | "#" | "bb" | "##" ]

A sign directly after the root's letter belongs to the root: ``Ab5`` is a power chord on A flat,
``A(b5)`` a triad with a flat five. ``Abb5`` could be either and is refused.
"""

from __future__ import annotations

import re
from functools import lru_cache

from shortway.core.errors import SymbolError
from shortway.core.symbols.grammar import read_suffix
from shortway.core.symbols.harte import read_harte
from shortway.core.symbols.lexicon import ACCIDENTALS, NO_CHORD, NOTE
from shortway.core.theory.chord import Chord
from shortway.core.theory.qualities import NO_CHORD as NO_QUALITY

#: Longer symbols are refused unread; the longest sensible ones have about 30 characters.
MAX_LENGTH = 64

_ROOT = re.compile(rf"\s*{NOTE}")
_BASS = re.compile(rf"\s*{NOTE}\s*\Z")
_DIGIT_AFTER_DOUBLE = re.compile(r"(?:bb|♭♭|##|♯♯)(5|9|11|13)(?!\d)")
_ROOTS = "a root: a capital letter A to G, with b or # if need be"


def parse(text: str) -> Chord:
    """Read one chord symbol.

    `text`: a symbol as written on a lead sheet, ASCII or Unicode, at most `MAX_LENGTH` characters.

    Returns
    -------
    Chord
        For ``N.C.`` one without root and tones.

    Raises
    ------
    SymbolError
        It cannot be read or can be read two ways; the fault has the position in `text`, from 0, and
        what was expected there. Nothing is guessed.

    >>> parse("Abm7b5/Gb").name, [tone.note for tone in parse("Abm7b5/Gb").tones]
    ('Abm7b5/Gb', ['Ab', 'Cb', 'Ebb', 'Gb'])
    >>> parse("C-Δ9").name, parse("G:7(b9,*5)/3").name, parse("N.C.").root
    ('Cm(maj9)', 'G7b9(no5)/B', None)
    """
    if not isinstance(text, str):
        raise SymbolError.at("", "a chord symbol must be text", None, "text such as Ebmaj7")
    if len(text) > MAX_LENGTH:
        detail = f"the symbol is too long: {len(text)} characters"
        raise SymbolError.at("", detail, MAX_LENGTH, f"at most {MAX_LENGTH} characters")
    return _remembered(text)


def parse_at(text: str, position: int) -> Chord:
    """As `parse`, for a symbol that stands at `position` of a longer text.

    Raises SymbolError with the position in the longer text.
    """
    try:
        return parse(text)
    except SymbolError as error:
        raise error.shifted(position) from None


@lru_cache(maxsize=4096)
def _remembered(text: str) -> Chord:
    match = _ROOT.match(text)
    if match is None:
        return _no_chord(text)
    letter, sign = match.groups()
    start = match.end()
    if sign is None:
        root = letter
    else:
        root = letter + ACCIDENTALS[sign]
        if len(root) == 3:
            _refuse_doubled_sign(text, match.start(2))
    if text[start : start + 1] == ":":
        quality, bass = read_harte(text, start + 1, root)
        return Chord(text, root, bass, quality)
    stroke = text.rfind("/")
    end, bass = (len(text), None) if stroke < 0 else _read_bass(text, stroke)
    try:
        return Chord(text, root, bass, read_suffix(text[start:end]))
    except SymbolError as error:
        raise error.shifted(start) from None


def _read_bass(text: str, stroke: int) -> tuple[int, str | None]:
    """``[ "/" bass ]``: where the suffix ends, and the bass; 6/9 has none."""
    match = _BASS.match(text, stroke + 1)
    if match is None:
        _refuse_small_letter(text, stroke + 1)
        return len(text), None
    letter, sign = match.groups()
    return stroke, letter + (ACCIDENTALS[sign] if sign else "")


def _refuse_small_letter(text: str, at: int) -> None:
    if re.fullmatch(r"\s*[a-g][b#♭♯]?\s*", text[at:]):
        raise SymbolError.at(
            "", f"a bass note requires a capital letter: {text[at:].strip()!r}", at, "A to G"
        )


def _no_chord(text: str) -> Chord:
    """``no-chord``: N.C., NC and their like."""
    if NO_CHORD.fullmatch(text):
        return Chord(text, None, None, NO_QUALITY)
    blank = len(text) - len(text.lstrip())
    first = text[blank : blank + 1]
    if not first:
        raise SymbolError.at("", "the chord symbol is empty", blank, _ROOTS)
    detail = f"a chord symbol cannot begin with {first!r}"
    if first in "abcdefg":
        detail = f"a root requires a capital letter: {first.upper()}, not {first}"
    elif first == "H":
        detail = "H is not read as a root; the note below C is B"
    raise SymbolError.at("", detail, blank, _ROOTS + ", or N.C.")


def _refuse_doubled_sign(text: str, at: int) -> None:
    """``Abb5``: A flat with a flat five, or a power chord on A double flat?"""
    match = _DIGIT_AFTER_DOUBLE.match(text, at)
    if match is None:
        return
    note, sign, number = text[at - 1], ACCIDENTALS[text[at : at + 2]][0], match[1]
    unmistakable = "(no3)" if number == "5" else f"dom{number}"
    raise SymbolError.at(
        "",
        f"{note}{sign}{sign}{number} can be read two ways: {note}{sign} with {sign}{number}, "
        f"or {number} on {note}{sign}{sign}",
        at + 1,
        f"{note}{sign}({sign}{number}) or {note}{sign}{sign}{unmistakable}",
    )
