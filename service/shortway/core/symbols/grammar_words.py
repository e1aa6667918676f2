"""Grammar lines for words: the triad's name, its major seventh, sus, add, no, alt.

Knows the draft and the number lines. Each function reads the piece at index `at` of a draft and
what belongs to it, and returns the index after that.
"""

from __future__ import annotations

from shortway.core.symbols.grammar_numbers import (
    ALTERATIONS,
    ALTERED_FIFTHS,
    EXTENSIONS,
    SAME_AS,
    altered,
    major_seventh,
)
from shortway.core.symbols.lexicon import Word
from shortway.core.symbols.parse_state import Draft

_ADDED = {"2": "9", "4": "11", "9": "9", "11": "11", "13": "13"}


def major(draft: Draft, at: int, _: str) -> int:
    """major = ( "maj" | "ma" | "M" ) [ "7" | "9" | "11" | "13" ] | "7" "M" """
    after, following = draft.next(at + 1)
    if following.kind == "number" and following.value in EXTENSIONS:
        major_seventh(draft, at, int(following.value))
        return after + 1
    if draft.extension == 7 and draft.pieces[at - 1] == "7" and draft.fifth != "b5":
        draft.seventh = "7"
        return at + 1
    if not draft.is_first(at):
        raise draft.fault(after, "maj here needs its seventh", "7, 9, 11 or 13")
    draft.family = "major"
    return at + 1


def triangle(draft: Draft, at: int, _: str) -> int:
    """triangle = "Δ" [ "7" | "9" | "11" | "13" ]; alone it is the major seventh"""
    following = draft.after(at)
    if draft.pieces[at] == "j" and at and draft.pieces[at - 1] == "m":
        raise draft.fault(at, "mj can be read two ways: maj, or minor with j", "maj7 or m(maj7)")
    if following in EXTENSIONS:
        major_seventh(draft, at, int(following))
        return at + 2
    if following == "6":
        raise draft.fault(at + 1, "the triangle is a major seventh, not a 6", "6 without triangle")
    major_seventh(draft, at, 7)
    return at + 1


def minor(draft: Draft, at: int, _: str) -> int:
    """minor = "m" | "mi" | "min" """
    draft.need_first(at)
    draft.family, draft.third = "minor", "b3"
    return at + 1


def diminished(draft: Draft, at: int, _: str) -> int:
    """diminished = "dim" | "o" | "°"; a number after it brings the diminished seventh"""
    draft.need_first(at)
    draft.family, draft.third, draft.fifth = "diminished", "b3", "b5"
    return at + 1


def half_diminished(draft: Draft, at: int, _: str) -> int:
    """half = "ø" [ "7" | "9" | "11" | "13" ]"""
    draft.need_first(at)
    draft.family, draft.third, draft.fifth = "half-diminished", "b3", "b5"
    draft.seventh, draft.extension = "b7", 7
    after, following = draft.next(at + 1)
    if following.kind == "number" and following.value in EXTENSIONS:
        draft.extension = int(following.value)
        return after + 1
    return at + 1


def augmented(draft: Draft, at: int, _: str) -> int:
    """augmented = "aug", before or after the seventh"""
    if not draft.is_first(at):
        return plus(draft, at, "")
    draft.family, draft.fifth = "augmented", "#5"
    return at + 1


def plus(draft: Draft, at: int, _: str) -> int:
    """plus = "+" with no number after it: the raised fifth"""
    if draft.is_first(at):
        draft.family, draft.fifth = "augmented", "#5"
        return at + 1
    return altered(draft, at, "#5")


def dominant(draft: Draft, at: int, _: str) -> int:
    """dominant = "dom" ( "7" | "9" | "11" | "13" )"""
    draft.need_first(at)
    after, following = draft.next(at + 1)
    if following.kind != "number" or following.value not in EXTENSIONS:
        raise draft.fault(after, "dom needs its number", "7, 9, 11 or 13")
    draft.extension, draft.seventh, draft.family = int(following.value), "b7", "dominant"
    return after + 1


def sus(draft: Draft, at: int, _: str) -> int:
    """sus = "sus" [ "4" | "2" | "24" | "2/4" ]"""
    if draft.alt or draft.family in ("diminished", "half-diminished", "power"):
        raise draft.fault(at, "sus does not go with what stands before it", "degrees only")
    numbers, after = _suspended(draft, at + 1)
    wanted = {*(numbers or "4"), *draft.sus}
    if draft.sus and wanted == {*draft.sus}:
        raise draft.fault(at, "sus is written twice", "each once")
    draft.sus = "".join(sorted(wanted))
    return after


def _suspended(draft: Draft, at: int) -> tuple[str, int]:
    """The 2 and 4 from `at` on, with or without a stroke between, and the index after them."""
    pieces = draft.pieces
    numbers = ""
    while at < len(pieces) and len(numbers) < 2:
        skip = numbers != "" and pieces[at] in ("/", ",") and at + 1 < len(pieces)
        if pieces[at + skip] not in ("2", "4") or pieces[at + skip] in numbers:
            break
        numbers += pieces[at + skip]
        at += 1 + skip
    if not numbers and pieces[at : at + 3] in (["(", "4", ")"], ["(", "2", ")"]):
        return pieces[at + 1], at + 3
    return numbers, at


def add(draft: Draft, at: int, _: str) -> int:
    """add = "add" ( degree | "maj7" )"""
    after, following = _opened(draft, at + 1)
    value = following.value
    if following.kind == "major":
        return major(draft, after, "")
    if following.kind == "number" and value in _ADDED:
        add_natural(draft, after, _ADDED[value])
    elif following.kind == "number" and value == "6":
        _add_six(draft, after)
    elif following.kind == "number" and value == "3" and draft.sus:
        draft.third_too = True
    elif following.kind == "altered" and _addable(value):
        draft.add(after, _addable(value))
    else:
        raise draft.fault(
            after, "add needs a degree that the chord has not got", "9, 11, 13, 6, b9, #9, #11, b13"
        )
    return after + 1


def _addable(value: str) -> str:
    """The degree that an altered number after ``add`` means, or ``""``."""
    degree = {"b6": "b13", **SAME_AS}.get(value, value)
    return degree if degree in ALTERATIONS and degree not in ALTERED_FIFTHS else ""


def add_natural(draft: Draft, at: int, degree: str) -> None:
    if draft.six and degree == "13":
        raise draft.fault(at, "the 13 is the 6, which is there already", "9 or 11")
    draft.add(at, degree)


def _add_six(draft: Draft, at: int) -> None:
    if draft.extension:
        add_natural(draft, at, "13")
    elif draft.six or draft.family in ("power", "diminished", "augmented"):
        raise draft.fault(at, "the 6 does not go with what stands before it", "add13, or no 6")
    else:
        draft.six = True


def no(draft: Draft, at: int, _: str) -> int:
    """no = ( "no" | "omit" ) ( "3" | "5" | "7" | "9" | "11" | "13" )"""
    after, following = _opened(draft, at + 1)
    if following.kind != "number":
        raise draft.fault(after, "no needs the degree that is left out", "3, 5, 9 or 11")
    if following.value in draft.omitted:
        raise draft.fault(after, f"no{following.value} is written twice", "each degree once")
    draft.omitted[following.value] = after
    return after + 1


def _opened(draft: Draft, at: int) -> tuple[int, Word]:
    """The next piece, a parenthesis before it being opened."""
    after, following = draft.next(at)
    if following.kind == "open":
        draft.depth += 1
        return draft.next(after + 1)
    return after, following


def alt(draft: Draft, at: int, _: str) -> int:
    """alt = [ "7" ] "alt" """
    if not draft.is_first(at) and not _bare_seven(draft):
        raise draft.fault(at, "alt alters a plain 7", "7alt alone")
    draft.alt, draft.extension = True, 7
    return at + 1


def _bare_seven(draft: Draft) -> bool:
    modified = draft.altered or draft.added or draft.omitted or draft.sus
    return (
        draft.extension == 7
        and draft.seventh == "b7"
        and not modified
        and draft.third == "3"
        and draft.fifth == "5"
    )
