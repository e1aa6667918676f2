"""Templates of a family: what it makes of a chord's available tones, whatever rule builds it.

Knows families and available tones; placing templates on the keyboard is `voicings.placement`.
"""

from collections.abc import Callable, Iterator
from functools import lru_cache
from typing import Final

from shortway.core.settings.families import FAMILIES, Family
from shortway.core.voicings.available_tones import AvailableTones
from shortway.core.voicings.templates import guide_tones, stacking
from shortway.core.voicings.templates.rules import Template, Waive, is_playable
from shortway.core.voicings.templates.seat_filling import fill_rows

Builder = Callable[[Family, AvailableTones, int, Waive], Iterator[Template]]

_BUILDERS: Final[dict[str, Builder]] = {
    "close": stacking.close_position,
    "fourths": stacking.fourths,
    "upper-structure": stacking.upper_structures,
    "colours": guide_tones.guide_tone_colours,
}
#: Kinds of family that build a triad as they build any chord.
_ANY_CHORD: Final = ("close", "fourths")


@lru_cache(maxsize=65536)
def templates(
    name: str, available: AvailableTones, voices: int, waive: Waive, spare: int = 0
) -> tuple[Template, ...]:
    """Every template that the family `name` makes of `available` with so many upper voices.

    `spare` is how much more than the least a filling of seats may cost. Empty where the family
    does not serve the chord; `shortway.core.voicings.placement` then asks its neighbour.
    """
    family = FAMILIES[name]
    made = _made(family, available, voices, waive, spare)
    playable = [template for template in made if is_playable(available, template, waive)]
    unique = {template.offsets: template for template in reversed(playable)}
    return tuple(unique[offsets] for offsets in sorted(unique))


def _made(
    family: Family, available: AvailableTones, voices: int, waive: Waive, spare: int
) -> Iterator[Template]:
    if available.chord_type in family.unserved:
        return
    if available.is_triad and family.built not in _ANY_CHORD:
        if family.built != "upper-structure":
            yield from guide_tones.triad_rows(family, available, voices, spare)
        return
    built = _BUILDERS.get(family.built)
    made = list(built(family, available, voices, waive)) if built and not spare else []
    yield from made or fill_rows(family, available, voices, waive, spare)
