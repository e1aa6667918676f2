"""The candidates above twelve roots that are placed at once are those of each root alone."""

from __future__ import annotations

import numpy as np
import pytest

from shortway.core.settings.setting import resolve
from shortway.core.symbols.parser import parse
from shortway.core.voice_leading.objective import voicing_costs
from shortway.core.voicings.available_tones import available_tones
from shortway.core.voicings.candidate_arrays import RootBlock
from shortway.core.voicings.candidates import _block

SETTINGS = ({}, {"bass_player": False}, {"hands": "left"}, {"notes_vary": True}, {"notes": 6})


def block(symbol: str, given: dict[str, object], roots: tuple[int, ...]) -> RootBlock:
    chord, setting = parse(symbol), resolve(given)
    bass = ((chord.bass_pc or chord.root_pc or 0) - (chord.root_pc or 0)) % 12
    own_bass = not setting.bass_player
    of = available_tones(chord.content, chord.colours, bass, own_bass=own_bass)
    return _block(of, roots, bass, setting)


@pytest.mark.parametrize("symbol", ["C7", "Cmaj9/E", "C5", "Cdim7", "C7alt"])
def test_each_root_has_what_it_has_alone(symbol: str) -> None:
    for given in SETTINGS:
        every = block(symbol, dict(given), tuple(range(12)))
        for root in (0, 3, 7, 10):
            one, alone = every.above(root), block(symbol, dict(given), (root,)).above(root)
            assert one.excluded == alone.excluded
            assert np.array_equal(one.notes, alone.notes)
            assert np.array_equal(one.left, alone.left)
            names = [[of.recipes[k] for k in of.recipe.tolist()] for of in (one, alone)]
            assert names[0] == names[1]
            prices = [voicing_costs(of, resolve(given), ("9",), (("9",),)) for of in (one, alone)]
            assert np.array_equal(prices[0].price, prices[1].price)
            assert np.array_equal(prices[0].home, prices[1].home)
