"""Seat filling: the rows of a family, each seat taken by a degree of the chord.

Knows families and available tones. Of all fillings of a row that the hard rules allow, those are
kept that lack the fewest required degrees, and of these the least costly by
`shortway.core.settings.families.SEATS`.
"""

from collections.abc import Iterator
from typing import Final

from shortway.core.settings.families import OWN_ROWS, SEATS, Family, Recipe
from shortway.core.voicings.available_tones import ALTERED, AvailableTones
from shortway.core.voicings.templates.rules import (
    Degrees,
    Template,
    Waive,
    has_half_step_on_top,
    is_sound,
    stacked,
)

#: Least cost of a degree that sounds already and takes another's seat, and what is added where
#: it is the octave of the voice just below.
_DOUBLING_COST: Final = 3
#: The same for an altered degree, which is best heard once.
_ALTERED_COST: Final = 5
_OCTAVE_COST: Final = 2


def fill_rows(
    family: Family, available: AvailableTones, voices: int, waive: Waive, spare: int
) -> Iterator[Template]:
    """The templates of the rows with so many seats that are for this chord type.

    `spare` is how much more than the least a filling may cost.
    """
    rows = [
        (recipe, degrees)
        for recipe in family.recipes
        if len(recipe.seats) == voices and _is_for(recipe, available.chord_type)
        for degrees in _fillings(recipe, available, waive, spare)
    ]
    least = min((available.missing(degrees) for _, degrees in rows), default=0)
    for recipe, degrees in rows:
        if available.missing(degrees) <= max(least, available.may_miss(voices)):
            yield Template(degrees, stacked(degrees), recipe.left)


def _is_for(recipe: Recipe, chord_type: str) -> bool:
    own = chord_type in recipe.chord_types
    return own or (not recipe.chord_types and chord_type not in OWN_ROWS)


def _fillings(recipe: Recipe, available: AvailableTones, waive: Waive, spare: int) -> list[Degrees]:
    """The least costly fillings: first as few required degrees missing as can be, then cost.

    A row without a seat for a guide tone is played as it stands or not at all.
    """
    voices = len(recipe.seats)
    without = _seatless(recipe, available) if voices > 1 else ()
    ranked = [
        (available.missing(degrees), cost, degrees)
        for cost, degrees in _fill(recipe.seats, available, waive)
        if available.has_guide_tones(degrees, voices, without)
        and available.has_own_tones_first(degrees)
        and not has_half_step_on_top(stacked(degrees))
        and not (without and (cost or available.in_bass or len({*degrees}) < voices))
    ]
    missing, least, _ = min(ranked, default=(0, 0, ()))
    return [d for absent, cost, d in ranked if absent == missing and cost <= least + spare]


def _seatless(recipe: Recipe, available: AvailableTones) -> Degrees:
    """The guide tones that a row has no seat for."""
    seats = {*recipe.seats}
    third = () if "3" in seats else available.part("third")
    return third if {"7", "6"} & seats else third + available.part("seventh")


def _fill(
    seats: tuple[str, ...], available: AvailableTones, waive: Waive
) -> Iterator[tuple[int, Degrees]]:
    """Every filling that is sound, with its cost, built from the bottom seat up."""
    partial: list[tuple[int, Degrees]] = [(0, ())]
    for seat in seats:
        options = _options(seat, available)
        partial = [
            (cost + _dearer(more, degrees, degree), (*degrees, degree))
            for cost, degrees in partial
            for degree, more in options
            if _may_follow(available, degrees, degree, waive)
        ]
    return iter(partial)


def _dearer(cost: int, below: Degrees, degree: str) -> int:
    """The cost of `degree` on a seat, dearer where it doubles a voice and is not at home there."""
    if degree in below:
        cost = max(cost, _ALTERED_COST if degree in ALTERED else _DOUBLING_COST if cost else 0)
    return cost + _OCTAVE_COST * (below[-1:] == (degree,))


def _options(seat: str, available: AvailableTones) -> list[tuple[str, int]]:
    """What may take `seat`, each degree at its least cost; guide tones keep their own seats.

    A guide tone that the player's bass has already leaves its seat to the root or the fifth, too.
    """
    own = available.part({"3": "third", "7": "seventh"}.get(seat, ""))
    in_bass = available.in_bass in own
    costs: dict[str, int] = {}
    for part, cost in SEATS[seat]:
        for degree in available.part(part):
            costs.setdefault(degree, 0 if in_bass and part in ("1", "fifth") else cost)
    if own and seat == "7":
        own += available.part("sixth")
    return [(d, cost) for d, cost in costs.items() if not own or in_bass or d in own]


def _may_follow(available: AvailableTones, below: Degrees, degree: str, waive: Waive) -> bool:
    if degree == "1" and "7" in below:
        return False
    degrees = (*below, degree)
    return is_sound(available, degrees, stacked(degrees), waive)
