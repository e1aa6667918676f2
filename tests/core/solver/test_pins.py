"""Pins: how they are read, what they fix, and how a pin that cannot be is refused."""

from __future__ import annotations

import pytest

from shortway.core.errors import PinError, SettingError, UnknownField, WrongType
from shortway.core.solver.pins import Pin, read_notes, read_pins
from shortway.core.solver.solve import Path, solve, voicings
from support.tables import each_row

TEXT = "| Dm7 | G7 | N.C. | Cmaj7 | Cmaj7 |"


def names(path: Path, step: int) -> list[str]:
    """The notes of a step."""
    voicing = path.steps[step].voicing
    assert voicing is not None
    return [note.note for note in voicing.notes]


REFUSED = [
    ([7], "/0", WrongType),
    (["G5"], "/0", WrongType),
    ([{"step": 0, "form": "A"}, {"step": 1, "voice": 3}], "/1/voice", UnknownField),
    ([{"form": "A"}], "/0/step", WrongType),
    ([{"step": "0", "form": "A"}], "/0/step", WrongType),
    ([{"step": True, "form": "A"}], "/0/step", WrongType),
    ([{"step": 1.0, "form": "A"}], "/0/step", WrongType),
    ([{"step": 0}], "/0", SettingError),
    ([{"step": 0, "form": None}], "/0", SettingError),
    ([{"step": 0, "form": "C"}], "/0/form", SettingError),
    ([{"step": 0, "form": 1}], "/0/form", WrongType),
    ([{"step": 0, "family": "bebop"}], "/0/family", SettingError),
    ([{"step": 0, "top": 79}], "/0/top", WrongType),
    ([{"step": 0, "top": "G"}], "/0/top", SettingError),
    ([{"step": 0, "midi_notes": 60}], "/0/midi_notes", WrongType),
    ([{"step": 0, "midi_notes": [60, "64"]}], "/0/midi_notes/1", WrongType),
    ([{"step": 0, "midi_notes": [60, 128]}], "/0/midi_notes/1", SettingError),
    ([{"step": 0, "midi_notes": []}], "/0/midi_notes", SettingError),
    ([{"step": 0, "midi_notes": [60, 60]}], "/0/midi_notes", SettingError),
    ([{"step": 0, "midi_notes": list(range(60, 71))}], "/0/midi_notes", SettingError),
]


@each_row(
    "given, pointer, error",
    REFUSED,
)
def test_each_fault_is_refused_where_it_is(
    given: list[dict[str, object]], pointer: str, error: type[SettingError]
) -> None:
    with pytest.raises(SettingError) as caught:
        read_pins(given)
    assert type(caught.value) is error
    assert caught.value.faults[0].pointer == pointer
    with pytest.raises(SettingError) as through_the_door:
        solve(TEXT, pins=given)
    assert through_the_door.value.faults[0].pointer == "/pins" + pointer


def test_notes_come_in_any_order() -> None:
    assert read_notes([67, 60, 64], "/midi") == (60, 64, 67)
    assert read_pins([{"step": 2, "midi_notes": (64, 60), "top": "E4"}]) == (
        Pin(2, (60, 64), top=64),
    )


def test_a_pin_value_passes_as_it_is() -> None:
    pin = Pin(0, form="B")
    assert read_pins([pin]) == (pin,)
    assert solve(TEXT, pins=[pin]) == solve(TEXT, pins=[{"step": 0, "form": "B"}])


@pytest.mark.parametrize("step", [-1, 5, 4096])
def test_a_step_that_the_chart_lacks(step: int) -> None:
    with pytest.raises(PinError, match=f"no step {step}") as caught:
        solve(TEXT, pins=[{"step": step, "form": "A"}])
    assert caught.value.faults[0].pointer == "/pins/0/step"
    assert caught.value.faults[0].expected == "0 to 4"


def test_a_step_without_a_chord() -> None:
    with pytest.raises(PinError, match=r"N\.C\."):
        solve(TEXT, pins=[{"step": 2, "form": "A"}])


@pytest.mark.parametrize("k", range(0, 14, 3))
def test_notes_are_fixed(k: int) -> None:
    wanted = voicings("G7").voicings[k].voicing
    path = solve(
        TEXT, pins=[{"step": 1, "midi_notes": list(wanted.midi_notes), "family": wanted.family}]
    )
    assert path.steps[1].voicing == wanted


def test_family_form_and_top_are_fixed() -> None:
    pins = [{"step": 0, "family": "fourths"}, {"step": 1, "form": "A"}, {"step": 3, "top": "G5"}]
    path = solve(TEXT, pins=pins)
    first, second = path.steps[0].voicing, path.steps[1].voicing
    assert first is not None
    assert second is not None
    assert (first.family, second.form) == ("fourths", "A")
    assert names(path, 3)[-1] == "G5"


def test_an_unplayable_pin_names_the_nearest_voicing() -> None:
    with pytest.raises(PinError, match=r"step 1 \(G7\) has no voicing with C4 E4 G4") as caught:
        solve(TEXT, pins=[{"step": 0, "form": "B"}, {"step": 1, "midi_notes": [60, 64, 67]}])
    fault = caught.value.faults[0]
    assert fault.pointer == "/pins/1"
    assert str(fault.expected).startswith("a listed voicing; the nearest is ")
    notes = str(fault.expected).rpartition("is ")[2].split()
    listed = [[n.note for n in r.voicing.notes] for r in voicings("G7").voicings]
    assert notes in listed


def test_pins_that_contradict_each_other() -> None:
    pins = [{"step": 0, "form": "A"}, {"step": 0, "form": "B"}]
    with pytest.raises(PinError, match="form B") as caught:
        solve(TEXT, pins=pins)
    assert caught.value.faults[0].pointer == "/pins/1"


@pytest.mark.parametrize("loop", [False, True])
def test_a_pinned_repeat_need_not_hold(loop: bool) -> None:
    """`hold` repeats a chord's voicing unless the step is pinned; round the loop as well."""
    text = "| Cmaj7 | Cmaj7 | F7 | Cmaj7 | Cmaj7 |"
    listed = [ranked.voicing for ranked in voicings("Cmaj7").voicings]
    wanted = {0: listed[0], 1: listed[3], 3: listed[2], 4: listed[5]}
    pins = [
        {"step": k, "midi_notes": list(v.midi_notes), "family": v.family} for k, v in wanted.items()
    ]
    path = solve(text, loop=loop, pins=pins)
    assert {k: path.steps[k].voicing for k in wanted} == wanted


def test_what_follows_a_pin_holds_it() -> None:
    other = next(
        r.voicing for r in voicings("Cmaj7").voicings if r.voicing != solve(TEXT).steps[3].voicing
    )
    path = solve(
        TEXT, pins=[{"step": 3, "midi_notes": list(other.midi_notes), "family": other.family}]
    )
    assert path.steps[3].voicing == path.steps[4].voicing == other
