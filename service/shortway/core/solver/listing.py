"""Listing: every voicing of one chord, with its price and what leads into it.

Knows what `solver.request` reads and the order of preference. A path chooses among the voicings
that are listed for a step's chord, context and setting.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

from shortway.core.charts.json_entries import read_colours, read_melody_constraint
from shortway.core.harmony.context import Context
from shortway.core.settings.prices import VOICING_PRICES
from shortway.core.settings.setting import Setting
from shortway.core.solver.arrivals import price_items
from shortway.core.solver.layers import Layer
from shortway.core.solver.pins import read_notes
from shortway.core.solver.request import resolved_setting
from shortway.core.solver.results import Listing, Ranked
from shortway.core.symbols.parser import parse
from shortway.core.theory.chord import Chord
from shortway.core.voice_leading.distance import moves_between
from shortway.core.voice_leading.objective import VoicingCosts, voicing_costs
from shortway.core.voicings.candidate_arrays import Candidates, sounding
from shortway.core.voicings.candidates import candidates
from shortway.core.voicings.melody_constraints import MelodyConstraint, under_melody
from shortway.core.voicings.pricing import voicing_counts


def voicings(
    symbol: str | Chord,
    setting: Mapping[str, object] | Setting | None = None,
    *,
    after: Sequence[int] | None = None,
    melody: Sequence[int | str] | None = None,
    ceiling: int | str | None = None,
    top: int | str | None = None,
    colours: Sequence[str] | None = None,
    context: Context | None = None,
    limit: int | None = None,
    offset: int = 0,
) -> Listing:
    """Every voicing of a chord with its price, in the stable order or least costly first.

    Parameters
    ----------
    symbol : str or Chord
    setting : mapping or Setting, optional
    after : sequence of int, optional
        MIDI numbers of the notes that sound, the bass among them where nobody else plays it. Then
        voicings are ranked as a path would rank them: cost, motion, colours, bass motion, squared
        moves, top voice, distance from home.
    melody, ceiling, top : optional
        Notes by name or MIDI number, as in an entry of a chart.
    colours : sequence of str, optional
        Degrees that may be added to those of the symbol; without them and a context
        ``in-context`` adds what ``available`` does.
    context : Context, optional
        The chord's context, such as that of a step of a path: its colours may be added, and its
        wants are priced.
    limit, offset : int, optional
        The page; everything where not given.

    Raises
    ------
    SymbolError, SettingError, NoVoicing, TooLarge
        With pointers below ``/setting``, ``/after`` and the other arguments.

    >>> listing = voicings("F7", {"families": ["guide-tone"]}, after=[52, 58, 60, 67])
    >>> listing.voicings[0].motion, listing.voicings[0].voicing.midi_notes
    (4, (51, 57, 60, 65))
    """
    chord = parse(symbol) if isinstance(symbol, str) else symbol
    resolved = resolved_setting(setting)
    if chord.root is None:
        return Listing(chord, resolved, 0, ())
    fields = {"melody": melody, "ceiling": ceiling, "top": top}
    constraint = MelodyConstraint(
        *read_melody_constraint({k: v for k, v in fields.items() if v is not None}, "")
    )
    added = None if context is None else context.colours
    added = added if colours is None else read_colours(colours, "/colours")
    layer = Layer(chord, (0,), added, () if context is None else context.wants)
    found = candidates(chord, resolved, added)
    if constraint:
        found = under_melody(
            chord, lambda of: candidates(of, resolved, added), constraint, resolved
        ).candidates
    costs = voicing_costs(found, resolved, layer.offered(resolved), layer.wants)
    counts = voicing_counts(found, layer.wants, resolved.home)
    order = np.arange(len(found))
    motion: list[int] | None = None
    if after is not None:
        before = sounding(read_notes(after, "/after"), has_bass=found.has_bass)
        order, motion = _least_costly_first(before, found, costs, resolved)
    rows, prices = (
        order[offset : None if limit is None else offset + limit],
        resolved.voicing_prices,
    )
    page = zip(rows.tolist(), costs.price[rows].tolist(), counts.T[rows].tolist(), strict=True)
    listed = [
        Ranked(
            found.voicing(k, chord),
            price,
            price_items(VOICING_PRICES, tuple(counted), prices),
            motion[k] if motion else None,
            motion[k] + price if motion else None,
        )
        for k, price, counted in page
    ]
    return Listing(chord, resolved, len(found), tuple(listed))


def _least_costly_first(
    before: Candidates, found: Candidates, costs: VoicingCosts, setting: Setting
) -> tuple[NDArray[np.intp], list[int]]:
    """The order of preference after `before`, and the motion of each."""
    step = moves_between(before, found, setting.split_cost)
    motion, squares, top = step.motion[0], step.squares[0], step.top[0]
    bass = np.zeros(len(found), np.int32) if step.bass is None else step.bass[0]
    keys = (costs.home, top, squares, bass, costs.lacking, motion, motion + costs.price)
    return np.lexsort(keys), motion.tolist()
