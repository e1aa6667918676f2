"""The order of preference: what a voicing counts by itself."""

from __future__ import annotations

import pytest

from shortway.core.settings.setting import resolve
from shortway.core.symbols.parser import parse
from shortway.core.voice_leading.objective import from_home
from shortway.core.voicings.candidates import candidates


@pytest.mark.parametrize("bass_player", [True, False])
def test_distance_from_home_leaves_out_the_bass(bass_player: bool) -> None:
    setting = resolve({"bass_player": bass_player, "families": ["spread"], "notes_vary": True})
    found = candidates(parse("C9"), setting)
    bass = int(not bass_player)
    expected = [
        abs(sum(found.midi(k)[bass:]) - 60 * (len(found.midi(k)) - bass)) for k in range(len(found))
    ]
    assert from_home(found, 60).tolist() == expected
    assert len({len(found.midi(k)) for k in range(len(found))}) > 1
