"""Exports as three independent readers have them: music21, mido with pretty_midi, Verovio.

A MIDI file and a MusicXML score of the same path hold the same notes at the same times, whoever
reads them: music21 10.5 reads both, mido 1.3 and pretty_midi 0.2 the MIDI file, and Verovio 6.4 the
score, which it plays as a MIDI file of its own.
"""

from __future__ import annotations

import base64
import io
import warnings
from fractions import Fraction
from typing import Any

import mido

from scores.midi.test_writer import CHARTS, EVERY, expected, music
from scores.readers import read_by_music21, sounded
from shortway.core.theory.pitch import midi_number
from shortway.scores.display import ScoreDisplay
from shortway.scores.midi.writer import write_midi
from shortway.scores.notation.musicxml import write_musicxml

#: MIDI number with onset and end in quarter notes, as the nearest of 24 parts.
Notes = list[tuple[int, int, int]]


def notes(found: Any) -> Notes:
    return sorted((midi, round(on * 24), round(off * 24)) for midi, on, off in found)


def by_mido(data: bytes) -> Notes:
    file = mido.MidiFile(file=io.BytesIO(data), charset="utf-8")
    found, quarter = [], file.ticks_per_beat
    for track in file.tracks:
        now, on = 0, {}
        for message in track:
            now += message.time
            if message.type == "note_on" and message.velocity:
                on[message.note] = now
            elif message.type in ("note_on", "note_off"):
                found.append((message.note, on.pop(message.note) / quarter, now / quarter))
    return notes(found)


def by_pretty_midi(data: bytes, tempo: float) -> Notes:
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        import pretty_midi

        found = pretty_midi.PrettyMIDI(io.BytesIO(data))
    return notes(
        (note.pitch, note.start * tempo / 60, note.end * tempo / 60)
        for instrument in found.instruments
        for note in instrument.notes
    )


def by_music21(score: Any) -> Notes:
    return notes(
        (midi_number(name), onset, onset + length)
        for part in score.parts
        for onset, length, name in sounded(part)
    )


def midi_by_music21(data: bytes) -> Notes:
    from music21 import converter

    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        score = converter.parseData(data, format="midi", quantizePost=False)
    return by_music21(score)


def by_verovio(score: bytes) -> Notes:
    import verovio

    toolkit = verovio.toolkit()
    assert toolkit.loadData(score.decode())
    return by_mido(base64.b64decode(toolkit.renderToMIDI()))


@EVERY
def test_all_readers_have_the_same_notes_at_the_same_times(name: str, show: ScoreDisplay) -> None:
    of = music(name, show, tempo=90)
    midi, score = write_midi(of), write_musicxml(of)
    ticks = expected(of, "right") + expected(of, "left")
    ours = notes((number, Fraction(on, 480), Fraction(off, 480)) for on, off, number in ticks)
    assert len(ours) > 3
    assert by_mido(midi) == ours
    assert by_pretty_midi(midi, 90) == ours
    assert midi_by_music21(midi) == ours
    assert by_music21(read_by_music21(score)) == ours
    assert by_verovio(score) == ours


def test_a_difference_would_be_seen() -> None:
    of, other = music("four", ScoreDisplay(), tempo=90), music("left", ScoreDisplay(), tempo=90)
    assert by_verovio(write_musicxml(of)) != by_mido(write_midi(other))
    assert set(CHARTS) == {"four", "thirds", "left", "changes"}
