"""What the pieces of a suffix add up to: Draft -> Quality.

Knows the draft, the labels and the qualities. The grammar refuses what cannot stand where it
stands; here the pieces are held against each other, and the degrees put in order.
"""

from __future__ import annotations

from shortway.core.symbols.parse_state import Draft
from shortway.core.theory.qualities import Quality
from shortway.core.theory.quality_names import ALT, ALT_WRITTEN, IMPLIED, Degrees, number

#: The order of a quality's degrees; a sus2's 9 is set in the third's place by hand.
_ORDER = "1 b3 3 4 b5 5 #5 6 bb7 b7 7 b9 9 #9 11 #11 b13 13"
_RANK = {degree: rank for rank, degree in enumerate(_ORDER.split())}

#: Alterations that nearly always mean a seventh as well, so that without one they are ambiguous.
_NEEDS_SEVENTH = frozenset({"b9", "#9", "b13"})
_NATURAL_UPPER = frozenset({"9", "11", "13"})
_FIFTHS = frozenset({"b5", "5", "#5"})
_NUMBER = {degree: number(degree) for degree in _RANK}


def interpret(draft: Draft) -> Quality:
    """The quality that a draft adds up to.

    Raises
    ------
    SymbolError
        Where pieces contradict each other or leave two readings open.
    """
    if not (draft.altered or draft.added or draft.omitted or draft.sus or draft.alt):
        return _plain(draft)
    if draft.alt:
        return _altered_dominant(draft)
    if draft.sus or draft.six:
        _settle_suspension(draft)
    _need_seventh(draft)
    upper = _upper(draft)
    fifths = _fifths(draft)
    third = _third(draft)
    written = _written(draft, third, fifths, upper)
    kept = _omit(draft, third, fifths, upper)
    return Quality(kept, written)


def _plain(draft: Draft) -> Quality:
    """Nothing altered, added, left out or suspended: only the extension stacks up."""
    family, extension = draft.family, draft.extension
    if family == "power":
        return Quality(("1", "5"), ())
    seventh = draft.seventh or ("6" if draft.six else "")
    written: Degrees = (str(extension),) if extension > 7 else ()
    if draft.fifth == "#5":
        written = ("#5", *written)
    elif family == "half-diminished":
        written = ("b5", *written)
    triad = ("1", draft.third, draft.fifth)
    if extension > 7:
        return Quality((*triad, seventh, *IMPLIED[extension]), written)
    return Quality((*triad, seventh) if seventh else triad, written)


def _altered_dominant(draft: Draft) -> Quality:
    for what in (draft.added, draft.omitted):
        for at in what.values():
            raise draft.fault(at, "alt already says which degrees there are", "nothing after alt")
    return Quality(ALT, ALT_WRITTEN)


def _settle_suspension(draft: Draft) -> None:
    """Both suspensions are a sus4 with a 9; a third beside the 4 makes the 4 an 11."""
    if draft.sus == "2" and "11" in draft.added:
        del draft.added["11"]
        draft.sus = "24"
    if draft.sus == "24":
        draft.sus = "4"
        draft.added.setdefault("9", 0)
    _refuse_doubled_degree(draft)
    if draft.third_too:
        draft.added["11" if draft.sus == "4" else "9"] = 0
        draft.sus = ""
    if draft.sus == "4" and "b9" in draft.altered and not draft.extension and not draft.six:
        draft.extension, draft.seventh = 7, "b7"  # "sus(b9)" is the Phrygian 7sus4(b9)
    if draft.sus == "4" and draft.extension == 11:
        draft.extension = 9
    if draft.sus == "2" and draft.extension == 9:
        draft.extension = 7


def _refuse_doubled_degree(draft: Draft) -> None:
    """An 11 beside a sus4, a 9 beside a sus2, a 13 beside a 6 are there already."""
    for there, twice in ((draft.sus, {"4": "11", "2": "9"}.get(draft.sus)), (draft.six, "13")):
        if there and twice in draft.added:
            detail = f"the {twice} is there already, as the {draft.sus if twice != '13' else 6}"
            raise draft.fault(draft.added[twice], detail, "another degree")
    if draft.sus == "2" and draft.extension == 11:
        raise draft.fault(0, "a sus2 with an 11 is a sus4", "9sus4")


def _need_seventh(draft: Draft) -> None:
    """Without a seventh or sixth an altered ninth or 13 may be meant on a 7 or as an added note."""
    if draft.extension or draft.six:
        return
    for degree, at in draft.altered.items():
        if degree in _NEEDS_SEVENTH or (degree == "#11" and draft.family == "major"):
            seventh = "maj7" if degree == "#11" else "7"
            raise draft.fault(
                at,
                f"{degree} without a seventh can be read two ways: "
                f"{seventh}{degree}, or a triad with added {degree}",
                f"{seventh}({degree}) or (add{degree})",
            )


def _upper(draft: Draft) -> Degrees:
    """Ninths, elevenths and thirteenths: implied, altered and added."""
    extension, added = draft.extension, draft.added
    altered = [d for d in draft.altered if d not in _FIFTHS]
    if added:
        altered += [d for d in added if d[0] in "b#"]
    implied = IMPLIED.get(extension, ())
    if implied and (altered or draft.sus):
        implied = _still_implied(draft, altered, implied)
    if not added:
        return (*implied, *altered)
    for degree in implied:
        added.pop(degree, None)
    return (*implied, *altered, *(d for d in added if d in _NATURAL_UPPER))


def _still_implied(draft: Draft, altered: list[str], implied: Degrees) -> Degrees:
    """An altered or suspended number is not implied; the extension itself is written."""
    taken = {_NUMBER[d] for d in altered}
    if draft.extension in taken:
        _refuse_both(draft, altered)
    if draft.sus:
        taken |= {11} if draft.sus == "4" else {9, 11}
    return tuple(d for d in implied if _NUMBER[d] not in taken or _NUMBER[d] == draft.extension)


def _refuse_both(draft: Draft, altered: list[str]) -> None:
    """``9b9``: the extension says one ninth, the alteration another."""
    extension = draft.extension
    for degree in altered:
        if _NUMBER[degree] == extension and degree in draft.altered:
            lower = extension - 2 if extension != 9 else 7
            raise draft.fault(
                draft.altered[degree],
                f"{extension} and {degree} can be read two ways: "
                f"{lower}{degree}, or both the {extension} and the {degree}",
                f"{lower}{degree} or {lower}({degree},add{extension})",
            )


def _fifths(draft: Draft) -> Degrees:
    if _FIFTHS.isdisjoint(draft.altered):
        return (draft.fifth,)
    return tuple(d for d in ("b5", "#5") if d in draft.altered or d == draft.fifth)


def _third(draft: Draft) -> str:
    if draft.family == "power":
        return ""
    if draft.sus:
        return "4" if draft.sus == "4" else "9"
    return draft.third


def _written(draft: Draft, third: str, fifths: Degrees, upper: Degrees) -> Degrees:
    """What the symbol writes over its triad, seventh or sixth; the b5 of a dim is its own."""
    written = [d for d in upper if d in draft.altered or d in draft.added]
    if draft.extension > 7:
        written.append(str(draft.extension))
    if fifths != ("5",) and not _diminished(draft, third, fifths):
        written += fifths
    if "7" in draft.added:
        written.append("7")
    return tuple(sorted(written, key=_RANK.__getitem__)) if len(written) > 1 else tuple(written)


def _diminished(draft: Draft, third: str, fifths: Degrees) -> bool:
    whole = third == "b3" and fifths == ("b5",) and not draft.six
    return whole and draft.seventh in ("", "bb7", "7")


def _omit(draft: Draft, third: str, fifths: Degrees, upper: Degrees) -> Degrees:
    """All degrees in order, without those that the symbol leaves out."""
    middle = [*fifths, *upper]
    if draft.seventh:
        middle.append(draft.seventh)
    if draft.six:
        middle.append("6")
    if "7" in draft.added:
        middle.append("7")
    middle.sort(key=_RANK.__getitem__)
    whole = ("1", third, *middle) if third else ("1", *middle)
    return _without(draft, whole, upper) if draft.omitted else whole


def _without(draft: Draft, whole: Degrees, upper: Degrees) -> Degrees:
    gone = {d for what, at in draft.omitted.items() for d in _gone(draft, what, at, upper)}
    kept = tuple(d for d in whole if d not in gone)
    if all(d == "1" or _NUMBER[d] > 7 for d in kept) and draft.sus != "2":
        at = max(draft.omitted.values())
        raise draft.fault(at, "nothing but the root would be left", "a third, fifth or seventh")
    return kept


def _gone(draft: Draft, what: str, at: int, upper: Degrees) -> Degrees:
    """The degrees that ``no`` with the number `what` takes away."""
    if what == "3" and not draft.third_too and (draft.sus or draft.family == "power"):
        return ()
    if what == "3" and draft.third == "3" and not draft.sus:
        return ("3",)
    if what == "5" and _fifths(draft) == ("5",) and draft.family != "power":
        return ("5",)
    if what == "7" and draft.extension == 9 and draft.fifth != "b5":
        return ("b7",)
    if what in upper and what not in draft.added and int(what) < draft.extension:
        return (what,)
    raise draft.fault(
        at, f"no{what} contradicts the rest of the symbol", "a degree that the chord only implies"
    )
