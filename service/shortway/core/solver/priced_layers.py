"""Priced layers: the candidates of each layer with their costs, by one look-up.

Knows layers, candidates and costs.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache, partial
from itertools import count, repeat
from typing import Final, NamedTuple

from shortway.core.cache import Memo
from shortway.core.charts import Step
from shortway.core.settings.setting import Setting
from shortway.core.solver.layers import Layer, layer_candidates
from shortway.core.solver.pins import Pin
from shortway.core.voice_leading.objective import VoicingCosts, voicing_costs
from shortway.core.voicings.candidate_arrays import Candidates
from shortway.core.voicings.pricing import Wants


class PricedCandidates(NamedTuple):
    """The candidates of a layer and what they cost.

    Attributes
    ----------
    count : int
    voices : int or None
        Upper notes of each, if all have as many.
    number : int
        Stands in the keys of caches for all that a voicing of them is in a search and in a result:
        its notes as its chord spells them, what it costs, the prices of moves. 0 where other
        requests do not share it.
    """

    candidates: Candidates
    costs: VoicingCosts
    count: int  # type: ignore[assignment]  # of tuples, which nobody calls
    voices: int | None
    number: int = 0

    @staticmethod
    def of(candidates: Candidates, costs: VoicingCosts, number: int = 0) -> PricedCandidates:
        """Candidates with their costs."""
        return PricedCandidates(candidates, costs, len(candidates), candidates.voices, number)


def priced_candidates(of: Candidates, layer: Layer, setting: Setting) -> PricedCandidates:
    """The candidates of a layer with their costs."""
    asked = layer.offered(setting), layer.wants
    costs = voicing_costs(of, setting, *asked)
    number = _number(of.number, layer.chord.name, *asked, setting) if of.shared else 0
    return PricedCandidates.of(of, costs, number)


_numbers: Final = count(1)


@lru_cache(maxsize=8192)
def _number(
    _of: int, _name: str, _colours: tuple[str, ...], _wants: Wants, _setting: Setting
) -> int:
    return next(_numbers)


#: By the chord, so that it takes one look. Two other caches hold the arrays, but may drop them.
_PRICED: Final[Memo[tuple[object, ...], PricedCandidates]] = Memo(
    "priced candidates", 8 << 20, lambda of: of.candidates.nbytes + of.costs.nbytes + 120
)


@lru_cache(maxsize=1024)
def _number_of(setting: Setting) -> int:
    """A number for a setting, which is the quicker key."""
    return next(_numbers)


def priced_layers(
    layers: Sequence[Layer], steps: Sequence[Step], pins: Sequence[Pin], setting: Setting
) -> list[PricedCandidates]:
    """The candidates of each layer with their costs, the same objects for layers that are alike."""
    own = {pin.step for pin in pins}
    own |= {s.number for s in steps if s.melody or s.ceiling is not None or s.top is not None}
    names = ["" if own and not own.isdisjoint(of.steps) else of.chord.name for of in layers]
    colours, wants = [of.colours for of in layers], [of.wants for of in layers]
    number = _number_of(setting)

    def of(k: int) -> PricedCandidates:
        make = partial(_made, layers[k], steps, pins, setting)
        return (
            _PRICED.recall((number, names[k], colours[k], wants[k]), make) if names[k] else make()
        )

    return _PRICED.each(zip(repeat(number), names, colours, wants, strict=False), of)


def _made(
    layer: Layer, steps: Sequence[Step], pins: Sequence[Pin], setting: Setting
) -> PricedCandidates:
    return priced_candidates(layer_candidates(layer, steps, pins, setting), layer, setting)
