"""Transposition against music21: the interval between the tonics, and key signatures.

Roots that take a plain name instead (E7 for Fb7 in Eb) are common practice, no source; they are
held to sound as music21's do.
"""

from __future__ import annotations

from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from music21 import interval, key, pitch

from shortway.core import charts
from shortway.core.charts import Chart
from shortway.core.harmony.key_estimation import NAMES
from shortway.core.harmony.transposition import distance, is_minor, tonic, transpose, usual
from shortway.core.symbols.parser import parse
from shortway.core.theory.pitch import pitch_class
from support.charts import SUFFIXES
from support.tables import each_row

MAJOR = list(NAMES[0])
MINOR = [f"{name}m" for name in NAMES[1]]
SCALE = {
    "C": ("C", "D", "E", "F", "G", "A", "B"),
    "Cm": ("C", "D", "Eb", "F", "G", "Ab", "Bb"),
}


def moved(symbols: str, origin: str, goal: str) -> list[str]:
    chart = charts.parse_text_chart(f"| {symbols} |")
    return [entry.symbol for entry in transpose(chart, origin, goal).measures[0]]


def by_music21(note: str, origin: str, goal: str) -> str:
    """A note moved by the interval between two tonics; flats of music21's are minus signs."""
    tonics = (pitch.Pitch(tonic(name).replace("b", "-")) for name in (origin, goal))
    between = interval.Interval(*tonics)
    return str(between.transposePitch(pitch.Pitch(note.replace("b", "-"))).name).replace("-", "b")


def signature(name: str) -> int:
    mode = "minor" if is_minor(name) else "major"
    return int(key.Key(tonic(name).replace("b", "-"), mode).sharps)


# --- names of keys --------------------------------------------------------------------------------


@each_row("name", MAJOR + MINOR)
def test_no_other_name_of_a_key_has_fewer_signs(name: str) -> None:
    """music21's signatures; where six sharps and six flats are as good, flats.

    Abm stands for G#m, whose ii would be A#m7b5: common practice, no source.
    """
    if name == "Abm":
        assert (usual("Abm"), usual("G#m")) == ("Abm", "G#m")
        return
    others = [
        letter + sign + "m" * is_minor(name)
        for letter in "ABCDEFG"
        for sign in ("", "b", "#")
        if pitch_class(letter + sign) == pitch_class(tonic(name))
    ]
    best = min(abs(signature(other)) for other in others)
    assert abs(signature(name)) == best
    assert signature(name) == -6 or best < 6
    for other in others:
        assert usual(other) == (other if abs(signature(other)) == best else name)


# --- roots ----------------------------------------------------------------------------------------


@each_row("goal", MAJOR + MINOR)
def test_the_notes_of_the_scale_are_spelled_as_music21_moves_them(goal: str) -> None:
    origin = "Cm" if is_minor(goal) else "C"
    symbols = [f"{note}maj7" for note in SCALE[origin]]
    names = [by_music21(note, origin, goal) for note in SCALE[origin]]
    want = [f"{'E' if name == 'Fb' else name}maj7" for name in names]  # no player reads Fbmaj7
    assert moved(" ".join(symbols), origin, goal) == want


@each_row("goal", MAJOR + MINOR)
@each_row("suffix", ["7", "m7", "m7b5", "dim7", "maj7"])
def test_every_root_sounds_as_music21_moves_it_without_a_double_accidental(
    goal: str, suffix: str
) -> None:
    origin = "Cm" if is_minor(goal) else "C"
    notes = [
        "C",
        "C#",
        "Db",
        "D",
        "D#",
        "Eb",
        "E",
        "F",
        "F#",
        "Gb",
        "G",
        "G#",
        "Ab",
        "A",
        "Bb",
        "B",
    ]
    for note, symbol in zip(
        notes, moved(" ".join(n + suffix for n in notes), origin, goal), strict=True
    ):
        root = symbol.removesuffix(suffix)
        exact = by_music21(note, origin, goal)
        assert len(root) < 3
        assert pitch_class(root) == pitch.Pitch(exact.replace("b", "-")).pitchClass
        if root != exact:
            assert len(exact) > 2 or exact in ("Cb", "Fb", "E#", "B#")


# What a player writes, by hand; common practice, no source.
WRITTEN = [
    ("Dm7 G7 Cmaj7", "C", "Db", "Ebm7 Ab7 Dbmaj7"),
    ("Dm7 G7 Cmaj7", "C", "Gb", "Abm7 Db7 Gbmaj7"),
    ("Dm7 Db7 C6/9", "C", "Eb", "Fm7 E7 Eb6/9"),
    ("Fmaj7 Fm6 Bb7", "C", "Gb", "Cbmaj7 Bm6 E7"),
    ("C7 F7 G7", "C", "Gb", "Gb7 B7 Db7"),
    ("F#m7b5 B7 Em7", "C", "B", "E#m7b5 A#7 D#m7"),
    ("F#m7b5 B7 Em7", "C", "F#", "Cm7b5 F7 A#m7"),
    ("F#m7b5 C#dim7", "C", "B", "Fm7b5 Cdim7"),
    ("Bdim7 G7b9 Cm6", "Cm", "F#m", "E#dim7 C#7b9 F#m6"),
    ("Bdim7 G7 Cm6", "Cm", "G#m", "Gdim7 D#7 G#m6"),
    ("Abmaj7 Db7 G7", "Cm", "Ebm", "Cbmaj7 E7 Bb7"),
    ("C/E F/G Am7/G D7/F#", "C", "B", "B/D# E/F# G#m7/F# C#7/E#"),
    ("E7/G# A7/C#", "C", "B", "D#7/G G#7/B#"),
    ("G7/F C7/Bb", "C", "Gb", "Db7/Cb Gb7/Fb"),
    ("Bbm7 Eb7 Bm6 E7", "Gb", "C", "Em7 A7 Fm6 Bb7"),
    ("Gdim7 Abm7 G7", "Gb", "C", "C#dim7 Dm7 Db7"),
    ("Fdim7 F#m7 F7", "E", "C", "C#dim7 Dm7 Db7"),
    ("Ebm7b5 Ab7 C#m6", "C#m", "Em", "F#m7b5 B7 Em6"),
    ("Bmaj7 D7 Gmaj7 Am7 D7/F# Gmaj7", "B", "Ab", "Abmaj7 B7 Emaj7 F#m7 B7/D# Emaj7"),
    ("Bmaj7 Am7 Am7 D7sus4 D7 Gmaj7", "B", "Eb", "Ebmaj7 C#m7 C#m7 F#7sus4 F#7 Bmaj7"),
    ("Cmaj7 Fm7 Bb7 Cmaj7", "C", "Db", "Dbmaj7 F#m7 B7 Dbmaj7"),
    ("N.C. C", "C", "Db", "N.C. Db"),
]


@each_row("symbols, origin, goal, want", WRITTEN)
def test_symbols_are_spelled_as_players_spell_them(
    symbols: str, origin: str, goal: str, want: str
) -> None:
    assert " ".join(moved(symbols, origin, goal)) == want


@given(st.sampled_from(MAJOR), st.sampled_from(MAJOR), st.data())
def test_there_and_back_is_the_same_chart(origin: str, goal: str, data: st.DataObject) -> None:
    """Of the chords a key has, and of the dominants a half step above them."""
    roots = ["C7", "Dm7", "Em7", "Fmaj7", "G7", "Am7", "Bm7b5", "Db7", "Eb7", "Ab7", "Bb7", "Fm6"]
    chosen = " ".join(data.draw(st.lists(st.sampled_from(roots), min_size=1, max_size=5)))
    here = moved(chosen, "C", origin)
    there = moved(" ".join(here), origin, goal)
    assert moved(" ".join(there), goal, origin) == here
    assert moved(" ".join(there), goal, "C") == chosen.split()


# --- the rest of a symbol -------------------------------------------------------------------------


@each_row("goal", ["Db", "F", "F#", "Gb", "B"])
@each_row("suffix", SUFFIXES)
def test_the_suffix_stays_as_written_and_means_the_same(suffix: str, goal: str) -> None:
    (symbol,) = moved(f"C{suffix}", "C", goal)
    assert symbol == goal + suffix
    assert parse(symbol).content == parse(f"C{suffix}").content


@pytest.mark.parametrize(
    ("symbol", "origin", "goal", "want"),
    [
        ("C#b5", "C#", "C", "C(b5)"),  # Cb5 would be a power chord on C flat
        ("C#b5", "C#", "Db", "Db(b5)"),  # Dbb5 could be read two ways
        ("C♯7♭9", "C#", "D", "D7♭9"),
        (" B♭-Δ9 / D", "Bb", "A", "A-Δ9 /C#"),
        ("Bb6/9", "Bb", "A", "A6/9"),
        ("Bb6/9/D", "Bb", "A", "A6/9/C#"),
    ],
)
def test_a_suffix_that_would_be_misread_is_written_out(
    symbol: str, origin: str, goal: str, want: str
) -> None:
    chart = charts.parse_chart({"measures": [[{"symbol": symbol}]]})
    (entry,) = transpose(chart, origin, goal).measures[0]
    assert entry.symbol == want
    assert entry.chord == parse(want)
    assert entry.chord.content == parse(symbol).content


# --- melody ---------------------------------------------------------------------------------------


@each_row("origin", MAJOR)
@each_row("goal", MAJOR)
def test_a_melody_goes_to_the_nearest_octave(origin: str, goal: str) -> None:
    by = distance(origin, goal)
    assert -5 <= by <= 6
    assert (pitch_class(origin) + by) % 12 == pitch_class(goal)


def test_all_else_of_a_chart_stays() -> None:
    given: dict[str, Any] = {
        "title": "Tram",
        "key": "C",
        "meter": "3/4",
        "measures": [[{"symbol": "C6", "beats": 1, "colours": ["9"], "melody": ["E5"]}],
                     [{"symbol": "F6"}, {"symbol": "N.C."}]],
        "order": [1, 2, 2],
        "meters": [{"measure": 2, "meter": "4/4"}],
        "keys": [{"measure": 2, "key": "F"}],
        "fresh": [2],
    }  # fmt: skip
    found: Chart = transpose(charts.parse_chart(given), "C", "Bb")
    assert charts.chart_json(found) == given | {
        "key": "Bb",
        "measures": [[{"symbol": "Bb6", "beats": 1, "colours": ["9"], "melody": ["D5"]}],
                     [{"symbol": "Eb6", "beats": 2}, {"symbol": "N.C.", "beats": 2}]],
        "keys": [{"measure": 2, "key": "Eb"}],
    }  # fmt: skip
