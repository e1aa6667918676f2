"""Grammar lines for numbers, bare and with signs.

Knows the state. Each function reads the piece at index `at` of a state and what belongs to it,
and returns the index after that.
"""

from shortway.core.symbols.parse_state import ParseState
from shortway.core.theory.quality_names import ALT_WRITTEN

#: Altered numbers that name a degree of another number; common practice.
SAME_AS = {"b2": "b9", "#2": "#9", "#4": "#11", "b10": "#9"}
ALTERATIONS = frozenset({"b5", "#5", "b9", "#9", "#11", "b13"})
ALTERED_FIFTHS = frozenset({"b5", "#5"})
EXTENSIONS = frozenset({"7", "9", "11", "13"})
_SUSPENDED = frozenset({"2", "4"})


def read_number(state: ParseState, at: int, value: str) -> int:
    """number = "5" | "6" | "7" | "9" | "11" | "13" | "2"

    Raises SymbolError.
    """
    if value in EXTENSIONS and not state.extension and not state.stacked and not state.six:
        return _extension(state, at, value)
    if value == "5":
        return _five(state, at)
    if value == "6":
        return _six(state, at)
    if value in EXTENSIONS:
        return _stacked_number(state, at, value)
    if value == "2" and state.is_first(at):
        state.add(at, "9")
        return at + 1
    raise state.fault(at, *_not_alone(value))


def _not_alone(value: str) -> tuple[str, str]:
    if value == "4":
        return "a bare 4 can be read two ways: suspended, or added to the triad", "sus4 or add4"
    return f"{value} cannot stand alone", f"add{value}, sus{value}, or another degree"


def _extension(state: ParseState, at: int, value: str) -> int:
    """extension = "7" | "9" | "11" | "13" before any separator"""
    if state.family == "power" or (state.family == "diminished" and value == "13"):
        raise state.fault(at, f"{value} does not fit what comes before it", "add9, or nothing")
    late = state.added or state.altered or state.omitted
    if late or (at and state.pieces[at - 1] in _SUSPENDED):
        raise state.fault(at, f"the {value} must come before additions", "the number first")
    state.extension = int(value)
    state.seventh = "b7"
    if state.family == "diminished":
        state.seventh = "bb7"
    elif state.family == "major":
        state.seventh = "7"
    return at + 1


def _five(state: ParseState, at: int) -> int:
    """five = "5": the power chord; "5+" and "5-" in a stack are alterations"""
    sign = state.after(at)
    if state.signed and at == 0 and state.family == "augmented":
        return 1  # "+5": the sign and the number say the same
    if sign in ("+", "-"):
        read_altered(state, at, "#5" if sign == "+" else "b5")
        return at + 2
    if not state.is_first(at) or state.stacked:
        raise state.fault(at, "a plain 5 is implied", "b5, #5 or no5")
    state.family = "power"
    return at + 1


def _six(state: ParseState, at: int) -> int:
    """six = "6": the sixth of a triad; after "7", the 13"""
    if state.extension:
        return _six_on_seventh(state, at)
    if state.six or state.family in ("power", "diminished", "augmented"):
        raise state.fault(at, "the 6 does not fit what comes before it", "add13, or no 6")
    _refuse_stroke(state, at, "6")
    state.six = True
    return at + 1


def _six_on_seventh(state: ParseState, at: int) -> int:
    if not state.stacked or state.extension == 9:
        raise state.fault(
            at,
            f"6 after {state.extension} can be read two ways: a 6/9 chord, or an added 13",
            "6/9, or add13",
        )
    state.add(at, "13")
    return at + 1


def _stacked_number(state: ParseState, at: int, value: str) -> int:
    """stacked = "9" | "11" | "13" added to what stands; "7" where there is none yet"""
    if value == "7":
        return _stacked_seven(state, at)
    sign = state.after(at)
    if state.stacked and sign in ("+", "-"):
        return _sign_after(state, at, value, sign)
    if not state.extension and not state.six:
        _refuse_open_triad(state, at, value)
    if state.six and value == "11" and not state.stacked:
        raise state.fault(at, "11 directly after 6 is unclear", "(11) or add11")
    if state.six and value == "13":
        raise state.fault(at, "the 13 repeats the 6", "9 or 11")
    if int(value) < state.extension and not state.stacked:
        raise state.fault(at, f"{value} comes after {state.extension}", "the lower number first")
    if not state.six:
        state.loose = at
    state.add(at, value)
    return at + 1


def _stacked_seven(state: ParseState, at: int) -> int:
    if state.alt and state.pieces[at - 1].lower().startswith("alt"):
        return at + 1
    if state.extension or state.family == "power" or not (state.stacked or state.six):
        raise state.fault(at, "the 7 does not fit what comes before it", "another degree")
    _refuse_stroke(state, at, "7")
    state.stacked = ""
    after = _extension(state, at, "7")
    if state.six:
        state.six = False
        state.add(at, "13")
    return after


def _sign_after(state: ParseState, at: int, value: str, sign: str) -> int:
    """``(9-)`` is b9; ``(9+)`` may be #9 or 9 and #5"""
    if sign == "+":
        raise state.fault(
            at + 1,
            f"{value}+ can be read two ways: #{value}, or {value} with a raised fifth",
            f"#{value} or {value},#5",
        )
    read_altered(state, at, "b" + value)
    return at + 2


def _refuse_open_triad(state: ParseState, at: int, value: str) -> None:
    """A 13, or a 9 after "maj", in parentheses on a triad: added, or with the seventh?"""
    _refuse_stroke(state, at, value)
    if value == "13" or state.family == "major":
        start = "maj" if state.family == "major" else ""
        raise state.fault(
            at,
            f"({value}) on a triad can be read two ways: {start}{value}, or added {value}",
            f"{start}{value} or add{value}",
        )


def _refuse_stroke(state: ParseState, at: int, value: str) -> None:
    if state.stacked == "/" and not state.extension and not state.six:
        raise state.fault(
            at, f"{value} after / on a triad can be read two ways", f"{value} or add{value}"
        )


def read_altered(state: ParseState, at: int, value: str) -> int:
    """altered = ( "b" | "#" | "+" | "-" ) ( "5" | "9" | "11" | "13" )

    Raises SymbolError.
    """
    if state.loose >= 0 and state.loose == at - 1:
        raise _two_readings(state, at)
    if value not in ALTERATIONS:
        return _altered_otherwise(state, at, value)
    if state.alt:
        return _within_alt(state, at, value)
    if state.family == "power":
        raise state.fault(at, f"a power chord has no {value}", f"add{value}, or a triad")
    if value == state.fifth:
        return _fifth_again(state, at)
    if value == "#5" and state.fifth == "b5":
        raise state.fault(at, "a diminished chord has a b5, not a #5", "b13, or another third")
    if state.trailing and value not in ALTERED_FIFTHS and not state.extension and not state.six:
        raise state.fault(
            at,
            f"{state.pieces[at]} with no seventh before it can be read two ways",
            f"7{state.pieces[at]}, or add{value}",
        )
    state.once(at, value)
    state.altered[value] = at
    return at + 1


def _altered_otherwise(state: ParseState, at: int, value: str) -> int:
    """Other numbers with a sign: b6 b10 #4 by their usual names, #7 on a minor chord"""
    piece = state.pieces[at]
    if value in SAME_AS and (piece[0] not in "+-" or value == "#4"):
        return read_altered(state, at, SAME_AS[value])
    if piece[0] not in "+-" and value == "b6" and not state.trailing:
        state.add(at, "b13")
        return at + 1
    if value == "#7" and state.third == "b3" and not state.extension and not state.trailing:
        if piece[0] == "+":
            raise state.fault(
                at, "+7 here can be read two ways: m(maj7), or m7 with a raised fifth",
                "(maj7) or 7#5",
            )  # fmt: skip
        add_major_seventh(state, at, 7)
        return at + 1
    raise state.fault(at, _no_such(state, value), "b5 #5 b9 #9 #11 b13")


def _no_such(state: ParseState, value: str) -> str:
    if state.trailing:
        return (
            f"{value} is no degree of a chord; as the symbol ends in a sign, every sign belongs "
            "to the number before it"
        )
    return f"{value} is no degree of a chord"


def _two_readings(state: ParseState, at: int) -> Exception:
    before, piece = state.pieces[at - 1], state.pieces[at]
    sign, after = piece[0], piece[1:]
    return state.fault(
        at,
        f"{before}{piece} can be read two ways: {before} and {sign}{after}, "
        f"or {sign}{before} and {after}",
        f"({before},{sign}{after}) or ({sign}{before},{after})",
    )


def _within_alt(state: ParseState, at: int, value: str) -> int:
    if value not in ALT_WRITTEN and value not in ALTERED_FIFTHS:
        raise state.fault(at, "alt already includes this degree", "nothing after alt")
    return at + 1


def _fifth_again(state: ParseState, at: int) -> int:
    """The word says the fifth already: ``ø7(b5)`` and ``aug7(#5)`` say it again, no harm"""
    if state.signed or state.pieces[at][-1] not in "5b#-+" or state.pieces[at] == "+":
        raise state.fault(at, "the raised fifth is given twice", "another degree")
    return at + 1


def add_major_seventh(state: ParseState, at: int, extension: int) -> None:
    """The seventh becomes major: of the triad so far, or of the 9, 11 or 13 written before.

    Raises SymbolError.
    """
    if state.seventh == "bb7" and state.extension == extension == 7 and "7" not in state.added:
        state.added["7"] = at
    elif state.family == "half-diminished" or state.seventh in ("7", "bb7"):
        raise state.fault(at, "the seventh is given twice", "other degrees")
    elif state.extension > 7 and extension == 7:
        state.seventh = "7"
    elif state.extension or state.family in ("half-diminished", "power"):
        raise state.fault(
            at, "the chord has a seventh already, or cannot have one", "other degrees"
        )
    else:
        state.extension, state.seventh = extension, "7"
        if state.six:
            state.six = False
            state.add(at, "13")
