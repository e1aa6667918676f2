"""Settings: what is filled in, what is refused, and where it points."""

from __future__ import annotations

import math

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from shortway.core.errors import NotesNeeded, SettingError, UnknownField, WrongType
from shortway.core.settings.families import FAMILIES
from shortway.core.settings.setting import RULES, Setting, resolve, setting_json
from shortway.core.solver.solve import solve
from shortway.core.symbols.parser import parse
from support.tables import each_row

DEFAULTS = [
    (
        {},
        ("guide-tone-extended", "guide-tone-colours", "fourths", "upper-structure"),
        5,
        "Eb3",
        "C6",
    ),
    ({"hands": "left"}, ("rootless",), 4, "Eb3", "A4"),
    ({"bass_player": False}, ("spread", "rootless"), 4, "E2", "C6"),
    ({"families": ["guide-tone-full"]}, ("guide-tone-full",), 6, "Eb3", "Gb6"),
    ({"families": ["guide-tone"]}, ("guide-tone",), 4, "Eb3", "C6"),
    ({"hands": "left", "bass_player": False}, ("shell",), 1, "E2", "A4"),
]


@pytest.mark.parametrize(("given_", "families", "notes", "lowest", "highest"), DEFAULTS)
def test_the_contracts_defaults(
    given_: dict[str, object], families: tuple[str, ...], notes: int, lowest: str, highest: str
) -> None:
    wire = setting_json(resolve(given_))
    assert (wire["families"], wire["notes"]) == (list(families), notes)
    assert (wire["lowest"], wire["highest"]) == (lowest, highest)
    assert (wire["split_cost"], wire["reach"], wire["reach_mm"]) == (12, "ninth", 198.0)
    assert (wire["repeats"], wire["tensions"]) == ("hold", "in-context")
    assert wire["low_interval_limits"] == "assumed-root"


def test_nothing_and_an_empty_setting_are_one() -> None:
    assert resolve(None) == resolve({}) == resolve()
    assert resolve(resolve({"hands": "left"})) == resolve({"hands": "left"})


@pytest.mark.parametrize(
    ("name", "mm"), [("octave", 166), ("ninth", 198), ("tenth", 226), ("eleventh", 235)]
)
def test_a_reach_by_name_or_in_millimetres(name: str, mm: int) -> None:
    assert resolve({"reach": name}).reach_mm == mm
    assert resolve({"reach": name, "reach_mm": mm}).reach == name
    assert resolve({"reach_mm": mm + 0.5}).reach is None


MOSTLY_TRIADS = [
    ("C G Am F", "written"),
    ("C/E D/F# G7", "written"),
    ("C5 Gsus G N.C.", "written"),
    ("Csus Bbsus", "in-context"),
    ("C G7 Am Dm7", "in-context"),
    ("C6 Am7 Dm7 G7", "in-context"),
    ("Cadd9 G", "in-context"),
    ("N.C.", "in-context"),
]


@pytest.mark.parametrize(("symbols", "tensions"), MOSTLY_TRIADS)
def test_a_chart_of_mostly_plain_triads_is_played_as_written(symbols: str, tensions: str) -> None:
    """Contract, section 6: more than half the steps; what is given wins."""
    chords = [parse(symbol) for symbol in symbols.split()]
    assert resolve(None, chords).tensions == tensions
    assert resolve({"tensions": "available"}, chords).tensions == "available"
    assert solve("| " + " | ".join(symbols.split()) + " |").setting.tensions == tensions


REFUSED = [
    ({"voices": 4}, "/voices", UnknownField),
    ({"range": {"lowest": "C3"}}, "/range", UnknownField),
    ({"bass_player": "yes"}, "/bass_player", WrongType),
    ({"bass_player": 1}, "/bass_player", WrongType),
    ({"hands": "both hands"}, "/hands", SettingError),
    ({"hands": 2}, "/hands", WrongType),
    ({"families": "rootless"}, "/families", WrongType),
    ({"families": []}, "/families", SettingError),
    ({"families": ["rootless", "close", "bebop"]}, "/families/2", SettingError),
    ({"families": ["rootless", 4]}, "/families/1", WrongType),
    ({"families": ["guide-tone"], "hands": "left"}, "/families/0", SettingError),
    ({"notes": "4"}, "/notes", WrongType),
    ({"notes": 4.0}, "/notes", WrongType),
    ({"notes": True}, "/notes", WrongType),
    ({"notes": 0}, "/notes", SettingError),
    ({"notes": 11}, "/notes", SettingError),
    ({"notes": 7}, "/notes", SettingError),
    ({"notes": 4, "notes_vary": True}, "/notes", SettingError),
    ({"notes_vary": "free"}, "/notes_vary", WrongType),
    ({"families": ["rootless"], "notes": 5}, "/notes", SettingError),
    ({"families": ["guide-tone", "guide-tone-full"]}, "/notes", NotesNeeded),
    ({"split_cost": -1}, "/split_cost", SettingError),
    ({"split_cost": 128}, "/split_cost", SettingError),
    ({"split_cost": 1.5}, "/split_cost", WrongType),
    ({"tensions": "all"}, "/tensions", SettingError),
    ({"reach": "twelfth"}, "/reach", SettingError),
    ({"reach": 198}, "/reach", WrongType),
    ({"reach_mm": "198"}, "/reach_mm", WrongType),
    ({"reach_mm": True}, "/reach_mm", WrongType),
    ({"reach_mm": math.nan}, "/reach_mm", SettingError),
    ({"reach_mm": math.inf}, "/reach_mm", SettingError),
    ({"reach_mm": 10}, "/reach_mm", SettingError),
    ({"reach": "octave", "reach_mm": 198}, "/reach_mm", SettingError),
    ({"lowest": 48}, "/lowest", WrongType),
    ({"lowest": "H3"}, "/lowest", SettingError),
    ({"lowest": "C"}, "/lowest", SettingError),
    ({"highest": "C11"}, "/highest", SettingError),
    ({"highest": "G#9"}, "/highest", SettingError),
    ({"lowest": "C5", "highest": "C4"}, "/lowest", SettingError),
    ({"home": 60}, "/home", WrongType),
    ({"home": "middle C"}, "/home", SettingError),
    ({"repeats": "vary"}, "/repeats", SettingError),
    ({"low_interval_limits": False}, "/low_interval_limits", WrongType),
    ({"low_interval_limits": "none"}, "/low_interval_limits", SettingError),
    ({"waive": ["reach"]}, "/waive/0", SettingError),
    ([], "", WrongType),
    ("left", "", WrongType),
]


@each_row(
    "given_, pointer, error",
    REFUSED,
)
def test_each_fault_is_refused_where_it_is(
    given_: object, pointer: str, error: type[SettingError]
) -> None:
    with pytest.raises(SettingError) as caught:
        resolve(given_)  # type: ignore[arg-type]
    assert type(caught.value) is error
    assert caught.value.faults[0].pointer == pointer
    assert caught.value.detail


def test_the_hard_word_for_hard_choices() -> None:
    with pytest.raises(NotesNeeded, match="give notes or notes_vary") as caught:
        resolve({"families": ["guide-tone", "guide-tone-full"]})
    assert caught.value.faults[0].expected == "guide-tone: 4; guide-tone-full: 6"


def test_free_notes_take_every_size_of_the_families() -> None:
    setting = resolve({"families": ["guide-tone", "guide-tone-full", "shell"], "notes_vary": True})
    assert (setting.notes, setting.sizes) == (None, (2, 4, 6))


def test_default_families_that_cannot_take_the_notes_stand_back() -> None:
    assert resolve({"notes": 6}).families == ("guide-tone-colours", "upper-structure")
    assert resolve({"notes": 3}).families == ("fourths",)


SETTINGS = st.fixed_dictionaries(
    {},
    optional={
        "bass_player": st.booleans(),
        "hands": st.sampled_from(["both", "left", "right"]),
        "families": st.lists(st.sampled_from(list(FAMILIES)), min_size=1, max_size=4, unique=True),
        "notes": st.sampled_from([1, 2, 3, 4, 5, 6]),
        "notes_vary": st.booleans(),
        "split_cost": st.integers(0, 127),
        "tensions": st.sampled_from(["written", "available", "in-context"]),
        "reach_mm": st.floats(20, 400) | st.integers(20, 400),
        "lowest": st.sampled_from(["A0", "F#3"]),
        "home": st.sampled_from(["C4", "Gb4"]),
        "repeats": st.sampled_from(["hold", "change"]),
        "low_interval_limits": st.sampled_from(["assumed-root", "usual", "off"]),
        "waive": st.lists(st.sampled_from(RULES), unique=True),
    },
)


def resolved(given_: dict[str, object]) -> Setting | None:
    """None where families, hands and notes do not go together."""
    try:
        return resolve(given_)
    except SettingError as error:
        if error.faults[0].pointer.startswith(("/notes", "/families/")):
            return None
        raise


@given(SETTINGS)
def test_a_resolved_setting_resolves_to_itself(given_: dict[str, object]) -> None:
    setting = resolved(given_)
    assume(setting is not None)
    assert setting is not None
    wire = setting_json(setting)
    assert resolve(wire) == setting
    assert setting_json(resolve(wire)) == wire
    assert hash(setting) == hash(resolve(wire))
