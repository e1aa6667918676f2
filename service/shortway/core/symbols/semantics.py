"""What the pieces of a suffix add up to: Draft -> Quality.

Knows the state, the labels and the qualities. The grammar refuses what cannot stand where it
stands; here the pieces are held against each other, and the degrees put in order.
"""

from shortway.core.symbols.parse_state import ParseState
from shortway.core.theory.qualities import Quality
from shortway.core.theory.quality_names import ALT, ALT_WRITTEN, IMPLIED, Degrees, degree_number

#: The order of a quality's degrees; a sus2's 9 is set in the third's place by hand.
_ORDER = "1 b3 3 4 b5 5 #5 6 bb7 b7 7 b9 9 #9 11 #11 b13 13"
RANK = {degree: rank for rank, degree in enumerate(_ORDER.split())}

#: Alterations that nearly always mean a seventh as well, so that without one they are ambiguous.
_NEEDS_SEVENTH = frozenset({"b9", "#9", "b13"})
_NATURAL_UPPER = frozenset({"9", "11", "13"})
_FIFTHS = frozenset({"b5", "5", "#5"})
_NUMBER = {degree: degree_number(degree) for degree in RANK}


def interpret(state: ParseState) -> Quality:
    """The quality that a state adds up to.

    Raises SymbolError where pieces contradict each other or leave two readings open.
    """
    if not (state.altered or state.added or state.omitted or state.sus or state.alt):
        return _plain(state)
    if state.alt:
        return _altered_dominant(state)
    if state.sus or state.six:
        _settle_suspension(state)
    _need_seventh(state)
    upper = _upper(state)
    fifths = _fifths(state)
    third = _third(state)
    written = _written(state, third, fifths, upper)
    kept = _omit(state, third, fifths, upper)
    return Quality(kept, written)


def _plain(state: ParseState) -> Quality:
    """Nothing altered, added, left out or suspended: only the extension stacks up."""
    family, extension = state.family, state.extension
    if family == "power":
        return Quality(("1", "5"), ())
    seventh = state.seventh or ("6" if state.six else "")
    written: Degrees = (str(extension),) if extension > 7 else ()
    if state.fifth == "#5":
        written = ("#5", *written)
    elif family == "half-diminished":
        written = ("b5", *written)
    triad = ("1", state.third, state.fifth)
    if extension > 7:
        return Quality((*triad, seventh, *IMPLIED[extension]), written)
    return Quality((*triad, seventh) if seventh else triad, written)


def _altered_dominant(state: ParseState) -> Quality:
    for what in (state.added, state.omitted):
        for at in what.values():
            raise state.fault(at, "alt already fixes every degree", "nothing after alt")
    return Quality(ALT, ALT_WRITTEN)


def _settle_suspension(state: ParseState) -> None:
    """Both suspensions are a sus4 with a 9; a third beside the 4 makes the 4 an 11."""
    if state.sus == "2" and "11" in state.added:
        del state.added["11"]
        state.sus = "24"
    if state.sus == "24":
        state.sus = "4"
        state.added.setdefault("9", 0)
    _refuse_doubled_degree(state)
    if state.third_too:
        state.added["11" if state.sus == "4" else "9"] = 0
        state.sus = ""
    if state.sus == "4" and "b9" in state.altered and not state.extension and not state.six:
        state.extension, state.seventh = 7, "b7"  # "sus(b9)" is the Phrygian 7sus4(b9)
    if state.sus == "4" and state.extension == 11:
        state.extension = 9
    if state.sus == "2" and state.extension == 9:
        state.extension = 7


def _refuse_doubled_degree(state: ParseState) -> None:
    """An 11 beside a sus4, a 9 beside a sus2, a 13 beside a 6 are there already."""
    for there, twice in ((state.sus, {"4": "11", "2": "9"}.get(state.sus)), (state.six, "13")):
        if there and twice in state.added:
            detail = f"the {twice} repeats the {state.sus if twice != '13' else 6}"
            raise state.fault(state.added[twice], detail, "another degree")
    if state.sus == "2" and state.extension == 11:
        raise state.fault(0, "a sus2 with an 11 is a sus4", "9sus4")


def _need_seventh(state: ParseState) -> None:
    """Without a seventh or sixth an altered ninth or 13 may be meant on a 7 or as an added note."""
    if state.extension or state.six:
        return
    for degree, at in state.altered.items():
        if degree in _NEEDS_SEVENTH or (degree == "#11" and state.family == "major"):
            seventh = "maj7" if degree == "#11" else "7"
            raise state.fault(
                at,
                f"{degree} without a seventh can be read two ways: "
                f"{seventh}{degree}, or a triad with added {degree}",
                f"{seventh}({degree}) or (add{degree})",
            )


def _upper(state: ParseState) -> Degrees:
    """Ninths, elevenths and thirteenths: implied, altered and added."""
    extension, added = state.extension, state.added
    altered = [d for d in state.altered if d not in _FIFTHS]
    if added:
        altered += [d for d in added if d[0] in "b#"]
    implied = IMPLIED.get(extension, ())
    if implied and (altered or state.sus):
        implied = _still_implied(state, altered, implied)
    if not added:
        return (*implied, *altered)
    for degree in implied:
        added.pop(degree, None)
    return (*implied, *altered, *(d for d in added if d in _NATURAL_UPPER))


def _still_implied(state: ParseState, altered: list[str], implied: Degrees) -> Degrees:
    """An altered or suspended number is not implied; the extension itself is written."""
    taken = {_NUMBER[d] for d in altered}
    if state.extension in taken:
        _refuse_both(state, altered)
    if state.sus:
        taken |= {11} if state.sus == "4" else {9, 11}
    return tuple(d for d in implied if _NUMBER[d] not in taken or _NUMBER[d] == state.extension)


def _refuse_both(state: ParseState, altered: list[str]) -> None:
    """``9b9``: the extension says one ninth, the alteration another."""
    extension = state.extension
    for degree in altered:
        if _NUMBER[degree] == extension and degree in state.altered:
            lower = extension - 2 if extension != 9 else 7
            raise state.fault(
                state.altered[degree],
                f"{extension} and {degree} can be read two ways: "
                f"{lower}{degree}, or both the {extension} and the {degree}",
                f"{lower}{degree} or {lower}({degree},add{extension})",
            )


def _fifths(state: ParseState) -> Degrees:
    if _FIFTHS.isdisjoint(state.altered):
        return (state.fifth,)
    return tuple(d for d in ("b5", "#5") if d in state.altered or d == state.fifth)


def _third(state: ParseState) -> str:
    if state.family == "power":
        return ""
    if state.sus:
        return "4" if state.sus == "4" else "9"
    return state.third


def _written(state: ParseState, third: str, fifths: Degrees, upper: Degrees) -> Degrees:
    """What the symbol writes over its triad, seventh or sixth; the b5 of a dim is its own."""
    written = [d for d in upper if d in state.altered or d in state.added]
    if state.extension > 7:
        written.append(str(state.extension))
    if fifths != ("5",) and not _diminished(state, third, fifths):
        written += fifths
    if "7" in state.added:
        written.append("7")
    return tuple(sorted(written, key=RANK.__getitem__)) if len(written) > 1 else tuple(written)


def _diminished(state: ParseState, third: str, fifths: Degrees) -> bool:
    whole = third == "b3" and fifths == ("b5",) and not state.six
    return whole and state.seventh in ("", "bb7", "7")


def _omit(state: ParseState, third: str, fifths: Degrees, upper: Degrees) -> Degrees:
    """All degrees in order, without those that the symbol leaves out."""
    middle = [*fifths, *upper]
    if state.seventh:
        middle.append(state.seventh)
    if state.six:
        middle.append("6")
    if "7" in state.added:
        middle.append("7")
    middle.sort(key=RANK.__getitem__)
    whole = ("1", third, *middle) if third else ("1", *middle)
    return _without(state, whole, upper) if state.omitted else whole


def _without(state: ParseState, whole: Degrees, upper: Degrees) -> Degrees:
    gone = {d for what, at in state.omitted.items() for d in _gone(state, what, at, upper)}
    kept = tuple(d for d in whole if d not in gone)
    if all(d == "1" or _NUMBER[d] > 7 for d in kept) and state.sus != "2":
        at = max(state.omitted.values())
        raise state.fault(at, "only the root would be left", "a third, fifth or seventh")
    return kept


def _gone(state: ParseState, what: str, at: int, upper: Degrees) -> Degrees:
    """The degrees that ``no`` with the number `what` takes away."""
    if what == "3" and not state.third_too and (state.sus or state.family == "power"):
        return ()
    if what == "3" and state.third == "3" and not state.sus:
        return ("3",)
    if what == "5" and _fifths(state) == ("5",) and state.family != "power":
        return ("5",)
    if what == "7" and state.extension == 9 and state.fifth != "b5":
        return ("b7",)
    if what in upper and what not in state.added and int(what) < state.extension:
        return (what,)
    raise state.fault(
        at, f"no{what} contradicts the rest of the symbol", "a degree that the chord only implies"
    )
