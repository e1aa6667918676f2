"""Shapes: what each family makes of a available, free of key and register.

Knows available and families. A shape is degrees from low to high with their offsets in semitones
from the root's pitch class: each voice lies as near above the one below as its degree allows. The
hard rules that need no register are applied here: guide tones, colours, minor ninths.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import lru_cache
from itertools import combinations
from typing import Final

from shortway.core.settings.families import FAMILIES, SEATS, Family, Recipe
from shortway.core.theory.pitch import DEGREES, letter_steps
from shortway.core.voicings.available_tones import ALTERED, AvailableTones

#: Least cost of a degree that sounds already and takes another's seat, and what is added where
#: it is the octave of the voice just below.
_DOUBLING_COST: Final = 3
#: The same for an altered degree, which is best heard once.
_ALTERED_COST: Final = 5
_OCTAVE_COST: Final = 2


@dataclass(frozen=True, slots=True)
class Template:
    """Degrees low to high, offsets in semitones above the root's pitch class, left hand's share."""

    degrees: tuple[str, ...]
    offsets: tuple[int, ...]
    left: int


Waive = tuple[str, ...]
Builder = Callable[[Family, AvailableTones, int, Waive], Iterator[Template]]


@lru_cache(maxsize=65536)
def templates(
    name: str, available: AvailableTones, voices: int, waive: Waive, spare: int = 0
) -> tuple[Template, ...]:
    """Every shape that the family `name` makes of `available_tones` with so many upper voices.

    `spare` is how much more than the least a seating may cost. Empty where the family does not
    serve the chord; `shortway.core.voicings.candidates` then asks its neighbour.
    """
    family = FAMILIES[name]
    if available.chord_type in family.unserved:
        return ()
    made = (
        _from_seats(family, available, voices, waive, spare)
        if family.built == "seats"
        else _BUILDERS[family.built](family, available, voices, waive)
    )
    unique = {shape.offsets: shape for shape in reversed(list(made))}
    return tuple(unique[offsets] for offsets in sorted(unique))


# --- rules that need no register -----------------------------------------------------------------


def stacked(degrees: tuple[str, ...]) -> tuple[int, ...]:
    """Offsets of `degrees`, each the nearest above the one before.

    >>> stacked(("3", "b7", "9", "5", "1"))
    (4, 10, 14, 19, 24)
    """
    offsets: list[int] = []
    for degree in degrees:
        below = offsets[-1] if offsets else -1
        offsets.append(below + 1 + (DEGREES[degree] - below - 1) % 12)
    return tuple(offsets)


def minor_ninth(degrees: tuple[str, ...], offsets: tuple[int, ...]) -> bool:
    """Whether two voices are a minor ninth (or its octave compounds) apart.

    Excused above the root of a chord with b9 (common practice; the ninth is then the chord's own).
    """
    return any(
        high - low > 12 and (high - low) % 12 == 1 and not (degree == "1" and above == "b9")
        for (degree, low), (above, high) in combinations(zip(degrees, offsets, strict=True), 2)
    )


def _sound(
    available: AvailableTones, degrees: tuple[str, ...], offsets: tuple[int, ...], waive: Waive
) -> bool:
    return not (
        ("colours" not in waive and available.clashes(degrees))
        or ("minor-ninths" not in waive and minor_ninth(degrees, offsets))
    )


def _complete(available: AvailableTones, degrees: tuple[str, ...]) -> bool:
    """Whether the symbol's own degrees sound as far as the guide tones leave room."""
    return available.missing(degrees) <= available.may_miss(len(degrees))


def as_sixth(available: AvailableTones, degrees: tuple[str, ...]) -> tuple[str, ...]:
    """A 13 is called 6 where it stands for a seventh that does not sound."""
    if available.sixth is None or available.seventh in degrees:
        return degrees
    return tuple("6" if degree == "13" else degree for degree in degrees)


# --- seats ---------------------------------------------------------------------------------------


def _from_seats(
    family: Family, available: AvailableTones, voices: int, waive: Waive, spare: int
) -> Iterator[Template]:
    for recipe in family.recipes:
        if len(recipe.seats) == voices and (
            not recipe.chord_types or available.chord_type in recipe.chord_types
        ):
            for degrees in _seatings(recipe, available, waive, spare):
                yield Template(degrees, stacked(degrees), recipe.left)


def _seatings(
    recipe: Recipe, available: AvailableTones, waive: Waive, spare: int = 0
) -> list[tuple[str, ...]]:
    """The least costly seatings: first as few required degrees missing as can be, then cost."""
    ranked = [
        (available.missing(degrees), cost, degrees)
        for cost, degrees in _fill(recipe.seats, available, waive)
        if available.has_guide_tones(degrees, len(recipe.seats))
    ]
    missing, least, _ = min(ranked, default=(0, 0, ()))
    return [d for absent, cost, d in ranked if absent == missing and cost <= least + spare]


def _fill(
    seats: tuple[str, ...], available: AvailableTones, waive: Waive
) -> Iterator[tuple[int, tuple[str, ...]]]:
    """Every seating that is sound, with its cost, built from the bottom seat up."""
    partial: list[tuple[int, tuple[str, ...]]] = [(0, ())]
    for seat in seats:
        options = _options(seat, available)
        partial = [
            (cost + _dearer(more, degrees, degree), (*degrees, degree))
            for cost, degrees in partial
            for degree, more in options
            if _may_follow(available, degrees, degree, waive)
        ]
    return iter(partial)


def _dearer(cost: int, below: tuple[str, ...], degree: str) -> int:
    """The cost of `degree` on a seat, dearer where it doubles a voice and is not at home there."""
    if degree in below:
        cost = max(cost, _ALTERED_COST if degree in ALTERED else _DOUBLING_COST if cost else 0)
    return cost + _OCTAVE_COST * (below[-1:] == (degree,))


def _options(seat: str, available: AvailableTones) -> list[tuple[str, int]]:
    """What may take `seat`, each degree at its least cost; guide tones keep their own seats."""
    costs: dict[str, int] = {}
    for part, cost in SEATS[seat]:
        for degree in available.part(part):
            costs.setdefault(degree, cost)
    own = available.part({"3": "third", "7": "seventh"}.get(seat, ""))
    if own and seat == "7":
        own += available.part("sixth")
    return [(degree, cost) for degree, cost in costs.items() if not own or degree in own]


def _may_follow(
    available: AvailableTones, below: tuple[str, ...], degree: str, waive: Waive
) -> bool:
    if degree == "1" and "7" in below:
        return False
    degrees = (*below, degree)
    return _sound(available, degrees, stacked(degrees), waive)


# --- close position and its drops ----------------------------------------------------------------


def _from_close(
    family: Family, available: AvailableTones, voices: int, waive: Waive
) -> Iterator[Template]:
    for chosen in _four_of(available, voices, waive):
        for turn in range(len(chosen)):
            cycle = (chosen[turn:] + chosen[:turn]) * 2
            dropped = _drop(cycle[:voices], family.drops)
            if dropped and _sound(available, *dropped, waive):
                yield Template(*dropped, left=len(family.drops))


def _four_of(available: AvailableTones, voices: int, waive: Waive) -> list[tuple[str, ...]]:
    """Sets of degrees to put in close position, in scale order.

    Four different ones; of a chord with neither seventh nor sixth the plain triad too, closed by
    the octave of its lowest note. Three, closed like it, where no four have all that the symbol
    writes; of fewer tones than that, all there are.
    """
    plain = tuple(d for d in available.pool if d in ("1", available.third, *available.fifths))
    triads = [plain] if available.seventh is None else []
    sets = _led_sets(available, min(voices, len(available.pool)), waive) + [
        triad for triad in triads if _leads_in(available, triad, waive)
    ]
    if min(map(available.missing, sets), default=1):
        sets += _led_sets(available, 3, waive)
    least = min(map(available.missing, sets), default=0)
    return list(dict.fromkeys(d for d in sets if available.missing(d) == least))


def _led_sets(available: AvailableTones, size: int, waive: Waive) -> list[tuple[str, ...]]:
    return [
        as_sixth(available, degrees)
        for degrees in combinations(available.pool, size)
        if ("colours" in waive or not available.clashes(degrees))
        and _leads_in(available, as_sixth(available, degrees), waive)
    ]


def _leads_in(available: AvailableTones, degrees: tuple[str, ...], waive: Waive) -> bool:
    return "guide-tones" in waive or available.has_guide_tones(degrees, len(degrees))


def _drop(
    degrees: tuple[str, ...], drops: tuple[int, ...]
) -> tuple[tuple[str, ...], tuple[int, ...]] | None:
    """Voices counted from the top an octave lower; None if one then lands on another.

    >>> _drop(("1", "3", "5", "7"), (2,))
    (('5', '1', '3', '7'), (7, 12, 16, 23))
    """
    lowered = [
        (offset - 12 * (len(degrees) - index in drops), degree)
        for index, (degree, offset) in enumerate(zip(degrees, stacked(degrees), strict=True))
    ]
    lowered.sort()
    raise_by = -(lowered[0][0] // 12) * 12
    offsets = tuple(offset + raise_by for offset, _ in lowered)
    if len(set(offsets)) < len(offsets):
        return None
    return tuple(degree for _, degree in lowered), offsets


# --- fourths -------------------------------------------------------------------------------------


def _from_fourths(
    family: Family, available: AvailableTones, voices: int, waive: Waive
) -> Iterator[Template]:
    for degrees in _stacks(available.pool, voices):
        named = as_sixth(available, degrees)
        led = "guide-tones" in waive or available.has_open_guide_tones(named, voices)
        offsets = stacked(named)
        if led and _complete(available, named) and _sound(available, named, offsets, waive):
            yield Template(named, offsets, voices // 2)


def _stacks(pool: tuple[str, ...], voices: int) -> Iterator[tuple[str, ...]]:
    """Fourths by letter, perfect, augmented or diminished; the top interval may be a third."""
    partial: list[tuple[str, ...]] = [(degree,) for degree in pool]
    for height in range(1, voices):
        top = height == voices - 1
        partial = [
            (*stack, degree)
            for stack in partial
            for degree in pool
            if degree not in stack and stands_on(stack[-1], degree, top)
        ]
    yield from partial


def stands_on(below: str, degree: str, top: bool) -> bool:
    """Whether `degree` may follow `below` in a stack of fourths, a third at the `top` only."""
    letters = (letter_steps(degree) - letter_steps(below)) % 7
    semitones = (DEGREES[degree] - DEGREES[below]) % 12
    fourth = letters == 3 and semitones in (4, 5, 6)
    third = letters == 2 and semitones in (3, 4)
    return fourth or (top and third)


# --- upper triads --------------------------------------------------------------------------------


def _from_triads(
    family: Family, available: AvailableTones, voices: int, waive: Waive
) -> Iterator[Template]:
    for recipe in family.recipes:
        for low in _seatings(recipe, available, waive):
            for triad in _triads(available):
                for turn in range(3):
                    high = ((triad[turn:] + triad[:turn]) * 2)[: voices - len(low)]
                    degrees = (*low, *high)
                    offsets = stacked(degrees)
                    if _fits_triad(available, degrees, offsets, waive):
                        yield Template(degrees, offsets, len(low))


def _fits_triad(
    available: AvailableTones, degrees: tuple[str, ...], offsets: tuple[int, ...], waive: Waive
) -> bool:
    root_over_seventh = "1" in degrees and "7" in degrees
    return (
        not root_over_seventh
        and available.has_guide_tones(degrees, len(degrees))
        and _complete(available, degrees)
        and _sound(available, degrees, offsets, waive)
    )


def _triads(available: AvailableTones) -> Iterator[tuple[str, str, str]]:
    """Major and minor triads within the pool that hold a tension, each from its root up.

    The sixth in a missing seventh's seat is no tension: C is not voiced as A minor.
    """
    sixth = available.sixth if available.seventh is None else None
    basic = {"1", available.third, available.seventh, sixth, *available.fifths}
    by_class = {DEGREES[degree]: degree for degree in reversed(available.pool)}
    for root in range(12):
        for third in (3, 4):
            wanted = (root, (root + third) % 12, (root + 7) % 12)
            if all(pc in by_class for pc in wanted):
                triad = by_class[wanted[0]], by_class[wanted[1]], by_class[wanted[2]]
                if not basic.issuperset(triad):
                    yield triad


_BUILDERS: Final[dict[str, Builder]] = {
    "close": _from_close,
    "fourths": _from_fourths,
    "upper-triad": _from_triads,
}
