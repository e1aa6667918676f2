"""Comping patterns in scores and sound, against the schema, music21, Verovio, mido and pretty_midi.

Sources: MusicXML 4.0 XSD (W3C, from the PyPI package musicxml); the readers named.
"""

from __future__ import annotations

import io
import warnings
from fractions import Fraction

import mido
import pytest

from scores.readers import faults, laid_out_by_verovio, read_by_music21, sounded
from shortway.core.charts import parse_chart, unroll
from shortway.core.rhythm.onsets import onsets
from shortway.core.rhythm.patterns import PATTERNS
from shortway.core.rhythm.rhythm import parse_rhythm
from shortway.core.solver.solve import solve
from shortway.scores.midi import writer as midi
from shortway.scores.notation import musicxml
from shortway.scores.notation.model import Score, build_score
from shortway.scores.sound import ScoreSound
from support.tables import each_row

with warnings.catch_warnings():
    warnings.simplefilter("ignore")
    import pretty_midi

CHARTS = {
    "four": "key: Eb\n| Fm7 Bb7 | Ebmaj7 | N.C. C7b9 | Fm7 |",
    "waltz": "meter: 3/4\nkey: Gm\n| Am7b5 | D7b9 / D7 | Gm6 |",
    "six": "meter: 6/8\n| Fm7 Bb7 | N.C. | Ebmaj7 |",
}
EVERY = pytest.mark.parametrize(("chart", "name"), [(c, n) for c in CHARTS for n in PATTERNS])


def music(chart: str, rhythm: object, loop: bool = False) -> Score:
    found = parse_chart(CHARTS[chart])
    path = solve(found, loop=loop)
    return build_score(
        found,
        path,
        rhythm=parse_rhythm(rhythm),
        loop=loop,
        tempo=120,
        sound=ScoreSound(roots="off"),
    )


@EVERY
def test_notation_is_valid_and_says_every_hit(chart: str, name: str) -> None:
    of = music(chart, name)
    score = musicxml.write_musicxml(of)
    assert faults(score) == []
    laid_out_by_verovio(score)
    heard = set().union(*(sounded(part) for part in read_by_music21(score).parts))
    expected = {
        (hit.onset, hit.beats, note.note)
        for hit in onsets(of.chart, unroll(of.chart), parse_rhythm(name))
        if (voicing := of.path.steps[hit.step].voicing) is not None
        for note in voicing.notes
    }
    if PATTERNS[name].strokes:
        assert heard == expected


@each_row("swing", [1.0, 1.5, 2.0, 3.0])
@each_row("name", ["charleston", "charleston-from-three", "pushes"])
def test_sound_swings_by_the_ratio_and_no_note_hangs(name: str, swing: float) -> None:
    """Off-beat eighths sound at ratio / (ratio + 1) of the beat, on beats they stay."""
    of = music("four", {"rhythm": name, "swing": swing}, loop=True)
    file = mido.MidiFile(file=io.BytesIO(midi.write_midi(of)))
    late = Fraction(swing) / (Fraction(swing) + 1)
    places = set()
    for track in file.tracks:
        now = 0
        open_: dict[int, int] = {}
        for message in track:
            now += message.time
            if message.type == "note_on" and message.velocity:
                assert message.note not in open_
                open_[message.note] = now
                places.add(now % 480)
            elif message.type in ("note_off", "note_on"):
                assert open_.pop(message.note) < now
        assert not open_
    assert places == {0, round(480 * late)}
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        heard = pretty_midi.PrettyMIDI(io.BytesIO(midi.write_midi(of)))
    starts = {round(note.start * 2, 3) for i in heard.instruments for note in i.notes}
    written = {
        float(hit.onset // 1 + (late if hit.onset % 1 else 0))
        for hit in onsets(of.chart, unroll(of.chart), parse_rhythm(name), loop=True)
    }
    assert starts == {round(time, 3) for time in written}


MARKED = [
    ("charleston", {0.0: "Tenuto", 1.5: "Staccato"}),
    ("four-to-the-bar", {0.0: "Staccato", 1.0: "Staccato", 2.0: "Staccato", 3.0: "Staccato"}),
    ("halves", {0.0: "", 2.0: ""}),
]


@each_row("name, marks", MARKED)
def test_music21_reads_the_articulations(name: str, marks: dict[float, str]) -> None:
    """MusicXML 4.0, articulations: staccato and tenuto, once for each chord of each hand."""
    of = build_score(chart := parse_chart("| Fm7 |"), solve(chart), rhythm=parse_rhythm(name))
    score = musicxml.write_musicxml(of)
    assert faults(score) == []
    for part in read_by_music21(score).parts:
        found = {
            float(each.offset): "".join(type(mark).__name__ for mark in each.articulations)
            for each in part.recurse().notes
            if "ChordSymbol" not in each.classes
        }
        assert found == marks


@pytest.mark.parametrize("name", ["charleston", "varied"])
def test_a_repeat_that_is_folded_keeps_its_articulations(name: str) -> None:
    """A lead sheet of which each pass is played alike is written once, else written out."""
    from shortway.services.write_score import music_of, write_score
    from shortway.wire.example_score import SHEET

    request = {"chart": {"musicxml": SHEET}, "rhythm": name}
    once = write_score(request, "musicxml")[1]
    twice = write_score(request | {"choruses": 2, "program": "vibraphone"}, "musicxml")[1]
    for score in (once, twice):
        assert faults(score) == []
        assert b"<articulations>" in score
    measures = read_by_music21(twice).parts[0].getElementsByClass("Measure")
    assert len(measures) == 2 * len(music_of(request).bars)
    assert b"<midi-program>12</midi-program>" in twice
