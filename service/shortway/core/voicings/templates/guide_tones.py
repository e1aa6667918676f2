"""Guide tones in the left hand under free colours, and chords that are heard by their own tones.

Knows families and available tones. Triads and diminished sevenths have rows of their own, in every
family (common practice, no source): a triad has its third once, root or fifth doubled; a diminished
seventh its four tones, doubled freely, a tension on top alone.
"""

from collections.abc import Iterator
from itertools import pairwise, permutations, product
from typing import Final

from shortway.core.settings.families import Family
from shortway.core.voicings.available_tones import AvailableTones
from shortway.core.voicings.templates.rules import (
    Degrees,
    Template,
    Waive,
    is_complete,
    root_over_seventh,
    stacked,
)

#: Families that add colours to a triad; the others keep to its own tones.
_COLOURING: Final = ("guide-tone-colours", "spread", "rootless", "rootless-three")
#: Widest span of one hand in a template, in semitones: a major tenth.
_WIDEST: Final = 16
#: What more a row may cost before it lacks a degree that the symbol writes.
_FEW: Final = 4


def guide_pairs(available: AvailableTones) -> list[Degrees]:
    """Third and seventh, or what stands for them, in either order.

    Where the player's own bass has one of them, the root or the fifth may stand for it; where the
    chord lacks one, they do.
    """
    spare = ("1", *available.fifths)
    thirds = _standing(available.third, available, spare)
    sevenths = _standing(available.seventh, available, spare)
    if available.sixth is not None:
        sevenths = (*sevenths, available.sixth)
    pairs = [pair for pair in product(thirds, sevenths) if pair[0] != pair[1]]
    return [*pairs, *((high, low) for low, high in pairs)]


def _standing(guide: str | None, available: AvailableTones, spare: Degrees) -> Degrees:
    if guide is None:
        return spare
    return (guide, *spare) if guide == available.in_bass else (guide,)


def guide_tone_colours(
    family: Family, available: AvailableTones, voices: int, waive: Waive
) -> Iterator[Template]:
    """Third and seventh in the left hand, any other degrees above them, none twice."""
    for low in guide_pairs(available):
        for high in _colours_over(low, available, voices - len(low)):
            degrees = (*low, *high)
            if (
                not root_over_seventh(degrees)
                and available.has_guide_tones(degrees, voices)
                and is_complete(available, degrees)
            ):
                yield Template(degrees, stacked(degrees), len(low))


def _colours_over(low: Degrees, available: AvailableTones, voices: int) -> Iterator[Degrees]:
    """What the right hand may have, low to high; of a diminished seventh any tone again."""
    sixth = {"13"} if available.sixth in low else set()
    if available.is_diminished_seventh:
        rows = product(available.pool, repeat=voices)
        return (row for row in rows if all(a != b for a, b in pairwise((low[-1], *row))))
    rest = [degree for degree in available.pool if degree not in low and degree not in sixth]
    return iter(permutations(rest, voices))


# --- triads --------------------------------------------------------------------------------------


def triad_rows(
    family: Family, available: AvailableTones, voices: int, spare: int
) -> Iterator[Template]:
    """The rows of a triad: two of its tones in the left hand, its tones in the right.

    Degrees that the symbol writes sound in the right hand; families with free colours have those
    that are added there too, with root or fifth beside the third in the left. With `spare`, any
    tone may sound twice or be its neighbour's octave, and an open fifth takes a 9.
    """
    left = 2 if "both" in family.hands else voices
    own = available.chord_tones
    written = tuple(d for d in available.own if d not in own)
    free = family.id in _COLOURING or (spare and available.third is None)
    colours = available.unwritten if free else ()
    low = (*own, *written) if spare else own
    hands = [low if k < left < voices else (*own, *written, *colours) for k in range(voices)]
    for row in _rows(hands, available, bool(spare)):
        if _is_triad(available, row, left, {*colours}, spare) and _within_hands(row, left):
            yield Template(row, stacked(row), min(left, voices))


def _rows(hands: list[Degrees], available: AvailableTones, spare: bool) -> list[Degrees]:
    """Every row of degrees, a choice for each voice: root and fifth may be doubled, all else
    sounds once, and nothing is its neighbour's octave; with `spare` anything may be."""
    most = max(2, len(hands) // 2) + spare
    rows: list[Degrees] = [()]
    for choice in hands:
        rows = [
            (*row, degree)
            for row in rows
            for degree in choice
            if row.count(degree) < (most if spare or degree in available.doubling else 1)
            and (spare or row[-1:] != (degree,))
        ]
    return rows


def _is_triad(
    available: AvailableTones, row: Degrees, left: int, colours: set[str], spare: int
) -> bool:
    """Whether the chord's tones sound: all of them, or under colours the third and one more."""
    heard = {*row, available.in_bass}
    asked = available.required
    tones = [d for d in available.chord_tones if not available.clashes((d, *asked))]
    if colours.isdisjoint(row):
        wanted = {*tones, *asked}
        enough = spare > 0 or len(wanted & heard) >= min(len(row), len(wanted))
    else:
        beside = left == len(row) or available.third in (*row[:left], None)
        distinct = len({*row}) >= min(len(row), len(available.pool))
        enough = len(heard.intersection(tones)) > 1 and beside and distinct
    complete = spare > _FEW or is_complete(available, row)
    return enough and complete and available.has_guide_tones(row, len(row))


def _within_hands(row: Degrees, left: int) -> bool:
    offsets = stacked(row)
    hands = offsets[:left], offsets[left:]
    return all(hand[-1] - hand[0] <= _WIDEST for hand in hands if hand)
