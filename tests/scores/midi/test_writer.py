"""Standard MIDI Files against mido, pretty_midi and the standard's bytes.

Sources: Standard MIDI Files 1.0 (header chunk; 500,000 µs a quarter at 120); mido and pretty_midi
as readers; note lengths from the chart's own beats.
"""

from __future__ import annotations

import io
import warnings
from fractions import Fraction
from typing import Any

import mido
import pytest

from shortway.core.charts import parse_chart
from shortway.core.solver.solve import solve
from shortway.scores.display import ScoreDisplay
from shortway.scores.midi import writer as midi
from shortway.scores.notation.model import Score, build_score
from shortway.scores.sound import ScoreSound

CHARTS: dict[str, tuple[Any, dict[str, Any]]] = {
    "four": ("title: Über die Brücke\nkey: Eb\n| Fm7 | Bb7 | Ebmaj7 | % |", {}),
    "thirds": ("key: Am\n| Bm7b5 E7b9 Am6 | Dm7 G7 Cmaj7 |", {"bass_player": False}),
    "left": ("meter: 6/8\n| Fm7 Bb7 | N.C. | Ebmaj7 |", {"hands": "left"}),
    "changes": (
        {
            "measures": [
                [{"symbol": "Dm7", "beats": 1}],
                [{"symbol": "G7", "beats": 0.2}, {"symbol": "Db7", "beats": 3.8}],
                [{"symbol": "Cmaj7", "beats": 3}],
                [{"symbol": "A7", "beats": 6}],
            ],
            "meters": [{"measure": 3, "meter": "3/4"}, {"measure": 4, "meter": "6/8"}],
            "keys": [{"measure": 3, "key": "Bb"}, {"measure": 4, "key": "F#m"}],
        },
        {},
    ),
}
SHOWS = [ScoreDisplay(), ScoreDisplay(held="struck")]
EVERY = pytest.mark.parametrize(
    ("name", "show"), [(n, s) for n in CHARTS for s in SHOWS], ids=lambda v: getattr(v, "held", v)
)


def music(name: str, show: ScoreDisplay, tempo: float = 120) -> Score:
    chart, setting = CHARTS[name]
    found = parse_chart(chart)
    return build_score(
        found, solve(found, setting), tempo=tempo, show=show, sound=ScoreSound(roots="off")
    )


def parsed(of: Score) -> mido.MidiFile:
    return mido.MidiFile(file=io.BytesIO(midi.write_midi(of)), charset="utf-8")


def steps(of: Score) -> list[tuple[Fraction, Fraction, Any]]:
    """Each step's onset and length in quarter notes, and its voicing."""
    found, onset = [], Fraction(0)
    for each in of.path.steps:
        length = each.step.beats * Fraction(4, of.chart.meter_at(each.step.measure)[1])
        found.append((onset, length, each.voicing))
        onset += length
    return found


def expected(of: Score, hand: str) -> list[tuple[int, int, int]]:
    """Ticks of each key of a hand: on, off, number; by the steps alone."""
    found: list[tuple[Fraction, Fraction, int, str]] = []
    for onset, length, voicing in steps(of):
        for note in getattr(voicing, hand) if voicing else ():
            same = [k for k, n in enumerate(found) if n[1] == onset and n[3] == note.note]
            if of.show.held == "tied" and same:
                found[same[0]] = (found[same[0]][0], onset + length, note.midi, note.note)
            else:
                found.append((onset, onset + length, note.midi, note.note))
    return sorted((round(a * 480), round(b * 480), n) for a, b, n, _ in found)


def played(track: mido.MidiTrack) -> list[tuple[int, int, int]]:
    """Ticks of each key of a track; a key struck while it sounds is a fault."""
    found, on, now = [], {}, 0
    for message in track:
        now += message.time
        if message.type == "note_on":
            assert message.note not in on, "struck while it sounds"
            on[message.note] = now
        elif message.type == "note_off":
            found.append((on.pop(message.note), now, message.note))
    assert not on, "a note hangs"
    return sorted(found)


def test_header_bytes_are_the_standards() -> None:
    written = midi.write_midi(music("four", ScoreDisplay()))
    assert written[:14] == bytes.fromhex("4d546864 00000006 0001 0003 01e0")
    assert bytes.fromhex("ff5103 07a120") in written
    assert written.endswith(bytes.fromhex("ff2f00"))
    assert written.count(b"MTrk") == 3


@EVERY
def test_mido_reads_the_same_notes_at_the_same_times(name: str, show: ScoreDisplay) -> None:
    of = music(name, show)
    file = parsed(of)
    assert (file.type, file.ticks_per_beat, len(file.tracks)) == (1, 480, 3)
    _, right, left = file.tracks
    assert played(right) == expected(of, "right")
    assert played(left) == expected(of, "left")
    assert [track.name for track in file.tracks[1:]] == ["Piano, right hand", "Piano, left hand"]


@EVERY
def test_pretty_midi_reads_the_same_notes_at_the_same_times(name: str, show: ScoreDisplay) -> None:
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        import pretty_midi

        of = music(name, show, tempo=90)
        found = pretty_midi.PrettyMIDI(io.BytesIO(midi.write_midi(of)))
    notes = sorted(
        (round(note.start * 1.5 * 480), round(note.end * 1.5 * 480), note.pitch)
        for instrument in found.instruments
        for note in instrument.notes
    )
    assert notes == sorted(expected(of, "right") + expected(of, "left"))
    assert {i.program for i in found.instruments} <= {0}
    loud = {n.velocity for i in found.instruments for n in i.notes}
    assert loud <= {56, 60, 64}


def test_tempo_meter_key_and_title() -> None:
    of = music("changes", ScoreDisplay(), tempo=150)
    assert [m.tempo for m in parsed(of).tracks[0] if m.type == "set_tempo"] == [400_000]
    now, found = 0, []
    for message in parsed(of).tracks[0]:
        now += message.time
        if message.type == "time_signature":
            found.append((now, f"{message.numerator}/{message.denominator}"))
        elif message.type == "key_signature" and now:
            found.append((now, message.key))
    assert found == [
        (0, "1/4"),
        (480, "4/4"),
        (2400, "3/4"),
        (2400, "Bb"),
        (3840, "6/8"),
        (3840, "F#m"),
    ]
    assert parsed(music("four", ScoreDisplay())).tracks[0].name == "Über die Brücke"
    keys = [
        m.key
        for m in parsed(music("thirds", ScoreDisplay())).tracks[0]
        if m.type == "key_signature"
    ]
    assert keys == ["Am"]


def test_thirds_do_not_drift() -> None:
    """4/3 of a quarter is 640 ticks: three of them are four quarters each time."""
    of = music("thirds", ScoreDisplay(held="struck"))
    ons = sorted({on for on, _, _ in played(parsed(of).tracks[2])})
    assert ons == [0, 640, 1280, 1920, 2560, 3200]
