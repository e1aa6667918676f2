"""Grammar lines for words: the triad's name, its major seventh, sus, add, no, alt.

Knows the state and the number lines. Each function reads the piece at index `at` of a state and
what belongs to it, and returns the index after that.
"""

from shortway.core.symbols.grammar_numbers import (
    ALTERATIONS,
    ALTERED_FIFTHS,
    EXTENSIONS,
    SAME_AS,
    add_major_seventh,
    read_altered,
)
from shortway.core.symbols.lexicon import Word
from shortway.core.symbols.parse_state import ParseState

_ADDED = {"2": "9", "4": "11", "9": "9", "11": "11", "13": "13"}


def read_major(state: ParseState, at: int, _: str) -> int:
    """major = ( "maj" | "ma" | "M" ) [ "7" | "9" | "11" | "13" ] | "7" "M"

    Raises SymbolError.
    """
    after, following = state.next(at + 1)
    if following.kind == "number" and following.value in EXTENSIONS:
        add_major_seventh(state, at, int(following.value))
        return after + 1
    if state.extension == 7 and state.pieces[at - 1] == "7" and state.fifth != "b5":
        state.seventh = "7"
        return at + 1
    if not state.is_first(at):
        raise state.fault(after, "maj requires a number here", "7, 9, 11 or 13")
    state.family = "major"
    return at + 1


def read_triangle(state: ParseState, at: int, _: str) -> int:
    """triangle = "Δ" [ "7" | "9" | "11" | "13" ]; alone it is the major seventh.

    Raises SymbolError.
    """
    following = state.after(at)
    if state.pieces[at] == "j" and at and state.pieces[at - 1] == "m":
        raise state.fault(at, "mj can be read two ways: maj, or minor with j", "maj7 or m(maj7)")
    if following in EXTENSIONS:
        add_major_seventh(state, at, int(following))
        return at + 2
    if following == "6":
        raise state.fault(at + 1, "the triangle is a major seventh, not a 6", "6 without triangle")
    add_major_seventh(state, at, 7)
    return at + 1


def read_minor(state: ParseState, at: int, _: str) -> int:
    """minor = "m" | "mi" | "min" """
    state.need_first(at)
    state.family, state.third = "minor", "b3"
    return at + 1


def read_diminished(state: ParseState, at: int, _: str) -> int:
    """diminished = "dim" | "o" | "°"; a number after it brings the diminished seventh"""
    state.need_first(at)
    state.family, state.third, state.fifth = "diminished", "b3", "b5"
    return at + 1


def read_half_diminished(state: ParseState, at: int, _: str) -> int:
    """half = "ø" [ "7" | "9" | "11" | "13" ]"""
    state.need_first(at)
    state.family, state.third, state.fifth = "half-diminished", "b3", "b5"
    state.seventh, state.extension = "b7", 7
    after, following = state.next(at + 1)
    if following.kind == "number" and following.value in EXTENSIONS:
        state.extension = int(following.value)
        return after + 1
    return at + 1


def read_augmented(state: ParseState, at: int, _: str) -> int:
    """augmented = "aug", before or after the seventh"""
    if not state.is_first(at):
        return read_plus(state, at, "")
    state.family, state.fifth = "augmented", "#5"
    return at + 1


def read_plus(state: ParseState, at: int, _: str) -> int:
    """plus = "+" with no number after it: the raised fifth"""
    if state.is_first(at):
        state.family, state.fifth = "augmented", "#5"
        return at + 1
    return read_altered(state, at, "#5")


def read_dominant(state: ParseState, at: int, _: str) -> int:
    """dominant = "dom" ( "7" | "9" | "11" | "13" )

    Raises SymbolError.
    """
    state.need_first(at)
    after, following = state.next(at + 1)
    if following.kind != "number" or following.value not in EXTENSIONS:
        raise state.fault(after, "dom requires a number", "7, 9, 11 or 13")
    state.extension, state.seventh, state.family = int(following.value), "b7", "dominant"
    return after + 1


def read_sus(state: ParseState, at: int, _: str) -> int:
    """sus = "sus" [ "4" | "2" | "24" | "2/4" ]

    Raises SymbolError.
    """
    if state.alt or state.family in ("diminished", "half-diminished", "power"):
        raise state.fault(at, "sus does not fit what comes before it", "degrees only")
    numbers, after = _suspended(state, at + 1)
    wanted = {*(numbers or "4"), *state.sus}
    if state.sus and wanted == {*state.sus}:
        raise state.fault(at, "sus is given twice", "each once")
    state.sus = "".join(sorted(wanted))
    return after


def _suspended(state: ParseState, at: int) -> tuple[str, int]:
    """The 2 and 4 from `at` on, with or without a stroke between, and the index after them."""
    pieces = state.pieces
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


def read_add(state: ParseState, at: int, _: str) -> int:
    """add = "add" ( degree | "maj7" )

    Raises SymbolError.
    """
    after, following = _opened(state, at + 1)
    value = following.value
    if following.kind == "major":
        return read_major(state, after, "")
    if following.kind == "number" and value in _ADDED:
        add_natural(state, after, _ADDED[value])
    elif following.kind == "number" and value == "6":
        _add_six(state, after)
    elif following.kind == "number" and value == "3" and state.sus:
        state.third_too = True
    elif following.kind == "altered" and _addable(value):
        state.add(after, _addable(value))
    else:
        raise state.fault(
            after, "add requires a degree not in the chord", "9, 11, 13, 6, b9, #9, #11, b13"
        )
    return after + 1


def _addable(value: str) -> str:
    """The degree that an altered number after ``add`` means, or ``""``."""
    degree = {"b6": "b13", **SAME_AS}.get(value, value)
    return degree if degree in ALTERATIONS and degree not in ALTERED_FIFTHS else ""


def add_natural(state: ParseState, at: int, degree: str) -> None:
    """Add a natural degree; raises SymbolError for a 13 beside a 6."""
    if state.six and degree == "13":
        raise state.fault(at, "the 13 repeats the 6", "9 or 11")
    state.add(at, degree)


def _add_six(state: ParseState, at: int) -> None:
    if state.extension:
        add_natural(state, at, "13")
    elif state.six or state.family in ("power", "diminished", "augmented"):
        raise state.fault(at, "the 6 does not fit what comes before it", "add13, or no 6")
    else:
        state.six = True


def read_no(state: ParseState, at: int, _: str) -> int:
    """no = ( "no" | "omit" ) ( "3" | "5" | "7" | "9" | "11" | "13" )

    Raises SymbolError.
    """
    after, following = _opened(state, at + 1)
    if following.kind != "number":
        raise state.fault(after, "no requires the degree to leave out", "3, 5, 9 or 11")
    if following.value in state.omitted:
        raise state.fault(after, f"no{following.value} is given twice", "each degree once")
    state.omitted[following.value] = after
    return after + 1


def _opened(state: ParseState, at: int) -> tuple[int, Word]:
    """The next piece, a parenthesis before it being opened."""
    after, following = state.next(at)
    if following.kind == "open":
        state.depth += 1
        return state.next(after + 1)
    return after, following


def read_alt(state: ParseState, at: int, _: str) -> int:
    """alt = [ "7" ] "alt"

    Raises SymbolError.
    """
    if not state.is_first(at) and not _bare_seven(state):
        raise state.fault(at, "alt alters a plain 7", "7alt alone")
    state.alt, state.extension = True, 7
    return at + 1


def _bare_seven(state: ParseState) -> bool:
    modified = state.altered or state.added or state.omitted or state.sus
    return (
        state.extension == 7
        and state.seventh == "b7"
        and not modified
        and state.third == "3"
        and state.fifth == "5"
    )
