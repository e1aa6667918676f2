"""Tracks of a MIDI file: instrument, count-in, roots, meters; three libraries read the same onsets.

Sources: General MIDI System Level 1 (sound set: 1 acoustic grand, 5 electric piano 1, 12
vibraphone, 27 electric guitar (jazz), 33 acoustic bass; percussion key map: 37 side stick, channel
10; controller 7 is the channel volume); Standard MIDI Files 1.0 (time signature); mido, pretty_midi
and music21 as readers. That the top voice is a little louder: common practice, no source.
"""

from __future__ import annotations

import io
import warnings
from fractions import Fraction
from typing import Any

import mido
import pytest

from shortway.core.theory.pitch import pitch_class
from shortway.scores.midi.reader import read_midi
from shortway.scores.midi.timed_events import timed_events
from shortway.scores.midi.writer import write_midi
from shortway.scores.notation.model import Score
from shortway.services.write_score import music_of
from support.sheets import harmony, measures, rest, score
from support.tables import each_row

with warnings.catch_warnings():
    warnings.simplefilter("ignore")
    import pretty_midi

CHART = "title: Lift\nkey: Eb\n[A] | Fm7 | Bb7/D | Ebmaj7 | N.C. |"


def music(text: str = CHART, **more: Any) -> Score:
    return music_of({"chart": {"text": text}, **more})


def tracks(data: bytes) -> dict[str, list[tuple[int, Any]]]:
    """The messages of each track by its name, with their ticks."""
    found = {}
    for track in mido.MidiFile(file=io.BytesIO(data), charset="utf-8").tracks:
        now, events = 0, []
        for message in track:
            now += message.time
            events.append((now, message))
        found[track.name] = events
    return found


def struck(events: list[tuple[int, Any]]) -> list[tuple[int, int]]:
    return [(at, m.note) for at, m in events if m.type == "note_on"]


PROGRAMS = [
    ("acoustic-grand-piano", 1, "Piano"),
    ("electric-piano-1", 5, "Electric piano"),
    ("vibraphone", 12, "Vibraphone"),
    ("acoustic-guitar-nylon", 25, "Guitar"),
    ("electric-guitar-jazz", 27, "Electric guitar"),
]


@each_row("name, number, title", PROGRAMS)
def test_the_instrument_is_that_of_general_midi(name: str, number: int, title: str) -> None:
    found = tracks(write_midi(music(program=name)))
    assert [*found] == ["Lift", f"{title}, right hand", f"{title}, left hand", "Roots"]
    for hand in ("right", "left"):
        events = found[f"{title}, {hand} hand"]
        assert [m.program + 1 for _, m in events if m.type == "program_change"] == [number]


def test_roots_have_a_track_of_their_own_and_are_muted() -> None:
    """The bass of a slash chord, else the root; silence in N.C.; below the voicings."""
    of = music()
    events = tracks(write_midi(of))["Roots"]
    expected = [(0, "F"), (1920, "D"), (3840, "Eb")]
    assert [(at, note % 12) for at, note in struck(events)] == [
        (at, pitch_class(name)) for at, name in expected
    ]
    lowest = min(m for s in of.path.steps if s.voicing for m in s.voicing.midi_notes)
    assert all(28 <= note < lowest for _, note in struck(events))
    assert [(m.control, m.value) for _, m in events if m.type == "control_change"] == [(7, 0)]
    assert [m.program + 1 for _, m in events if m.type == "program_change"] == [33]
    audible = tracks(write_midi(music(roots="audible")))["Roots"]
    assert struck(audible) == struck(events)
    assert not [m for _, m in audible if m.type == "control_change"]
    assert "Roots" not in tracks(write_midi(music(roots="off")))
    assert "Roots" not in tracks(write_midi(music(setting={"bass_player": False})))


def test_a_muted_track_is_not_read_as_played() -> None:
    """A review of our own file sees what the hands play."""
    quiet, loud, off = (write_midi(music(roots=how)) for how in ("muted", "audible", "off"))
    assert read_midi(quiet).notes == read_midi(off).notes
    assert len(read_midi(loud).notes) == len(read_midi(off).notes) + 3
    assert read_midi(quiet, [3]).notes == read_midi(loud, [3]).notes


COUNTED = [
    ("| Fm7 | Bb7 |", [0, 480, 960, 1440], 1920),
    ("meter: 3/4\n| Fm7 | Bb7 |", [0, 480, 960], 1440),
    ("meter: 6/8\n| Fm7 | Bb7 |", [0, 720], 1440),
    ("meter: 5/4\n| Fm7 | Bb7 |", [0, 480, 960, 1440, 1920], 2400),
]


@each_row("text, beats, start", COUNTED)
def test_a_measure_is_counted_in(text: str, beats: list[int], start: int) -> None:
    """Side stick on each beat, on dotted quarters in 6/8; then the first chord."""
    of = music(text, count_in=True)
    found = tracks(write_midi(of))
    clicks = struck(found["Count-in"])
    assert clicks == [(at, 37) for at in beats]
    assert {m.channel for _, m in found["Count-in"] if m.type == "note_on"} == {9}
    assert min(at for at, _ in struck(found["Piano, right hand"])) == start
    assert min(event.time for event in timed_events(of)) == pytest.approx(start / 960)


PICKUP = {"measures": [[{"symbol": "G7", "beats": 1}], [{"symbol": "Cm7"}], [{"symbol": "Fm7"}]]}


def meters(of: Score) -> list[tuple[int, str]]:
    name = of.title or "Tempo"
    events = tracks(write_midi(of))[name]
    signs = [(at, m) for at, m in events if m.type == "time_signature"]
    return [(at, f"{m.numerator}/{m.denominator}") for at, m in signs]


def test_a_pickup_leaves_the_bar_lines_where_they_are() -> None:
    """Without a count-in the first measure is a short one; with it, the count fills it up."""
    short, counted = (music_of({"chart": PICKUP, "count_in": yes}) for yes in (False, True))
    assert meters(short) == [(0, "1/4"), (480, "4/4")]
    assert meters(counted) == [(0, "4/4")]
    assert [at for at, _ in struck(tracks(write_midi(counted))["Count-in"])] == [
        480 * k for k in range(7)
    ]
    assert min(at for at, _ in struck(tracks(write_midi(counted))["Piano, left hand"])) == 480 * 7


def test_velocities_are_shaped_and_low() -> None:
    """Above the inner voices the top one is louder, and short chords have a small accent."""
    of = music("| Fm7 | Bb7 |", rhythm="charleston")
    loud = {}
    for event in timed_events(of):
        loud.setdefault(event.time, []).append(event.velocity)
    for chord in loud.values():
        assert max(chord) == chord[-1] > max(chord[1:-1])
    assert loud[0.75] == [velocity + 4 for velocity in loud[0.0]]
    assert max(v for chord in loud.values() for v in chord) <= 68


def test_short_notes_sound_short_and_long_ones_hold() -> None:
    """Two thirds of a staccato eighth at 120, all of a tenuto quarter."""
    events = timed_events(music("| Fm7 |", rhythm="charleston"))
    lengths = {event.time: event.duration for event in events}
    assert lengths == {0: 0.5, 0.75: pytest.approx(0.25 * 2 / 3, abs=1e-5)}


EVERYTHING = {
    "held": {},
    "swung": {"rhythm": "charleston", "swing": 2, "tempo": 90},
    "varied": {"rhythm": "varied", "seed": 5, "swing": 1.5, "choruses": 3, "vary": True},
    "counted": {"rhythm": "varied", "count_in": True, "roots": "audible", "tempo": 143},
    "repeats": {"chart": {"text": "|: Fm7 | Bb7 :| Ebmaj7 |"}, "rhythm": "pushes"},
    "waltz": {"chart": {"text": "meter: 3/4\n| Fm7 | Bb7 |"}, "rhythm": "varied", "swing": 2},
}


@pytest.mark.parametrize("more", EVERYTHING.values(), ids=EVERYTHING)
def test_three_libraries_read_the_same_onsets(more: dict[str, Any]) -> None:
    import music21

    of = music(**more) if "chart" not in more else music_of(more)
    data = write_midi(of)
    own = {round(at / 480, 3) for events in tracks(data).values() for at, _ in struck(events)}
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        theirs = pretty_midi.PrettyMIDI(io.BytesIO(data))
        score = music21.converter.parseData(data, format="midi", quantizePost=False)
    tempo = float(of.tempo) / 60
    heard = {n.start * tempo for i in theirs.instruments for n in i.notes}
    assert sorted(heard) == pytest.approx(sorted(own), abs=0.01)
    read = {float(n.getOffsetInHierarchy(score)) for n in score.recurse().notes}
    near = {min(own, key=lambda at: abs(at - time)) for time in read}
    assert near == own
    assert all(min(abs(at - time) for at in own) < 0.01 for time in read)


def test_the_times_of_events_are_those_of_the_file() -> None:
    of = music(count_in=True, rhythm="varied", tempo=100)
    ticks = {Fraction(e.time).limit_denominator(10**6) * 800 for e in timed_events(of)}
    hands = tracks(write_midi(of))
    there = {at for name, ev in hands.items() if "hand" in name for at, _ in struck(ev)}
    assert sorted(map(float, ticks)) == pytest.approx(sorted(there), abs=0.51)


def test_a_lead_sheet_has_its_own_tempi() -> None:
    """MusicXML 4.0: ``tempo`` of ``sound`` is quarter notes a minute. mido reckons the seconds."""
    words = "<direction-type><words>slow</words></direction-type>"
    slow = f'<direction>{words}<sound tempo="60"/></direction>'
    quick = '<sound tempo="150"/>'
    bars = [slow + harmony("C") + rest(16), harmony("F") + rest(8) + quick + rest(8)]
    chart = {"musicxml": score(measures(*bars, harmony("G") + rest(16)))}
    of = music_of({"chart": chart, "count_in": True})
    file = mido.MidiFile(file=io.BytesIO(write_midi(of)))
    told = [(at, m.tempo) for at, m in tracks(write_midi(of))["Tempo"] if m.type == "set_tempo"]
    assert told == [(0, mido.bpm2tempo(60)), ((4 + 6) * 480, mido.bpm2tempo(150))]
    now, heard = 0.0, set()
    for message in file:
        now += message.time
        if message.type == "note_on" and message.channel < 2:
            heard.add(round(now, 4))
    assert heard == {round(event.time, 4) for event in timed_events(of)} == {4.0, 8.0, 10 + 0.8}
    last = {"chart": chart, "from_measure": 3}
    assert [tempo for _, tempo in music_of(last).tempi] == [150]
    assert music_of({"chart": chart, "tempo": 96}).tempi == ((0, 96),)
