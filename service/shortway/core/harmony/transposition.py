"""Transposition: a chart moved from one key to another, spelled as players spell it.

Knows charts, symbols and names of keys; no voicing. Names move on the line of fifths, on which a
transposition is one addition and the notes of a key are neighbours (any textbook's circle).
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import replace
from functools import lru_cache
from typing import Final

from shortway.core.charts.model import Chart, Entry, Measure
from shortway.core.errors import SettingError, SymbolError
from shortway.core.harmony.key_estimation import CLASS, key_name, read_key
from shortway.core.symbols.lexicon import NOTE
from shortway.core.symbols.parser import parse
from shortway.core.theory.chord import Chord
from shortway.core.theory.pitch import fifths_from_c, note_at_fifths, pitch_class, pitch_name

#: Fifths by which a note becomes its enharmonic.
_ENHARMONIC: Final = 12
#: Names that stand wherever they are needed, Gb to A#; Cb and E# only where they belong, Fb and B#
#: only as a bass that belongs (common practice, no source); what lies beyond has a double
#: accidental.
_PLAIN: Final = range(-6, 11)
_ROOTS: Final = range(-7, 12)
_SINGLE: Final = range(-8, 13)
#: A key's notes by their fifths above the tonic; in minor with the raised sixth and seventh.
_SCALES: Final = (frozenset({-1, 0, 1, 2, 3, 4, 5}), frozenset({-4, -3, -2, -1, 0, 1, 2, 3, 5}))
_MINOR_SIGNATURE: Final = -3
#: How far from the tonic, in fifths, a root without a sign may lie before it stands for another
#: name: E7 in Gb is bVII7, Fdim7 in E is #I. By classes of `CLASS`; common practice, no source.
_NEAR: Final = {
    "M": range(-6, 7), "7": range(-6, 7), "m": range(-5, 7), "h": range(-5, 7), "o": range(-3, 10),
}  # fmt: skip
#: The same with a sign, which is meant so unless it is the key's enharmonic's: Ab7 in C#m.
_SIGNED: Final = range(-8, 11)
#: Classes of chords that lead on by a falling fifth, or to another chord on their root.
_LEADING: Final = ("m", "7", "h")

#: Semitones that a melody moves at most down; up it moves one more.
_MOST_DOWN: Final = 5
_LAST_MIDI: Final = 127

_ROOT: Final = re.compile(rf"\s*{NOTE}")


def is_minor(key: str) -> bool:
    """Whether a key, such as ``Cm``, is minor."""
    return key.endswith("m")


def tonic(key: str) -> str:
    """A key's tonic."""
    return key.removesuffix("m")


def usual(key: str) -> str:
    """A key as players name it: by the plainest signature, as it stands if equal.

    >>> [usual(key) for key in ("C#", "F#", "Gb", "Cb", "G#m", "Abm", "D#m")]
    ['Db', 'F#', 'Gb', 'B', 'G#m', 'Abm', 'D#m']
    """
    plain = key_name(read_key(key))
    return key if abs(_signature(key)) <= abs(_signature(plain)) else plain


def moved_key(key: str, by: int) -> str:
    """A key moved by semitones, as players name it: Db, not C#; of Gb and F#, Gb."""
    return key_name((read_key(key) + 2 * by) % 24) if by else usual(key)


def _signature(key: str) -> int:
    return fifths_from_c(tonic(key)) + _MINOR_SIGNATURE * is_minor(key)


def distance(origin: str, goal: str) -> int:
    """Semitones from one key to another in the nearest octave, -5 to 6.

    >>> distance("C", "Bb"), distance("C", "Gb"), distance("Am", "Dm")
    (-2, 6, 5)
    """
    up = pitch_class(tonic(goal)) - pitch_class(tonic(origin))
    return (up + _MOST_DOWN) % 12 - _MOST_DOWN


def transpose(chart: Chart, origin: str, goal: str) -> Chart:
    """A chart moved from the key `origin` to the key `goal`.

    Parameters
    ----------
    chart : Chart
    origin, goal : str
        Keys of one mode. Where the chart names other keys on its way, they move by the same
        semitones and are named as players name them, and their chords are spelled in them.

    Returns
    -------
    Chart
        Roots keep their places in the key, basses theirs in the chord, and the rest of each symbol
        stays as written. A root gets its plain name where it would carry a double accidental, or be
        Cb or E# outside the key's scale or under a chord that needs double accidentals, Fb or B#;
        twos and fives are spelled towards their goals, as they were.
        `melody`, `ceiling` and `top` move by the same semitones in the nearest octave.

    Raises
    ------
    SettingError
        If a note would leave MIDI 0 to 127; the pointer is relative to `chart`.

    >>> from shortway.core.charts import parse_text_chart, chart_text
    >>> text = chart_text(transpose(parse_text_chart("| Dm7 | Db7 | Cmaj7/E |"), "C", "Gb"))
    >>> text.splitlines()[-1]
    '| Abm7 | G7 | Gbmaj7/Bb |'
    """
    by = distance(origin, goal)
    keys = [(at, goal if key == origin else moved_key(key, by)) for at, key in chart.keys]
    moved = replace(chart, key=goal, keys=tuple(keys))
    measures = tuple(
        _measure(measure, index, chart.key_at(index + 1) or origin, moved.key_at(index + 1), by)
        for index, measure in enumerate(chart.measures)
    )
    moved = replace(moved, measures=measures)
    return moved if origin == goal else _led(moved, chart)


def _measure(measure: Measure, index: int, origin: str, goal: str | None, by: int) -> Measure:
    return tuple(
        _entry(entry, origin, goal or origin, by, f"/measures/{index}/{place}")
        for place, entry in enumerate(measure)
    )


def _entry(entry: Entry, origin: str, key: str, by: int, where: str) -> Entry:
    chord = _chord(entry.symbol, origin, key)
    melody = tuple(
        _pitch(note, by, key, f"{where}/melody/{index}") for index, note in enumerate(entry.melody)
    )
    ceiling, top = (
        None if note is None else _pitch(note, by, key, f"{where}/{name}")
        for name, note in (("ceiling", entry.ceiling), ("top", entry.top))
    )
    return Entry(chord.symbol, chord, entry.beats, melody, ceiling, top, entry.colours)


def _pitch(note: int, by: int, key: str, pointer: str) -> int:
    if 0 <= note + by <= _LAST_MIDI:
        return note + by
    far = f"{abs(by)} semitone{'s' * (abs(by) > 1)} {'up' if by > 0 else 'down'}"
    expected = f"{pitch_name(max(0, -by))} to {pitch_name(min(_LAST_MIDI, _LAST_MIDI - by))}"
    detail = f"{pitch_name(note)}, moved {far} to {key}, lies outside MIDI 0 to 127"
    raise SettingError.at(pointer, detail, expected=expected)


# --- symbols -------------------------------------------------------------------------------------


@lru_cache(maxsize=4096)
def _chord(symbol: str, origin: str, key: str) -> Chord:
    """The chord of a symbol moved from one key to another, its suffix as written.

    >>> _chord("E7", "Gb", "C").name, _chord("Bb7", "C", "Gb").name, _chord("C#7/E#", "B", "D").name
    ('Bb7', 'E7', 'E7/G#')
    """
    chord = parse(symbol)
    if chord.root is None or origin == key:
        return chord
    at = _root_in(_above(chord, chord.root, origin) + fifths_from_c(tonic(key)), key, chord)
    return _rooted(symbol, chord, chord.root, at, key)


def _rooted(symbol: str, chord: Chord, root: str, at: int, key: str) -> Chord:
    """The chord of a symbol from `root` to the place `at`, its bass along with it."""
    bass, there = None, note_at_fifths(at)
    if chord.bass is not None:
        tones = {tone.note for tone in Chord("", there, None, chord.content).tones}
        bass = _bass_in(fifths_from_c(chord.bass) + at - fifths_from_c(root), key, tones)
    return _written(symbol, Chord("", there, bass, chord.content))


def _above(chord: Chord, root: str, key: str) -> int:
    """Fifths from the tonic of its key to a root, under the name that it stands for there."""
    above = fifths_from_c(root) - fifths_from_c(tonic(key))
    if above in (_SIGNED if len(root) > 1 else _NEAR[CLASS[chord.chord_type]]):
        return above
    return above - _ENHARMONIC if above > 0 else above + _ENHARMONIC


def _root_in(at: int, key: str, chord: Chord) -> int:
    """The place of a root: as it is where that reads well, else its plain enharmonic's."""
    return next(
        place
        for place in _enharmonics(at)
        if place in _PLAIN or (place in _ROOTS and _belongs(place, key) and _is_plain(place, chord))
    )


def _enharmonics(at: int) -> Iterator[int]:
    """Names with one accidental at most, from the one nearest to `at`."""
    while at not in _SINGLE:
        at -= _ENHARMONIC if at > 0 else -_ENHARMONIC
    yield at
    yield at - _ENHARMONIC if at > 0 else at + _ENHARMONIC


def _belongs(at: int, key: str) -> bool:
    return at - fifths_from_c(tonic(key)) in _SCALES[is_minor(key)]


def _is_plain(root: int, chord: Chord) -> bool:
    """Whether no tone of a chord on this root needs a double accidental."""
    tones = Chord("", note_at_fifths(root), None, chord.content).tones
    return all(len(tone.note) < 3 for tone in tones)


def _bass_in(at: int, key: str, tones: set[str]) -> str:
    """A bass as the chord or the key spells it, else its plain name."""
    return next(
        note_at_fifths(place)
        for place in _enharmonics(at)
        if place in _PLAIN or note_at_fifths(place) in tones or _belongs(place, key)
    )


def _led(chart: Chart, given: Chart) -> Chart:
    """`chart`, twos and fives spelled towards their goals as in `given`: F#m7 B7 Emaj7 in Ab."""
    goal, old, measures = None, None, []
    for number in range(len(chart.measures), 0, -1):
        bar, key = [], chart.key_at(number) or ""
        pairs = zip(chart.measures[number - 1], given.measures[number - 1], strict=True)
        for entry, was in reversed(list(pairs)):
            if goal and old and was.chord.root:
                fall = fifths_from_c(was.chord.root) - fifths_from_c(old)
                entry = _towards(entry, fifths_from_c(goal) + fall, fall, key)
            goal, old = entry.chord.root, was.chord.root
            bar.append(entry)
        measures.append(tuple(reversed(bar)))
    return replace(chart, measures=tuple(reversed(measures)))


def _towards(entry: Entry, at: int, fall: int, key: str) -> Entry:
    """An entry with its root at the place from which it falls to the next, if it leads there.

    I7 stays, whatever it leads to; so does what would be Cb, Fb, E# or B# with double accidentals.
    """
    chord, kind = entry.chord, CLASS[entry.chord.chord_type]
    is_home = chord.root == tonic(key) and (kind == "7" or is_minor(key))
    if chord.root is None or kind not in _LEADING or fall not in (0, 1) or is_home:
        return entry
    if at == fifths_from_c(chord.root) or not (
        at in _PLAIN or (at in _ROOTS and _is_plain(at, chord))
    ):
        return entry
    found = _rooted(entry.symbol, chord, chord.root, at, key)
    return replace(entry, symbol=found.symbol, chord=found)


def _written(symbol: str, chord: Chord) -> Chord:
    """`chord` with the suffix of `symbol`; with its canonical one where the old would misread."""
    match = _ROOT.match(symbol)
    assert match is not None
    assert chord.root is not None
    end = symbol.rfind("/") if chord.bass else len(symbol)
    slash = f"/{chord.bass}" if chord.bass else ""
    try:
        found = parse(chord.root + symbol[match.end() : end] + slash)
    except SymbolError:
        return parse(chord.name)
    return found if found == chord else parse(chord.name)
