"""Grammar lines for numbers, bare and with signs.

Knows the draft. Each function reads the piece at index `at` of a draft and what belongs to it,
and returns the index after that.
"""

from __future__ import annotations

from shortway.core.symbols.parse_state import Draft
from shortway.core.theory.quality_names import ALT_WRITTEN

#: Altered numbers that name a degree of another number; common practice.
SAME_AS = {"b2": "b9", "#2": "#9", "#4": "#11", "b10": "#9"}
ALTERATIONS = frozenset({"b5", "#5", "b9", "#9", "#11", "b13"})
ALTERED_FIFTHS = frozenset({"b5", "#5"})
EXTENSIONS = frozenset({"7", "9", "11", "13"})
_SUSPENDED = frozenset({"2", "4"})


def number(draft: Draft, at: int, value: str) -> int:
    """number = "5" | "6" | "7" | "9" | "11" | "13" | "2" """
    if value in EXTENSIONS and not draft.extension and not draft.stacked and not draft.six:
        return _extension(draft, at, value)
    if value == "5":
        return _five(draft, at)
    if value == "6":
        return _six(draft, at)
    if value in EXTENSIONS:
        return _stacked_number(draft, at, value)
    if value == "2" and draft.is_first(at):
        draft.add(at, "9")
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
    late = draft.added or draft.altered or draft.omitted
    if late or (at and draft.pieces[at - 1] in _SUSPENDED):
        raise draft.fault(at, f"the {value} stands after what is built on it", "the number first")
    draft.extension = int(value)
    draft.seventh = "b7"
    if draft.family == "diminished":
        draft.seventh = "bb7"
    elif draft.family == "major":
        draft.seventh = "7"
    return at + 1


def _five(draft: Draft, at: int) -> int:
    """five = "5": the power chord; "5+" and "5-" in a stack are alterations"""
    sign = draft.after(at)
    if draft.signed and at == 0 and draft.family == "augmented":
        return 1  # "+5": the sign and the number say the same
    if sign in ("+", "-"):
        altered(draft, at, "#5" if sign == "+" else "b5")
        return at + 2
    if not draft.is_first(at) or draft.stacked:
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
    draft.add(at, "13")
    return at + 1


def _stacked_number(draft: Draft, at: int, value: str) -> int:
    """stacked = "9" | "11" | "13" added to what stands; "7" where there is none yet"""
    if value == "7":
        return _stacked_seven(draft, at)
    sign = draft.after(at)
    if draft.stacked and sign in ("+", "-"):
        return _sign_after(draft, at, value, sign)
    if not draft.extension and not draft.six:
        _refuse_open_triad(draft, at, value)
    if draft.six and value == "11" and not draft.stacked:
        raise draft.fault(at, "11 directly after 6 is unclear", "(11) or add11")
    if draft.six and value == "13":
        raise draft.fault(at, "the 13 is the 6, which is there already", "9 or 11")
    if int(value) < draft.extension and not draft.stacked:
        raise draft.fault(at, f"{value} stands after {draft.extension}", "the lower number first")
    if not draft.six:
        draft.loose = at
    draft.add(at, value)
    return at + 1


def _stacked_seven(draft: Draft, at: int) -> int:
    if draft.alt and draft.pieces[at - 1].lower().startswith("alt"):
        return at + 1
    if draft.extension or draft.family == "power" or not (draft.stacked or draft.six):
        raise draft.fault(at, "the 7 does not go with what stands before it", "another degree")
    _refuse_stroke(draft, at, "7")
    draft.stacked = ""
    after = _extension(draft, at, "7")
    if draft.six:
        draft.six = False
        draft.add(at, "13")
    return after


def _sign_after(draft: Draft, at: int, value: str, sign: str) -> int:
    """``(9-)`` is b9; ``(9+)`` may be #9 or 9 and #5"""
    if sign == "+":
        raise draft.fault(
            at + 1,
            f"{value}+ can be read two ways: #{value}, or {value} with a raised fifth",
            f"#{value} or {value},#5",
        )
    altered(draft, at, "b" + value)
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


def altered(draft: Draft, at: int, value: str) -> int:
    """altered = ( "b" | "#" | "+" | "-" ) ( "5" | "9" | "11" | "13" )"""
    if draft.loose >= 0 and draft.loose == at - 1:
        raise _two_readings(draft, at, value)
    if value not in ALTERATIONS:
        return _altered_otherwise(draft, at, value)
    if draft.alt:
        return _within_alt(draft, at, value)
    if draft.family == "power":
        raise draft.fault(at, f"a power chord has no {value}", f"add{value}, or a triad")
    if value == draft.fifth:
        return _fifth_again(draft, at)
    if value == "#5" and draft.fifth == "b5":
        raise draft.fault(at, "a diminished chord has a b5, not a #5", "b13, or another third")
    if draft.trailing and value not in ALTERED_FIFTHS and not draft.extension and not draft.six:
        raise draft.fault(
            at,
            f"{draft.pieces[at]} with no seventh before it can be read two ways",
            f"7{draft.pieces[at]}, or add{value}",
        )
    draft.once(at, value)
    draft.altered[value] = at
    return at + 1


def _altered_otherwise(draft: Draft, at: int, value: str) -> int:
    """Other numbers with a sign: b6 b10 #4 by their usual names, #7 on a minor chord"""
    piece = draft.pieces[at]
    if value in SAME_AS and (piece[0] not in "+-" or value == "#4"):
        return altered(draft, at, SAME_AS[value])
    if piece[0] not in "+-" and value == "b6" and not draft.trailing:
        draft.add(at, "b13")
        return at + 1
    if value == "#7" and draft.third == "b3" and not draft.extension and not draft.trailing:
        if piece[0] == "+":
            raise draft.fault(
                at, "+7 here can be read two ways: m(maj7), or m7 with a raised fifth",
                "(maj7) or 7#5",
            )  # fmt: skip
        major_seventh(draft, at, 7)
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
    if value not in ALT_WRITTEN and value not in ALTERED_FIFTHS:
        raise draft.fault(at, "alt alters this degree already", "nothing after alt")
    return at + 1


def _fifth_again(draft: Draft, at: int) -> int:
    """The word says the fifth already: ``ø7(b5)`` and ``aug7(#5)`` say it again, no harm"""
    if draft.signed or draft.pieces[at][-1] not in "5b#-+" or draft.pieces[at] == "+":
        raise draft.fault(at, "the raised fifth is written twice", "another degree")
    return at + 1


def major_seventh(draft: Draft, at: int, extension: int) -> None:
    """The seventh becomes major: of the triad so far, or of the 9, 11 or 13 written before."""
    if draft.seventh == "bb7" and draft.extension == extension == 7 and "7" not in draft.added:
        draft.added["7"] = at
    elif draft.family == "half-diminished" or draft.seventh in ("7", "bb7"):
        raise draft.fault(at, "the symbol has its seventh already", "other degrees")
    elif draft.extension > 7 and extension == 7:
        draft.seventh = "7"
    elif draft.extension or draft.family in ("half-diminished", "power"):
        raise draft.fault(at, "the symbol has a seventh already, or can have none", "other degrees")
    else:
        draft.extension, draft.seventh = extension, "7"
        if draft.six:
            draft.six = False
            draft.add(at, "13")
