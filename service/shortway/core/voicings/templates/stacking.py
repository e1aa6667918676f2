"""Stacking: close position and its drops, stacks of fourths, triads over guide tones.

Knows families and available tones; each function makes the templates of one kind of family.
"""

from collections.abc import Iterator
from itertools import combinations

from shortway.core.settings.families import Family
from shortway.core.theory.pitch import DEGREES, letter_steps
from shortway.core.voicings.available_tones import AvailableTones
from shortway.core.voicings.templates.guide_tones import guide_pairs
from shortway.core.voicings.templates.rules import (
    Degrees,
    Template,
    Waive,
    as_sixth,
    is_complete,
    is_sound,
    root_over_seventh,
    stacked,
)

#: New degrees that an upper structure has, beyond the left hand and the plain chord.
_NEW_DEGREES = 2

# --- close position and its drops ----------------------------------------------------------------


def close_position(
    family: Family, available: AvailableTones, voices: int, waive: Waive
) -> Iterator[Template]:
    """Every inversion of four degrees in close position, voices dropped as the family says."""
    for chosen in _sets_of(available, voices, waive):
        for turn in range(len(chosen)):
            cycle = (chosen[turn:] + chosen[:turn]) * 2
            dropped = _drop(cycle[:voices], family.drops)
            if dropped and is_sound(available, *dropped, waive):
                yield Template(*dropped, left=len(family.drops))


def _sets_of(available: AvailableTones, voices: int, waive: Waive) -> list[Degrees]:
    """Sets of degrees to put in close position, in scale order.

    As many different ones as there are voices, and of a triad its own tones, closed by the octave
    of its lowest note. Three, closed like it, where no larger set has all that the symbol writes;
    of fewer tones than that, all there are.
    """
    plain = tuple(d for d in available.pool if d in available.chord_tones)
    triads = [plain] if available.is_triad and _has_guides(available, plain, waive) else []
    sets = _guided_sets(available, min(voices, len(available.pool)), waive) + triads
    if min(map(available.missing, sets), default=1):
        sets += _guided_sets(available, 3, waive)
    least = min(map(available.missing, sets), default=0)
    return list(dict.fromkeys(d for d in sets if available.missing(d) == least))


def _guided_sets(available: AvailableTones, size: int, waive: Waive) -> list[Degrees]:
    return [
        as_sixth(available, degrees)
        for degrees in combinations(available.pool, size)
        if ("colours" in waive or not available.clashes(degrees))
        and _has_guides(available, as_sixth(available, degrees), waive)
        and (not available.is_triad or not {"1", *available.fifths}.isdisjoint(degrees))
        and available.has_own_tones_first(degrees)
    ]


def _has_guides(available: AvailableTones, degrees: Degrees, waive: Waive) -> bool:
    return "guide-tones" in waive or available.has_guide_tones(degrees, len(degrees))


def _drop(degrees: Degrees, drops: tuple[int, ...]) -> tuple[Degrees, tuple[int, ...]] | None:
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


def fourths(
    family: Family, available: AvailableTones, voices: int, waive: Waive
) -> Iterator[Template]:
    """Stacks of fourths out of the pool, the top interval a fourth or a third."""
    for degrees in _stacks(available.pool, voices):
        named = as_sixth(available, degrees)
        guided = "guide-tones" in waive or available.has_open_guide_tones(named, voices)
        if guided and is_complete(available, named):
            yield Template(named, stacked(named), voices // 2)


def _stacks(pool: Degrees, voices: int) -> Iterator[Degrees]:
    """Fourths by letter, perfect, augmented or diminished; the top interval may be a third."""
    partial: list[Degrees] = [(degree,) for degree in pool]
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


# --- upper structures ----------------------------------------------------------------------------


def upper_structures(
    family: Family, available: AvailableTones, voices: int, waive: Waive
) -> Iterator[Template]:
    """A major or minor triad over guide tones, every inversion."""
    for low in guide_pairs(available):
        for triad in _triads(available):
            for turn in range(3):
                high = ((triad[turn:] + triad[:turn]) * 2)[: voices - len(low)]
                degrees = (*low, *high)
                if _fits(available, low, degrees):
                    yield Template(degrees, stacked(degrees), len(low))


def _fits(available: AvailableTones, low: Degrees, degrees: Degrees) -> bool:
    new = {*degrees} - {*low, "1", available.third, *available.fifths}
    return (
        len(new) >= _NEW_DEGREES
        and not root_over_seventh(degrees)
        and available.has_guide_tones(degrees, len(degrees))
        and is_complete(available, degrees)
    )


def _triads(available: AvailableTones) -> Iterator[tuple[str, str, str]]:
    """Major and minor triads within the pool, each from its root up."""
    by_class = {DEGREES[degree]: degree for degree in reversed(available.pool)}
    for root in range(12):
        for third in (3, 4):
            wanted = (root, (root + third) % 12, (root + 7) % 12)
            if all(pc in by_class for pc in wanted):
                yield by_class[wanted[0]], by_class[wanted[1]], by_class[wanted[2]]
