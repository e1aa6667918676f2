"""Harte labels: text after the root's colon -> Quality and bass.

Knows qualities, notations and errors; the root is `shortway.core.symbols.parser`'s affair. Syntax
and shorthands of Harte, Sandler, Abdallah and Gómez, ISMIR 2005, with mir_eval's further
shorthands. ::

    label   = root ":" ( shorthand [ list ] | list ) [ "/" degree ]
    list    = "(" [ "*" ] degree { "," [ "*" ] degree } ")"      a "*" leaves the degree out
    degree  = { "b" | "#" } ( "1" .. "13" )
"""

import re
from typing import Final, NamedTuple

from shortway.core.errors import SymbolError
from shortway.core.symbols.grammar import read_suffix
from shortway.core.symbols.semantics import RANK
from shortway.core.theory.notations import HARTE_SHORTHANDS
from shortway.core.theory.pitch import NATURALS, note_above
from shortway.core.theory.qualities import Quality
from shortway.core.theory.quality_names import Degrees, quality_parts

_SHORTHANDS: Final = HARTE_SHORTHANDS | {
    "aug7": ("1", "3", "#5", "b7"),
    "maj11": ("1", "3", "5", "7", "9", "11"),
    "sus2": ("1", "2", "5"),
    "1": ("1",),
}
_EXTENSIONS: Final = frozenset({"9", "11", "13"})
_SEVENTHS: Final = frozenset({"b7", "7", "bb7"})
#: Degrees by Harte's names where ours differ; 2 and 4 depend on the third.
_SAME_AS: Final = {
    "8": "1", "10": "3", "b10": "b3", "12": "5", "b2": "b9", "#2": "#9", "#4": "#11", "b6": "b13",
}  # fmt: skip
_KNOWN: Final = frozenset({
    "1", "b3", "3", "b5", "5", "#5", "6", "bb7", "b7", "7", "b9", "9", "#9", "11", "#11", "b13",
    "13", "2", "4",
})  # fmt: skip
_SHORTHAND: Final = re.compile(r"[A-Za-z]*\d*")
_ITEM: Final = re.compile(r"\s*(\*?)\s*([b#]*(?:1[0-3]|[1-9]))(?!\d)\s*")
_BASS: Final = re.compile(r"([b#]*)(1[0-3]|[1-9])\Z")
_DEGREE: Final = "a degree, 1 to 13, with b or # before it"


class _Item(NamedTuple):
    """A degree of a list: as written, whether it is left out, and where it stands."""

    degree: str
    omitted: bool
    position: int


def read_harte(text: str, start: int, root: str) -> tuple[Quality, str | None]:
    """The quality and the bass of a label whose text after the colon begins at `start`.

    Raises SymbolError with the position in `text` and what was expected there.

    >>> quality, bass = read_harte("Bb:min7(*5)/b3", 3, "Bb")
    >>> quality.suffix, bass
    ('m7(no5)', 'Db')
    """
    match = _SHORTHAND.match(text, start)
    assert match is not None
    at = match.end()
    named = match[0]
    if named not in _SHORTHANDS and (named or text[at : at + 1] != "("):
        detail = f"{named!r} is not a Harte shorthand" if named else "nothing follows the colon"
        raise SymbolError.at("", detail, start, f"{', '.join(_SHORTHANDS)}, or degrees in ( )")
    items, at = _read_list(text, at) if text[at : at + 1] == "(" else ([], at)
    bass = _read_bass(text, at, root)
    return _quality(_SHORTHANDS.get(named, ("1",)), items, start), bass


def _read_list(text: str, opened: int) -> tuple[list[_Item], int]:
    """list = "(" … ")": its items, and the index after it."""
    items: list[_Item] = []
    at = opened + 1
    while match := _ITEM.match(text, at):
        degree = _SAME_AS.get(match[2], match[2])
        if degree not in _KNOWN:
            raise SymbolError.at("", f"no chord has the degree {match[2]}", match.start(2), _DEGREE)
        items.append(_Item(degree, bool(match[1]), match.start(2)))
        at = match.end()
        if text[at : at + 1] == ")":
            return items, at + 1
        if text[at : at + 1] != ",":
            break
        at += 1
    else:
        raise SymbolError.at("", "a degree is missing", at, _DEGREE)
    raise SymbolError.at("", "the list of degrees does not end here", at, ", or )")


def _read_bass(text: str, at: int, root: str) -> str | None:
    """[ "/" degree ], to the end of the label; None for the root."""
    rest = text[at:].rstrip()
    if not rest:
        return None
    match = _BASS.match(rest, 1)
    if rest[0] != "/":
        raise SymbolError.at("", f"cannot read {rest[0]!r} in a Harte label", at, "( or /")
    if match is None:
        raise SymbolError.at("", "the bass of a Harte label is a degree", at + 1, _DEGREE)
    signs, steps = match[1], (int(match[2]) - 1) % 7
    bass = note_above(root, steps, NATURALS[steps] + signs.count("#") - signs.count("b"))
    return None if bass == root else bass


def _quality(shorthand: Degrees, items: list[_Item], start: int) -> Quality:
    """What a shorthand's degrees and a list add up to."""
    degrees = list(shorthand)
    for item in items:
        if item.omitted and item.degree not in degrees[1:]:
            detail = f"{item.degree} cannot be left out: the chord does not have it"
            raise SymbolError.at("", detail, item.position, "a degree of the shorthand, not 1")
        if item.omitted:
            degrees.remove(item.degree)
        elif item.degree not in degrees:
            degrees.append(item.degree)
    named = {item.degree for item in items} | {*shorthand[-1:]}.intersection(_EXTENSIONS)
    quality = _settled(degrees, named) if len(degrees) > 1 else None
    if quality is None or not _reads_back(quality):
        detail = f"no chord symbol stands for the degrees {' '.join(degrees)}"
        raise SymbolError.at("", detail, start, "one third or suspension, one seventh or sixth")
    return quality


def _settled(degrees: list[str], named: set[str]) -> Quality:
    """Degrees in our names and order; `named` are those that the label writes.

    A 2 or 4 suspends where there is no third, else it is a 9 or an 11; beside a seventh a 6 is
    a 13.
    """
    third = next((d for d in ("3", "b3", "4", "2") if d in degrees), "")
    names = {"2": "9", "4": "11"} | ({"6": "13"} if _SEVENTHS.intersection(degrees) else {})
    rest = {names.get(d, d) for d in degrees if d not in ("1", third)}
    whole = (
        "1",
        *filter(None, ["9" if third == "2" else third]),
        *sorted(rest, key=RANK.__getitem__),
    )
    parts = quality_parts(whole)
    diminished = third == "b3" and parts.fifths == ("b5",) and "b7" not in parts.sevenths
    written = {names.get(d, d) for d in named}.intersection(parts.upper)
    if parts.fifths != ("5",) and (parts.sixth or not diminished):
        written.update(parts.fifths)
    if parts.sevenths == ("bb7", "7"):
        written.add("7")
    return Quality(whole, tuple(sorted(written, key=RANK.__getitem__)))


def _reads_back(quality: Quality) -> bool:
    try:
        return read_suffix(quality.suffix) == quality
    except SymbolError:
        return False
