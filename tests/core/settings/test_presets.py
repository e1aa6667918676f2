"""Presets: each resolves, gives way to what is given beside it, and can be played everywhere."""

from __future__ import annotations

import pytest

from shortway.core.errors import SettingError
from shortway.core.settings.presets import PRESETS
from shortway.core.settings.setting import resolve, setting_json
from shortway.core.symbols.parser import parse
from shortway.core.voicings.candidates import candidates
from support.charts import ROOTS
from support.plain import span_mm
from support.rules import broken

SUFFIXES = (
    "",
    "m",
    "6",
    "m6",
    "maj7",
    "m7",
    "mM7",
    "7",
    "7sus4",
    "m7b5",
    "dim7",
    "7b9",
    "aug",
    "5",
)
#: The centres of the keys of an octave, mm: 23.5 mm a white key (piano makers).
OCTAVE_MM = 7 * 23.5 + 1.5


@pytest.mark.parametrize("name", PRESETS)
def test_a_preset_is_the_fields_that_it_sets(name: str) -> None:
    assert resolve({"preset": name}) == resolve(dict(PRESETS[name].sets))
    assert resolve(setting_json(resolve({"preset": name}))) == resolve({"preset": name})


def test_fields_beside_a_preset_override_it() -> None:
    setting = resolve({"preset": "small-hands", "reach_mm": 180.0, "home": "C4"})
    assert (setting.reach, setting.reach_mm, setting.home) == (None, 180.0, 60)
    assert resolve({"preset": "solo", "bass_player": True}).bass_player


def test_an_unknown_preset_is_refused() -> None:
    with pytest.raises(SettingError) as caught:
        resolve({"preset": "stadium"})
    (fault,) = caught.value.faults
    assert fault.pointer == "/preset"
    assert "small-hands" in str(fault.expected)


@pytest.mark.parametrize("name", PRESETS)
def test_every_chord_has_a_voicing_in_every_key_that_keeps_the_rules(name: str) -> None:
    setting = resolve({"preset": name})
    for suffix in SUFFIXES:
        for root in ROOTS:
            chord = parse(root + suffix)
            found = candidates(chord, setting)
            assert len(found), chord.name
            for index in range(len(found)):
                assert not broken(chord, found.voicing(index, chord), setting), chord.name


def test_small_hands_never_stretch_beyond_an_octave() -> None:
    """Key centres after piano makers' figures, as in `support.plain`."""
    setting = resolve({"preset": "small-hands"})
    for root in ROOTS:
        chord = parse(root + "7")
        found = candidates(chord, setting)
        for index in range(len(found)):
            voicing = found.voicing(index, chord)
            for hand in (voicing.left, voicing.right):
                assert span_mm([note.midi for note in hand]) <= OCTAVE_MM
