"""The grammar of suffixes: text after the root -> Quality, one function per grammar line.

Knows the vocabulary, the draft and errors; roots, basses and N.C. are `shortway.core.symbols`'s
affair. Positions count from the start of the suffix.

::

    suffix     = [ "-" | "+" ] { item | separator }
    item       = major | triangle | minor | diminished | half | augmented | plus | dominant
               | number | altered | sus | add | no | alt
    separator  = space | "(" | ")" | "," | "/"

A number after a separator is added to what stands; before any, it is the extension. Where the
suffix ends in ``b`` or ``#`` its signs follow their numbers, otherwise they stand before them.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import lru_cache

from shortway.core.draft import Draft, settle
from shortway.core.labels import ALT_WRITTEN
from shortway.core.qualities import Quality
from shortway.core.vocabulary import (
    ENDS_IN_SIGN,
    LEADING,
    LOOK_ALIKES,
    TRAILING,
    VOCABULARY,
    Word,
    word,
)

#: Altered numbers that name a degree of another number; common practice.
_SAME_AS = {"b2": "b9", "#2": "#9", "#4": "#11", "b10": "#9"}
_ALTERATIONS = frozenset({"b5", "#5", "b9", "#9", "#11", "b13"})
_ALTERED_FIFTHS = frozenset({"b5", "#5"})
_ADDED = {"2": "9", "4": "11", "9": "9", "11": "11", "13": "13"}
_EXTENSIONS = frozenset({"7", "9", "11", "13"})
_EXPECTED = "maj, m, dim, aug, sus, add, no, alt, a number, or b or # with a number"


@lru_cache(maxsize=4096)
def read_suffix(text: str) -> Quality:
    """The quality that `text`, a symbol without root and bass, stands for.

    Raises
    ------
    SymbolError
        With the position in `text` and what was expected there.

    >>> read_suffix("mi7(b5)").degrees
    ('1', 'b3', 'b5', 'b7')
    """
    plain = text if text.isascii() else text.translate(LOOK_ALIKES)
    start = len(plain) - len(plain.lstrip(" "))
    sign = plain[start : start + 1]
    signed = sign in ("-", "+") and sign != ""
    trailing = plain[-1:] in ("b", "#", ")", "]", " ") and ENDS_IN_SIGN.search(plain) is not None
    start += signed
    draft = Draft((TRAILING if trailing else LEADING).findall(plain, start), start)
    draft.trailing = trailing
    if signed:
        _leading_sign(draft, sign)
    _read_pieces(draft)
    return settle(draft)


def _leading_sign(draft: Draft, sign: str) -> None:
    """``[ "-" | "+" ]``: directly after the root ``-`` is minor and ``+`` the raised fifth."""
    draft.signed = True
    if sign == "-":
        draft.family, draft.third = "minor", "b3"
    else:
        draft.family, draft.fifth = "augmented", "#5"


def _read_pieces(draft: Draft) -> None:
    """``{ item | separator }``"""
    pieces = draft.pieces
    at, end = 0, len(pieces)
    while at < end:
        found = VOCABULARY.get(pieces[at]) or word(pieces[at])
        if found is None:
            raise draft.fault(at, f"{pieces[at]!r} says nothing in a chord symbol", _EXPECTED)
        at = _LINES[found.kind](draft, at, found.value)
    if draft.depth:
        raise draft.fault(end, "a parenthesis is opened and not closed", ")")
    if pieces and pieces[-1] in ",;/":
        raise draft.fault(end, f"nothing follows the {pieces[-1]}", "a degree")


def _next(draft: Draft, at: int) -> tuple[int, Word]:
    """The piece at `at` or after spaces there; ``end`` past the last."""
    pieces = draft.pieces
    while at < len(pieces) and pieces[at] == " ":
        at += 1
    if at == len(pieces):
        return at, Word("end")
    return at, VOCABULARY.get(pieces[at]) or word(pieces[at]) or Word("unknown")


def _first(draft: Draft, at: int) -> bool:
    """Nothing that means anything stands before the piece at `at`."""
    return not draft.signed and (at == 0 or all(p in " ([" for p in draft.pieces[:at]))


def _need_first(draft: Draft, at: int) -> None:
    if not _first(draft, at):
        raise draft.fault(
            at, f"{draft.pieces[at]!r} must stand directly after the root", "degrees only"
        )


# Words ----------------------------------------------------------------------------------------


def _major(draft: Draft, at: int, _: str) -> int:
    """major = ( "maj" | "ma" | "M" ) [ "7" | "9" | "11" | "13" ] | "7" "M" """
    after, following = _next(draft, at + 1)
    if following.kind == "number" and following.value in _EXTENSIONS:
        _major_seventh(draft, at, int(following.value))
        return after + 1
    if at and draft.pieces[at - 1] == "7" and draft.seventh == "b7" and draft.extension == 7:
        draft.seventh = "7"
        return at + 1
    if not _first(draft, at):
        raise draft.fault(after, "maj here needs its seventh", "7, 9, 11 or 13")
    draft.family = "major"
    return at + 1


def _major_seventh(draft: Draft, at: int, extension: int) -> None:
    """The seventh becomes major: of the triad so far, or of the 9, 11 or 13 written before."""
    if draft.seventh == "bb7" and extension == 7 and draft.added.get("7") is None:
        draft.added["7"] = at
    elif draft.extension > 7 and extension == 7 and draft.seventh == "b7" and _may_be_major(draft):
        draft.seventh = "7"
    elif draft.extension or draft.family in ("half-diminished", "power"):
        raise draft.fault(at, "the symbol has a seventh already, or can have none", "other degrees")
    else:
        draft.extension, draft.seventh = extension, "7"
        if draft.six:
            draft.six = False
            _add_degree(draft, at, "13")


def _may_be_major(draft: Draft) -> bool:
    return draft.family != "half-diminished"


def _triangle(draft: Draft, at: int, _: str) -> int:
    """triangle = "Δ" [ "7" | "9" | "11" | "13" ]; alone it is the major seventh"""
    following = draft.pieces[at + 1] if at + 1 < len(draft.pieces) else ""
    if following in _EXTENSIONS:
        _major_seventh(draft, at, int(following))
        return at + 2
    if following == "6":
        raise draft.fault(at + 1, "the triangle is a major seventh, not a 6", "6 without triangle")
    _major_seventh(draft, at, 7)
    return at + 1


def _minor(draft: Draft, at: int, _: str) -> int:
    """minor = "m" | "mi" | "min" """
    _need_first(draft, at)
    draft.family, draft.third = "minor", "b3"
    return at + 1


def _diminished(draft: Draft, at: int, _: str) -> int:
    """diminished = "dim" | "o" | "°"; a number after it brings the diminished seventh"""
    _need_first(draft, at)
    draft.family, draft.third, draft.fifth = "diminished", "b3", "b5"
    return at + 1


def _half_diminished(draft: Draft, at: int, _: str) -> int:
    """half = "ø" [ "7" | "9" | "11" | "13" ]"""
    _need_first(draft, at)
    draft.family, draft.third, draft.fifth = "half-diminished", "b3", "b5"
    draft.seventh, draft.extension = "b7", 7
    after, following = _next(draft, at + 1)
    if following.kind == "number" and following.value in _EXTENSIONS:
        draft.extension = int(following.value)
        return after + 1
    return at + 1


def _augmented(draft: Draft, at: int, _: str) -> int:
    """augmented = "aug", before or after the seventh"""
    if not _first(draft, at):
        return _plus(draft, at, "")
    draft.family, draft.fifth = "augmented", "#5"
    return at + 1


def _plus(draft: Draft, at: int, _: str) -> int:
    """plus = "+" with no number after it: the raised fifth"""
    if _first(draft, at):
        draft.family, draft.fifth = "augmented", "#5"
        return at + 1
    return _altered(draft, at, "#5")


def _dominant(draft: Draft, at: int, _: str) -> int:
    """dominant = "dom" ( "7" | "9" | "11" | "13" )"""
    _need_first(draft, at)
    after, following = _next(draft, at + 1)
    if following.kind != "number" or following.value not in _EXTENSIONS:
        raise draft.fault(after, "dom needs its number", "7, 9, 11 or 13")
    draft.extension, draft.seventh, draft.family = int(following.value), "b7", "dominant"
    return after + 1


# Numbers --------------------------------------------------------------------------------------


def _number(draft: Draft, at: int, value: str) -> int:
    """number = "5" | "6" | "7" | "9" | "11" | "13" | "2" """
    if value in _EXTENSIONS and not draft.extension and not draft.stacked and not draft.six:
        return _extension(draft, at, value)
    if value == "5":
        return _five(draft, at)
    if value == "6":
        return _six(draft, at)
    if value in _EXTENSIONS:
        return _stacked_number(draft, at, value)
    if value == "2" and _first(draft, at):
        _add_degree(draft, at, "9")
        return at + 1
    raise draft.fault(at, *_not_alone(value))


def _not_alone(value: str) -> tuple[str, str]:
    if value == "4":
        return "a bare 4 can be read two ways: suspended, or added to the triad", "sus4 or add4"
    return f"{value} cannot stand alone", f"add{value}, sus{value}, or another degree"


def _extension(draft: Draft, at: int, value: str) -> int:
    """extension = "7" | "9" | "11" | "13" before any separator"""
    if draft.family == "power" or (draft.family == "diminished" and value == "13"):
        raise draft.fault(at, f"{value} does not go with what stands before it", "add9, or nothing")
    draft.extension = int(value)
    draft.seventh = "b7"
    if draft.family == "diminished":
        draft.seventh = "bb7"
    elif draft.family == "major":
        draft.seventh = "7"
    return at + 1


def _five(draft: Draft, at: int) -> int:
    """five = "5": the power chord; "5+" and "5-" in a stack are alterations"""
    sign = draft.pieces[at + 1] if at + 1 < len(draft.pieces) else ""
    if sign in ("+", "-") and sign:
        _altered(draft, at, "#5" if sign == "+" else "b5")
        return at + 2
    if not _first(draft, at) or draft.stacked:
        raise draft.fault(at, "a chord has its 5 without saying so", "b5, #5 or no5")
    draft.family = "power"
    return at + 1


def _six(draft: Draft, at: int) -> int:
    """six = "6": the sixth of a triad; after "7", the 13"""
    if draft.extension:
        return _six_on_seventh(draft, at)
    if draft.six or draft.family in ("power", "diminished", "augmented"):
        raise draft.fault(at, "the 6 does not go with what stands before it", "add13, or no 6")
    _refuse_stroke(draft, at, "6")
    draft.six = True
    return at + 1


def _six_on_seventh(draft: Draft, at: int) -> int:
    if not draft.stacked or draft.extension == 9:
        raise draft.fault(
            at,
            f"6 after {draft.extension} can be read two ways: a 6/9 chord, or an added 13",
            "6/9, or add13",
        )
    _add_degree(draft, at, "13")
    return at + 1


def _stacked_number(draft: Draft, at: int, value: str) -> int:
    """stacked = "9" | "11" | "13" added to what stands; "7" where there is none yet"""
    if value == "7":
        return _stacked_seven(draft, at)
    sign = draft.pieces[at + 1] if at + 1 < len(draft.pieces) else ""
    if draft.stacked and sign in ("+", "-") and sign:
        return _sign_after(draft, at, value, sign)
    if not draft.extension and not draft.six:
        _refuse_open_triad(draft, at, value)
    if draft.six and value == "13":
        raise draft.fault(at, "the 13 is the 6, which is there already", "9 or 11")
    if int(value) < draft.extension and not draft.stacked:
        raise draft.fault(at, f"{value} stands after {draft.extension}", "the lower number first")
    if not draft.six:
        draft.loose = at
    _add_degree(draft, at, value)
    return at + 1


def _stacked_seven(draft: Draft, at: int) -> int:
    if draft.extension or draft.family == "power" or not draft.stacked:
        raise draft.fault(at, "the 7 does not go with what stands before it", "another degree")
    _refuse_stroke(draft, at, "7")
    draft.stacked = ""
    if draft.six:
        draft.six = False
        _add_degree(draft, at, "13")
    return _extension(draft, at, "7")


def _sign_after(draft: Draft, at: int, value: str, sign: str) -> int:
    """``(9-)`` is b9; ``(9+)`` may be #9 or 9 and #5"""
    if sign == "+":
        raise draft.fault(
            at + 1,
            f"{value}+ can be read two ways: #{value}, or {value} with a raised fifth",
            f"#{value} or {value},#5",
        )
    _altered(draft, at, "b" + value)
    return at + 2


def _refuse_open_triad(draft: Draft, at: int, value: str) -> None:
    """A 13, or a 9 after "maj", in parentheses on a triad: added, or with the seventh?"""
    _refuse_stroke(draft, at, value)
    if value == "13" or draft.family == "major":
        start = "maj" if draft.family == "major" else ""
        raise draft.fault(
            at,
            f"({value}) on a triad can be read two ways: {start}{value}, or added {value}",
            f"{start}{value} or add{value}",
        )


def _refuse_stroke(draft: Draft, at: int, value: str) -> None:
    if draft.stacked == "/" and not draft.extension and not draft.six:
        raise draft.fault(
            at, f"{value} under a stroke on a triad can be read two ways", f"{value} or add{value}"
        )


# Signs ----------------------------------------------------------------------------------------


def _altered(draft: Draft, at: int, value: str) -> int:
    """altered = ( "b" | "#" | "+" | "-" ) ( "5" | "9" | "11" | "13" )"""
    if draft.loose >= 0 and draft.loose == at - 1:
        raise _two_readings(draft, at, value)
    if value not in _ALTERATIONS:
        return _altered_otherwise(draft, at, value)
    if draft.alt:
        return _within_alt(draft, at, value)
    if value == draft.fifth:
        return _fifth_again(draft, at)
    if draft.trailing and value not in _ALTERED_FIFTHS and not draft.extension and not draft.six:
        raise draft.fault(
            at,
            f"{draft.pieces[at]} with no seventh before it can be read two ways",
            f"7{draft.pieces[at]}, or add{value}",
        )
    _once(draft, at, value)
    draft.altered[value] = at
    return at + 1


def _altered_otherwise(draft: Draft, at: int, value: str) -> int:
    """Other numbers with a sign: b6 b10 #4 by their usual names, #7 on a minor chord"""
    piece = draft.pieces[at]
    if piece[0] not in "+-" and value in _SAME_AS:
        return _altered(draft, at, _SAME_AS[value])
    if piece[0] not in "+-" and value == "b6":
        _add_degree(draft, at, "b13")
        return at + 1
    if value == "#7" and draft.third == "b3" and not draft.extension:
        if piece[0] == "+":
            raise draft.fault(
                at, "+7 here can be read two ways: m(maj7), or m7 with a raised fifth",
                "(maj7) or 7#5",
            )  # fmt: skip
        _major_seventh(draft, at, 7)
        return at + 1
    raise draft.fault(at, _no_such(draft, value), "b5 #5 b9 #9 #11 b13")


def _no_such(draft: Draft, value: str) -> str:
    if draft.trailing:
        return (
            f"{value} is no degree of a chord; as the symbol ends in a sign, every sign belongs "
            "to the number before it"
        )
    return f"{value} is no degree of a chord"


def _two_readings(draft: Draft, at: int, value: str) -> Exception:
    before, piece = draft.pieces[at - 1], draft.pieces[at]
    sign, after = piece[0], piece[1:]
    return draft.fault(
        at,
        f"{before}{piece} can be read two ways: {before} and {sign}{after}, "
        f"or {sign}{before} and {after}",
        f"({before},{sign}{after}) or ({sign}{before},{after})",
    )


def _within_alt(draft: Draft, at: int, value: str) -> int:
    if value not in ALT_WRITTEN and value not in _ALTERED_FIFTHS:
        raise draft.fault(at, "alt alters this degree already", "nothing after alt")
    return at + 1


def _fifth_again(draft: Draft, at: int) -> int:
    """The word says the fifth already: ``ø7(b5)`` and ``aug7(#5)`` say it again, no harm"""
    if draft.signed or draft.pieces[at] == "+":
        raise draft.fault(at, "the raised fifth is written twice", "another degree")
    return at + 1


def _once(draft: Draft, at: int, degree: str) -> None:
    if degree in draft.altered or degree in draft.added or degree == str(draft.extension):
        raise draft.fault(at, f"{degree} is written twice", "each degree once")


def _add_degree(draft: Draft, at: int, degree: str) -> None:
    _once(draft, at, degree)
    draft.added[degree] = at


# sus, add, no, alt ----------------------------------------------------------------------------


def _sus(draft: Draft, at: int, _: str) -> int:
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


def _add(draft: Draft, at: int, _: str) -> int:
    """add = "add" ( degree | "maj7" )"""
    after, following = _opened(draft, at + 1)
    value = following.value
    if following.kind == "major":
        return _major(draft, after, "")
    if following.kind == "number" and value in _ADDED:
        _add_natural(draft, after, _ADDED[value])
    elif following.kind == "number" and value == "6":
        _add_six(draft, after)
    elif following.kind == "number" and value == "3" and draft.sus:
        draft.third_too = True
    elif following.kind == "altered" and _addable(value):
        _add_degree(draft, after, _addable(value))
    else:
        raise draft.fault(
            after, "add needs a degree that the chord has not got", "9, 11, 13, 6, b9, #9, #11, b13"
        )
    return after + 1


def _addable(value: str) -> str:
    """The degree that an altered number after ``add`` means, or ``""``."""
    degree = {"b6": "b13", **_SAME_AS}.get(value, value)
    return degree if degree in _ALTERATIONS and degree not in _ALTERED_FIFTHS else ""


def _add_natural(draft: Draft, at: int, degree: str) -> None:
    if draft.six and degree == "13":
        raise draft.fault(at, "the 13 is the 6, which is there already", "9 or 11")
    _add_degree(draft, at, degree)


def _add_six(draft: Draft, at: int) -> None:
    if draft.extension:
        _add_natural(draft, at, "13")
    elif draft.six or draft.family in ("power", "diminished", "augmented"):
        raise draft.fault(at, "the 6 does not go with what stands before it", "add13, or no 6")
    else:
        draft.six = True


def _no(draft: Draft, at: int, _: str) -> int:
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
    after, following = _next(draft, at)
    if following.kind == "open":
        draft.depth += 1
        return _next(draft, after + 1)
    return after, following


def _alt(draft: Draft, at: int, _: str) -> int:
    """alt = [ "7" ] "alt" """
    if not _first(draft, at) and not _bare_seven(draft):
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


# Separators -----------------------------------------------------------------------------------


def _space(draft: Draft, at: int, _: str) -> int:
    """space = " ", anywhere"""
    return at + 1


def _open(draft: Draft, at: int, _: str) -> int:
    """open = "(" """
    draft.depth += 1
    draft.stacked = "("
    return at + 1


def _close(draft: Draft, at: int, _: str) -> int:
    """close = ")" """
    if draft.depth == 0:
        raise draft.fault(at, "a parenthesis is closed and was not opened", "( before it")
    if draft.pieces[at - 1] in "([,;/":
        raise draft.fault(at, "nothing stands in the parentheses", "a degree")
    draft.depth -= 1
    draft.stacked = ""
    return at + 1


def _comma(draft: Draft, at: int, _: str) -> int:
    """comma = "," between degrees"""
    return _between(draft, at, ",")


def _stroke(draft: Draft, at: int, _: str) -> int:
    """stroke = "/" between degrees, as in 6/9; before a note name it would be the bass"""
    return _between(draft, at, "/")


def _between(draft: Draft, at: int, sign: str) -> int:
    if draft.pieces[at - 1] in "([,;/":
        raise draft.fault(at, f"nothing stands before the {sign}", "a degree")
    if draft.stacked != "(" or not draft.depth:
        draft.stacked = sign
    return at + 1


def _lone_sign(draft: Draft, at: int, _: str) -> int:
    """A sign without its number; "-" may join "m" and "maj7" """
    if (
        draft.pieces[at] == "-"
        and draft.family == "minor"
        and _next(draft, at + 1)[1].kind
        in (
            "major",
            "triangle",
        )
    ):
        return at + 1
    raise draft.fault(at, f"{draft.pieces[at]} has no number", "5, 9, 11 or 13 with its sign")


_LINES: dict[str, Callable[[Draft, int, str], int]] = {
    "major": _major,
    "triangle": _triangle,
    "minor": _minor,
    "diminished": _diminished,
    "half_diminished": _half_diminished,
    "augmented": _augmented,
    "plus": _plus,
    "dominant": _dominant,
    "number": _number,
    "altered": _altered,
    "sus": _sus,
    "add": _add,
    "no": _no,
    "alt": _alt,
    "open": _open,
    "close": _close,
    "comma": _comma,
    "stroke": _stroke,
    "space": _space,
    "lone_sign": _lone_sign,
}
