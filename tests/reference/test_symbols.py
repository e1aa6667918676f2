"""Symbols against sources outside the project; each source is named beside its check."""

from __future__ import annotations

import contextlib
import re
import warnings
from pathlib import Path

import pytest

from shortway.core.errors import SymbolError
from shortway.core.symbols.parser import parse
from shortway.core.theory.chord import Chord
from shortway.core.theory.notations import KindDegree
from shortway.core.theory.pitch import DEGREES
from support.tables import each_row

with warnings.catch_warnings():  # the peers' own imports, none of our doing
    warnings.simplefilter("ignore")
    import mir_eval.chord
    from harte.harte import Harte
    from music21.harmony import CHORD_TYPES
    from pychord.constants.qualities import DEFAULT_QUALITIES

DATA = Path(__file__).parents[1] / "data"
KEYS = ["C", "Db", "D", "Eb", "E", "F", "F#", "G", "Ab", "A", "Bb", "B"]
#: Semitones of the major scale's degrees, 2 and 4 to 13; from the definition of the scale.
SCALE = {1: 0, 2: 2, 3: 4, 4: 5, 5: 7, 6: 9, 7: 11, 9: 14, 10: 16, 11: 17, 13: 21}

# W3C, MusicXML 4.0, data type kind-value: semitones above the root.
KINDS = {
    "major": "0 4 7", "minor": "0 3 7", "augmented": "0 4 8", "diminished": "0 3 6",
    "dominant": "0 4 7 10", "major-seventh": "0 4 7 11", "minor-seventh": "0 3 7 10",
    "diminished-seventh": "0 3 6 9", "augmented-seventh": "0 4 8 10",
    "half-diminished": "0 3 6 10", "major-minor": "0 3 7 11", "major-sixth": "0 4 7 9",
    "minor-sixth": "0 3 7 9", "dominant-ninth": "0 4 7 10 14", "major-ninth": "0 4 7 11 14",
    "minor-ninth": "0 3 7 10 14", "dominant-11th": "0 4 7 10 14 17",
    "major-11th": "0 4 7 11 14 17", "minor-11th": "0 3 7 10 14 17",
    "dominant-13th": "0 4 7 10 14 17 21", "major-13th": "0 4 7 11 14 17 21",
    "minor-13th": "0 3 7 10 14 17 21", "suspended-second": "0 2 7", "suspended-fourth": "0 5 7",
    "power": "0 7",
}  # fmt: skip


def suffixes() -> list[str]:
    """Every suffix of our own table."""
    lines = (DATA / "suffixes.tsv").read_text("utf-8").splitlines()
    found = [line.split("\t")[0] for line in lines if not line.startswith("# ")]
    return ["" if suffix == "." else suffix for suffix in found]


def classes(chord: Chord) -> frozenset[int]:
    """Pitch classes above the root."""
    return frozenset(DEGREES[d] for d in chord.degrees)


def scale_semitones(degree: str) -> int:
    """Pitch class of a degree such as ``b7`` or ``#11``, from the major scale."""
    number = int(degree.lstrip("b#*"))
    return (SCALE[number] + degree.count("#") - degree.count("b")) % 12


# MusicXML 4.0 ---------------------------------------------------------------------------------


def musicxml_classes(kind: str, degrees: tuple[KindDegree, ...]) -> frozenset[int]:
    """The set that a reader of MusicXML makes of a kind and its degrees.

    W3C, MusicXML 4.0, elements degree-alter and degree-type: ``add`` counts from a dominant chord
    (major and perfect intervals, minor seventh); ``alter`` and ``subtract`` from the kind's own.
    """
    own = {_value_of(s): s for s in map(int, KINDS[kind].split())}
    if kind == "suspended-second":
        own[9] = own.pop(2)  # our children write the second as a ninth
    added = []
    for child in degrees:
        if child.type == "add":
            added.append(SCALE[child.value] - (child.value == 7) + child.alter)
        elif child.type == "alter":
            own[child.value] += child.alter
        else:
            assert child.alter == 0
            del own[child.value]
    return frozenset(s % 12 for s in (*own.values(), *added))


def _value_of(semitones: int) -> int:
    """The degree that a kind's note is: the table's sets have one note a degree."""
    return {0: 1, 2: 2, 3: 3, 4: 3, 5: 4, 6: 5, 7: 5, 8: 5, 9: 6, 10: 7, 11: 7, 14: 9, 17: 11,
            21: 13}[semitones]  # fmt: skip


def test_the_diminished_seventh_is_no_sixth() -> None:
    """Its nine semitones are a diminished seventh (W3C kind-value), the one exception above."""
    assert parse("Cdim7").kind == "diminished-seventh"
    assert parse("Cdim7").degrees[-1] == "bb7"


@each_row("suffix", suffixes())
def test_kind_and_degrees_make_the_tones(suffix: str) -> None:
    """W3C, MusicXML 4.0, in twelve keys."""
    for key in KEYS:
        chord = parse(key + suffix)
        assert chord.root_pc is not None
        made = musicxml_classes(chord.kind, chord.kind_degrees)
        assert {(chord.root_pc + pc) % 12 for pc in made} == {t.pitch_class for t in chord.tones}


@each_row("kind", KINDS)
def test_every_kind_is_used_plain(kind: str) -> None:
    """Each kind of the W3C table with intervals is what some plain symbol gives."""
    plain = {
        parse("C" + suffix).kind for suffix in suffixes() if parse("C" + suffix).kind_degrees == ()
    }
    assert kind in plain


@each_row(
    "text, kind, children",
    [
        ("C7b9", "dominant", [(9, -1, "add")]),
        ("C7#11", "dominant", [(11, 1, "add")]),
        ("C7b13", "dominant", [(13, -1, "add")]),
        ("Cm7b5", "half-diminished", []),
        ("Cmaj7#5", "major-seventh", [(5, 1, "alter")]),
        ("C13(no11)", "dominant-ninth", [(13, 0, "add")]),
        ("C13#11", "dominant-13th", [(11, 1, "alter")]),
        ("C7sus4", "suspended-fourth", [(7, 0, "add")]),
        ("Cmaj7sus4", "suspended-fourth", [(7, 1, "add")]),
        ("C6/9", "major-sixth", [(9, 0, "add")]),
        ("C7(no5)", "dominant", [(5, 0, "subtract")]),
        ("Cdim(maj7)", "major-minor", [(5, -1, "alter")]),
        ("Cdim7(maj7)", "diminished-seventh", [(7, 1, "add")]),
        ("C7alt", "dominant",
         [(5, 0, "subtract"), (9, -1, "add"), (9, 1, "add"), (11, 1, "add"), (13, -1, "add")]),
    ],
)  # fmt: skip
def test_worked_kinds(text: str, kind: str, children: list[tuple[int, int, str]]) -> None:
    """Consequences of the definitions in W3C, MusicXML 4.0, kind-value and degree-type."""
    chord = parse(text)
    assert chord.kind == kind
    assert [(c.value, c.alter, c.type) for c in chord.kind_degrees] == children


@pytest.mark.parametrize(
    ("kind", "child", "expected"),
    [
        ("major", KindDegree(7, 0, "add"), 10),
        ("major", KindDegree(7, 1, "add"), 11),
        ("dominant", KindDegree(9, -1, "add"), 1),
        ("dominant", KindDegree(11, 1, "add"), 6),
        ("dominant", KindDegree(13, -1, "add"), 8),
        ("minor-seventh", KindDegree(5, -1, "alter"), 6),
        ("major-seventh", KindDegree(5, 1, "alter"), 8),
    ],
)
def test_the_reader_above_is_right(kind: str, child: KindDegree, expected: int) -> None:
    """Worked by hand from the text of W3C, MusicXML 4.0, degree-type and degree-alter."""
    assert expected in musicxml_classes(kind, (child,))


# Harte ----------------------------------------------------------------------------------------


@each_row("suffix", suffixes())
def test_harte_in_mir_eval(suffix: str) -> None:
    """mir_eval 0.8, chord.encode(label, reduce_extended_chords=True)."""
    for key, bass in zip(KEYS, (*KEYS[5:], *KEYS[:5]), strict=True):
        for text in (key + suffix, f"{key}{suffix}/{bass}"):
            chord = parse(text)
            root, bitmap, low = mir_eval.chord.encode(chord.harte, reduce_extended_chords=True)
            sounding = {t.pitch_class for t in chord.tones}
            expected_low = chord.root_pc if chord.bass is None else chord.bass_pc
            assert root == chord.root_pc
            assert (root + low) % 12 == expected_low
            assert {(root + pc) % 12 for pc in range(12) if bitmap[pc]} == sounding | {expected_low}


@each_row("suffix", suffixes())
def test_harte_in_harte_library(suffix: str) -> None:
    """harte-library 0.4.5, which spells the notes as well."""
    chord = parse("Eb" + suffix)
    theirs = {re.sub("-", "b", pitch.name) for pitch in Harte(chord.harte).pitches}
    ours = {tone.note for tone in chord.tones}
    assert {name for name in ours if "bbb" not in name} == theirs


#: Shorthands that all three read, and lists and basses that fit any of them.
SHORTHANDS = (
    "maj", "min", "aug", "dim", "sus4", "maj7", "min7", "7", "dim7", "hdim7", "minmaj7", "maj6",
    "min6", "maj9", "min9", "9",
)  # fmt: skip
LISTS = ("", "(9)", "(#11)", "(*5)", "(11,13)", "(b9,#11)", "(*3,9)", "(*b3)")
BASSES = ("", "/1", "/3", "/b3", "/5", "/b7", "/2", "/#4")


def read_labels() -> list[str]:
    """Those of the labels that we read, two thirds or more of all that there are."""
    labels = [
        f"{key}:{s}{list_}{bass}"
        for key, bass in zip(KEYS, (*BASSES, *BASSES[4:]), strict=True)
        for s in SHORTHANDS
        for list_ in LISTS
    ]
    found = []
    for label in labels:
        with contextlib.suppress(SymbolError):
            parse(label)
            found.append(label)
    assert len(found) > 2 * len(labels) / 3
    return found


@each_row("label", read_labels(), sample=300)
def test_labels_are_read_as_mir_eval_and_harte_library_read_them(label: str) -> None:
    """mir_eval 0.8, `chord.encode`; harte-library 0.4.5, `Harte.pitches`."""
    chord = parse(label)
    sounding = {t.pitch_class for t in chord.tones}
    low = chord.root_pc if chord.bass is None else chord.bass_pc
    root, bitmap, bass = mir_eval.chord.encode(label, reduce_extended_chords=True)
    assert root == chord.root_pc
    assert (root + bass) % 12 == low
    assert {(root + pc) % 12 for pc in range(12) if bitmap[pc]} == sounding | {low}
    if "*" not in label:  # harte-library keeps what is left out
        pitches = Harte(label).pitches
        assert {pitch.midi % 12 for pitch in pitches} == sounding | {low}


@each_row(
    "text, label",
    [
        ("C", "C:maj"), ("Cm7", "C:min7"), ("C7b9", "C:7(b9)"), ("C9", "C:9"), ("C13", "C:13"),
        ("Cm7b5", "C:hdim7"), ("C7sus4", "C:sus4(b7)"), ("C6/9", "C:maj6(9)"), ("C5", "C:5"),
        ("F#6/A#", "F#:maj6/3"), ("Abm7b5/Gb", "Ab:hdim7/b7"), ("C/F#", "C:maj/#4"),
        ("C13#11", "C:9(#11,13)"), ("C7#5", "C:aug(b7)"), ("N.C.", "N"),
    ],
)  # fmt: skip
def test_harte_labels(text: str, label: str) -> None:
    """Shorthands of Harte et al., ISMIR 2005, as in mir_eval's `chord.QUALITIES`."""
    assert parse(text).harte == label
    mir_eval.chord.validate_chord_label(label)


# Tables of other readers ----------------------------------------------------------------------

#: music21's names of functions, not of suffixes, and its inner names; nobody writes them.
NOT_SUFFIXES = {"N6", "It+6", "It", "Fr+6", "Fr", "Gr+6", "Ger", "pedal", "power", "tristan"}
#: Refused here: no seventh is written, so the flat nine may be an added one; and a compound word.
MUSIC21_REFUSED = {"ob9", "dimb9", "dom7dim5"}


@each_row(
    "suffix, degrees",
    [(alias, degrees) for degrees, aliases in CHORD_TYPES.values() for alias in aliases],
)
def test_music21_chord_types(suffix: str, degrees: str) -> None:
    """music21 10.5, harmony.CHORD_TYPES: its ``-`` is a flat."""
    if suffix in NOT_SUFFIXES | MUSIC21_REFUSED:
        with pytest.raises(SymbolError):
            parse("C" + suffix)
    else:
        theirs = {scale_semitones(d.replace("-", "b")) for d in degrees.split(",")}
        assert classes(parse("C" + suffix)) == theirs


#: pychord reads a bare 4 as an added eleventh; others as a sus4: refused here with both readings.
PYCHORD_REFUSED = {"4"}
#: pychord's 7b9b13 has an 11 that the symbol does not imply; its own 7b13 and 7b9 have none.
PYCHORD_DIFFERS = {"7b9b13": {5}}


@each_row("suffix, degrees", DEFAULT_QUALITIES)
def test_pychord_qualities(suffix: str, degrees: tuple[str, ...]) -> None:
    """pychord 1.4, constants.qualities."""
    if suffix in PYCHORD_REFUSED:
        with pytest.raises(SymbolError, match="two ways"):
            parse("C" + suffix)
    else:
        theirs = {scale_semitones(d) for d in degrees}
        assert theirs - classes(parse("C" + suffix)) == PYCHORD_DIFFERS.get(suffix, set())
        assert classes(parse("C" + suffix)) <= theirs


def tonal_rows() -> list[tuple[str, frozenset[int]]]:
    """Alias and pitch classes of tests/data/tonal_chord_types.tsv."""
    rows = []
    for line in (DATA / "tonal_chord_types.tsv").read_text("utf-8").splitlines():
        if not line.startswith("# "):
            intervals, aliases = line.split("\t")
            made = frozenset(interval_semitones(i) for i in intervals.split())
            rows += [("" if alias == "." else alias, made) for alias in aliases.split()]
    return rows


def interval_semitones(interval: str) -> int:
    """Pitch class of an interval such as ``3m`` or ``11A``."""
    number, quality = int(interval[:-1]), interval[-1]
    lowered = {"P": 0, "M": 0, "A": 1, "m": -1, "d": -1 if number % 7 in (1, 4, 5) else -2}
    return (SCALE[number] + lowered[quality]) % 12


#: Refused: two readings (a bare 4; #4 or b9 without a seventh), private words, a bare "dom".
TONAL_REFUSED = {"maj#4", "dom", "phryg", "m11A", "mb6b9", "4", "quartal"}
_THIRTEENTHS = "13 maj13 Maj13 ^13 m13 -13 13b9 13#9 13b5 13no5"
_FLAT_FIVES = "6b5 M6b5 7b5b13 7b5#9 7#9b5 9b5b13 7b5b9 7b9b5 7b5b9b13"
#: Where the table's chord is another, with the reason: what ours has more, and less.
TONAL_DIFFERS = {
    # A triangle, and ^ for it, is a major seventh also where no 7 follows: common practice.
    "^": ({11}, set()), "^#5": ({11}, set()),
    # The thirteenth implies the eleventh (MusicXML dominant-13th; Harte 13); there it does not.
    **dict.fromkeys(_THIRTEENTHS.split(), ({5}, set())),
    # A major third, though the table leaves it out of 11 chords as players do.
    "11": ({4}, set()), "11b9": ({4}, set()),
    # b13 and b6 do not alter the fifth; the table drops it.
    **dict.fromkeys(("7b13", "9b13", "M7b6", "^7b6", "mb6M7"), ({7}, set())),
    # b5 alters the fifth; the table keeps it and means #11.
    **dict.fromkeys(_FLAT_FIVES.split(),
                    (set(), {7})),
    # An added 13 adds no 9.
    "M7add13": (set(), {2}),
    # All altered degrees (diminished whole tone); the table has four notes of them.
    "alt7": ({3, 6, 8}, set()), "7alt": ({1, 6}, set()),
}  # fmt: skip


@each_row("suffix, theirs", tonal_rows())
def test_tonal_chord_types(suffix: str, theirs: frozenset[int]) -> None:
    """npm package @tonaljs/chord-type 5.2.0 (MIT), the table in tests/data."""
    text = "C " + suffix if suffix[:1] in ("b", "#") else "C" + suffix
    if suffix in TONAL_REFUSED:
        with pytest.raises(SymbolError):
            parse(text)
    else:
        more, less = TONAL_DIFFERS.get(suffix, (set(), set()))
        assert classes(parse(text)) - theirs == more
        assert theirs - classes(parse(text)) == less


# Textbooks ------------------------------------------------------------------------------------


@each_row(
    "text, notes",
    [
        ("C", "C E G"), ("C7", "C E G Bb"), ("Cadd9", "C E G D"), ("C9", "C E G Bb D"),
        ("Csus", "C F G"), ("Csus4", "C F G"), ("Csus2", "C D G"), ("C6/9", "C E G A D"),
        ("C6", "C E G A"), ("C13", "C E G Bb D F A"), ("C11", "C E G Bb D F"),
        ("CΔ", "C E G B"), ("C+", "C E G#"), ("Co7", "C Eb Gb Bbb"), ("Cø7", "C Eb Gb Bb"),
    ],
)  # fmt: skip
def test_reading_rules(text: str, notes: str) -> None:
    """Open Music Theory v2, "Chord Symbols"; Hutchinson, Music Theory for the 21st-Century
    Classroom, jazz unit (GFDL).
    """
    assert " ".join(tone.note for tone in parse(text).tones) == notes


def test_bass_need_not_be_a_chord_tone() -> None:
    """Open Music Theory v2, "Chord Symbols": C/F#."""
    chord = parse("C/F#")
    assert (chord.bass, [t.note for t in chord.tones]) == ("F#", ["C", "E", "G"])


@pytest.mark.parametrize(
    ("text", "tensions"),
    [
        ("Cmaj7", {"9", "#11", "13"}),
        ("C6", {"9", "#11", "7"}),
        ("Cm7", {"9", "11", "13"}),
        ("Cm(maj7)", {"9", "11", "13"}),
        ("Cm7b5", {"9", "11", "b13"}),
        ("Cdim7", {"9", "11", "b13", "7"}),
        ("C7", {"9", "#11", "13", "b9", "#9", "b13"}),
        ("C7sus4", {"9", "13", "b9", "#9", "b13"}),
    ],
)
def test_tensions_of_the_whole_step_rule(text: str, tensions: set[str]) -> None:
    """Terefenko, *Jazz Theory* (2014), ch. 5; Nettles, *Berklee Harmony 3*: whole steps."""
    assert {tone.degree for tone in parse(text).tensions} == tensions


@pytest.mark.parametrize(
    ("text", "avoid"),
    [("Cmaj7", "11"), ("C7", "11"), ("Cm7b5", "b9"), ("Cm(maj7)", ""), ("Cdim7", "")],
)
def test_avoid_notes(text: str, avoid: str) -> None:
    """Nettles, *Berklee Harmony 3*: avoid a half step above a chord tone; textbooks' scales."""
    assert parse(text).avoid == tuple(avoid.split())
