"""Reading chord symbols: tables of what is read and what is refused, and laws."""

from __future__ import annotations

import contextlib
import dataclasses
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from shortway.core.errors import SymbolError
from shortway.core.symbols import parser as symbols
from shortway.core.symbols.parser import MAX_LENGTH, parse
from shortway.core.theory.pitch import DEGREES, pitch_class, spell
from support.tables import each_row

DATA = Path(__file__).parents[2] / "data"
KEYS = ["C", "Db", "D", "Eb", "E", "F", "F#", "Gb", "G", "Ab", "A", "Bb", "B"]
ROOTS = [letter + sign for letter in "ABCDEFG" for sign in ("", "b", "#", "bb", "##")]


def spelling_table() -> list[tuple[str, tuple[str, ...]]]:
    """Suffixes and degrees of tests/data/suffixes.tsv."""
    rows = []
    for line in (DATA / "suffixes.tsv").read_text("utf-8").splitlines():
        if not line.startswith("# "):
            suffix, degrees = line.split("\t")
            rows.append(("" if suffix == "." else suffix, tuple(degrees.split())))
    return rows


SPELLINGS = spelling_table()
# What stands directly after the root's letter belongs to the root, so a sign there is no suffix.
SUFFIXES = [suffix for suffix, _ in SPELLINGS]


def fault(text: str) -> tuple[int | None, str, str]:
    """Position, detail and expected of the error that `text` raises."""
    with pytest.raises(SymbolError) as caught:
        parse(text)
    (only,) = caught.value.faults
    assert caught.value.code == "symbol-unreadable"
    assert only.pointer == ""
    return only.position, only.detail, only.expected or ""


# Spellings ------------------------------------------------------------------------------------


def test_the_table_is_large_and_says_each_thing_once() -> None:
    assert len(SUFFIXES) == len(set(SUFFIXES)) > 800


@each_row("suffix, degrees", SPELLINGS)
def test_spelling_in_every_key(suffix: str, degrees: tuple[str, ...]) -> None:
    """Common practice, no source."""
    for root in KEYS:
        chord = parse(root + suffix)
        assert chord.degrees == degrees
        assert (chord.root, chord.bass) == (root, None)
        at = pitch_class(root)
        assert [t.pitch_class for t in chord.tones] == [(at + DEGREES[d]) % 12 for d in degrees]


@each_row("suffix", SUFFIXES)
def test_canonical_name_reads_back(suffix: str) -> None:
    for root in KEYS:
        chord = parse(root + suffix)
        again = parse(chord.name)
        assert again == chord
        assert again.name == chord.name
        assert chord.name.isascii()


def test_different_chords_never_share_a_name_and_equal_ones_do() -> None:
    by_name: dict[str, tuple[tuple[str, ...], tuple[str, ...]]] = {}
    by_content: dict[tuple[tuple[str, ...], tuple[str, ...]], str] = {}
    for suffix in SUFFIXES:
        chord = parse("C" + suffix)
        content = chord.degrees, chord.written
        assert by_name.setdefault(chord.name, content) == content
        assert by_content.setdefault(content, chord.name) == chord.name


@each_row(
    "text, name",
    [
        ("C", "C"), ("CM", "C"), ("C-", "Cm"), ("CΔ", "Cmaj7"), ("Cø", "Cm7b5"), ("C°7", "Cdim7"),
        ("C+", "Caug"), ("C+7", "C7#5"), ("CM7+5", "Cmaj7#5"), ("C69", "C6/9"), ("C-69", "Cm6/9"),
        ("C-Δ", "Cm(maj7)"), ("Cm9(maj7)", "Cm(maj9)"), ("Csus", "Csus4"), ("C9sus", "C9sus4"),
        ("C(add9)", "Cadd9"), ("Cmadd9", "Cm(add9)"), ("C7(#9,#5)", "C7#5#9"), ("Calt", "C7alt"),
        ("C13(b9)", "C13b9"), ("Cno3rd", "C5"), ("C7omit3", "C7(no3)"), ("C7/6", "C7(add13)"),
        ("Coᴹ7", None), ("C°Δ7", "Cdim(maj7)"), ("CmΔ/B", "Cm(maj7)/B"), ("E♭-7/D♭", "Ebm7/Db"),
        ("C7(9,13)", "C9(add13)"), ("Csus24", "Csus4(add9)"), ("F𝄪7", "F##7"), ("N.C.", "N.C."),
    ],
)  # fmt: skip
def test_canonical_spelling(text: str, name: str | None) -> None:
    if name is None:
        fault(text)
    else:
        assert parse(text).name == name


# Attributes -----------------------------------------------------------------------------------


@each_row(
    "text, written, guide_tones",
    [
        ("C", (), ("3",)), ("Cm", (), ("b3",)), ("C5", (), ()), ("C6", (), ("3", "6")),
        ("C7", (), ("3", "b7")), ("Cmaj7", (), ("3", "7")), ("Cdim7", (), ("b3", "bb7")),
        ("Cdim", (), ("b3",)), ("Cm7b5", ("b5",), ("b3", "b7")), ("Cø", ("b5",), ("b3", "b7")),
        ("C+", ("#5",), ("3",)), ("C7#5", ("#5",), ("3", "b7")), ("C9", ("9",), ("3", "b7")),
        ("C11", ("11",), ("3", "b7")), ("C13", ("13",), ("3", "b7")),
        ("C13#11", ("#11", "13"), ("3", "b7")), ("C7b9#11", ("b9", "#11"), ("3", "b7")),
        ("Cadd9", ("9",), ("3",)), ("C6/9", ("9",), ("3", "6")), ("Csus4", (), ("4",)),
        ("Csus2", (), ("9",)), ("C7sus4", (), ("4", "b7")), ("C13sus4", ("13",), ("4", "b7")),
        ("C7(no3)", (), ("b7",)), ("C7alt", ("b9", "#9", "#11", "b13"), ("3", "b7")),
        ("Cm(maj7)", (), ("b3", "7")), ("Cdim(maj7)", (), ("b3", "7")),
        ("Cdim7(maj7)", ("7",), ("b3", "bb7")), ("N.C.", (), ()),
    ],
)  # fmt: skip
def test_written_and_guide_tones(
    text: str, written: tuple[str, ...], guide_tones: tuple[str, ...]
) -> None:
    chord = parse(text)
    assert (chord.written, chord.guide_tones) == (written, guide_tones)


@each_row(
    "text, notes",
    [
        ("Gb7", "Gb Bb Db Fb"),
        ("F#7", "F# A# C# E"),
        ("Abm7b5/Gb", "Ab Cb Ebb Gb"),
        ("Cbmaj7", "Cb Eb Gb Bb"),
        ("B#m", "B# D# F##"),
        ("Bdim7", "B D F Ab"),
        ("Ebdim7", "Eb Gb Bbb Dbb"),
        ("D7#9", "D F# A C E#"),
        ("C13", "C E G Bb D F A"),
        ("C7alt", "C E Bb Db D# F# Ab"),
        ("Csus2", "C D G"),
        ("Fm(add9)", "F Ab C G"),
    ],
)
def test_notes_follow_the_chords_spelling(text: str, notes: str) -> None:
    assert " ".join(tone.note for tone in parse(text).tones) == notes


def test_no_chord_is_empty() -> None:
    for text in ("N.C.", "NC", "n.c.", "N.C", "N. C.", "No Chord", " N.C. "):
        chord = parse(text)
        assert (chord.name, chord.root, chord.bass, chord.kind, chord.harte, chord.chord_type) == (
            "N.C.", None, None, "none", "N", "none"
        )  # fmt: skip
        assert (chord.tones, chord.tensions, chord.avoid, chord.colours) == ((), (), (), ())
        assert (chord.root_pc, chord.bass_pc) == (None, None)


@pytest.mark.parametrize(
    ("text", "root", "bass", "suffix"),
    [
        ("C/E", "C", "E", ""),
        ("C/F#", "C", "F#", ""),
        ("C6/9/E", "C", "E", "6/9"),
        ("Bb7/Ab", "Bb", "Ab", "7"),
        ("D/ C", "D", "C", ""),
        ("Am7/G", "A", "G", "m7"),
        ("C7/b9/Bb", "C", "Bb", "7b9"),
        ("F♯ø/E♭", "F#", "Eb", "m7b5"),
        ("G/C♭♭", "G", "Cbb", ""),
    ],
)
def test_slash_bass_may_lie_outside_the_chord(text: str, root: str, bass: str, suffix: str) -> None:
    chord = parse(text)
    assert (chord.root, chord.bass, chord.quality) == (root, bass, suffix)
    assert chord.bass_pc == pitch_class(bass)


def test_six_nine_is_no_bass() -> None:
    assert parse("C6/9").bass is None


@each_row(
    "text, root, degrees",
    [
        ("Ab5", "Ab", "1 5"), ("A(b5)", "A", "1 3 b5"), ("Bb9", "Bb", "1 3 5 b7 9"),
        ("Bb13", "Bb", "1 3 5 b7 9 11 13"), ("B#9", "B#", "1 3 5 b7 9"), ("A#5", "A#", "1 5"),
        ("Bbb7", "Bbb", "1 3 5 b7"), ("Bbbm7b5", "Bbb", "1 b3 b5 b7"), ("E♭b5", "Eb", "1 3 b5"),
        ("Eb b5", "Eb", "1 3 b5"), ("B𝄫9", "Bbb", "1 3 5 b7 9"), ("Bbbdom9", "Bbb", "1 3 5 b7 9"),
    ],
)  # fmt: skip
def test_a_sign_after_the_letter_belongs_to_the_root(text: str, root: str, degrees: str) -> None:
    chord = parse(text)
    assert (chord.root, " ".join(chord.degrees)) == (root, degrees)
    assert parse(chord.name) == chord


def test_symbol_stays_as_written_and_is_not_compared() -> None:
    assert parse("CM7").symbol == "CM7"
    assert parse("CM7") == parse("CΔ") == parse("Cmaj7")
    assert hash(parse("CM7")) == hash(parse("Cmaj7"))
    assert parse("Gb7") != parse("F#7")


def test_a_chord_is_frozen() -> None:
    with pytest.raises(dataclasses.FrozenInstanceError):
        parse("C").root = "D"  # type: ignore[misc]


# Refusals -------------------------------------------------------------------------------------

REFUSED = [
    # text, position, something that the detail says, something that is expected
    ("", 0, "chord symbol", "root"),
    ("   ", 3, "chord symbol", "root"),
    ("H7", 0, "H is not", "A to G"),
    ("c7", 0, "capital", "A to G"),
    ("?", 0, "'?'", "A to G"),
    ("7", 0, "'7'", "A to G"),
    ("N.C./E", 0, "'N'", "A to G"),
    ("Cx", 1, "'x'", "maj"),
    ("C7é", 2, "'é'", "maj"),
    ("C7\x00", 2, "cannot read", "maj"),
    ("C7😀", 2, "cannot read", "maj"),
    ("C7b7", 2, "b7 is no degree", "b9"),
    ("C7#13", 2, "#13 is no degree", "b13"),
    ("C7b11", 2, "b11 is no degree", "#11"),
    ("C7b3", 2, "b3 is no degree", "b9"),
    ("C7b", 1, "b7 is no degree", "b9"),
    ("Cmb", 2, "no number", "5, 9"),
    ("C7b12", 2, "no number", "5, 9"),
    ("C8", 1, "'8'", "a number"),
    ("C3", 1, "3 cannot stand alone", "add3"),
    ("Cmm7", 2, "directly after the root", "degrees"),
    ("CMm7", 2, "directly after the root", "degrees"),
    ("C7m", 2, "directly after the root", "degrees"),
    ("Cmaj7dim", 5, "directly after the root", "degrees"),
    ("CmM", 3, "requires a number", "7, 9"),
    ("Cdom", 4, "dom requires a number", "7, 9"),
    ("C7(b9", 5, "not closed", ")"),
    ("C7b9)", 4, "not opened", "("),
    ("C7()", 3, "are empty", "degree"),
    ("C7(b9,)", 6, "are empty", "degree"),
    ("C7,", 3, "nothing follows", "degree"),
    ("C7/", 3, "nothing follows", "degree"),
    ("C7,,b9", 3, "nothing comes before", "degree"),
    ("C/e", 2, "capital", "A to G"),
    ("C/E7", 2, "'E'", "maj"),
    ("C/E/G", 2, "'E'", "maj"),
    ("Cadd", 4, "add requires a degree", "9"),
    ("Cadd5", 4, "add requires a degree", "9"),
    ("Cadd7", 4, "add requires a degree", "9"),
    ("Cadd3", 4, "add requires a degree", "9"),
    ("Cno", 3, "no requires the degree", "3"),
    ("Cnope", 3, "no requires the degree", "3"),
    # contradictions
    ("Csus4(no4)", 8, "no4 contradicts", "implies"),
    ("Cm(no3)", 5, "no3 contradicts", "implies"),
    ("C5(no5)", 5, "no5 contradicts", "implies"),
    ("C7#5(no5)", 7, "no5 contradicts", "implies"),
    ("Cdim(no5)", 7, "no5 contradicts", "implies"),
    ("C7b9(no9)", 7, "no9 contradicts", "implies"),
    ("C9(no9)", 5, "no9 contradicts", "implies"),
    ("C(no9)", 4, "no9 contradicts", "implies"),
    ("C7(no7)", 5, "no7 contradicts", "implies"),
    ("C(no3,no5)", 8, "only the root", "third"),
    ("Cno3no3", 6, "no3 is given twice", "once"),
    ("C7b9b9", 4, "b9 is given twice", "once"),
    ("C9(9)", 3, "9 is given twice", "once"),
    ("C7(13,13)", 6, "13 is given twice", "once"),
    ("C+7+", 3, "given twice", "another"),
    ("Csussus4", 4, "sus is given twice", "once"),
    ("Csus4(11)", 6, "the 11 repeats", "another"),
    ("C6(13)", 3, "the 13 repeats the 6", "9 or 11"),
    ("C6/9(add13)", 8, "the 13 repeats the 6", "9 or 11"),
    ("Cm7(maj7)", 4, "seventh", "degrees"),
    ("CøM7", 2, "seventh", "degrees"),
    ("C5(7)", 3, "does not fit", "another"),
    ("C57", 2, "does not fit", "add9"),
    ("C5b5", 2, "power chord", "triad"),
    ("Cdim7#5", 5, "b5, not a #5", "b13"),
    ("Cdimsus4", 4, "sus does not fit", "degrees"),
    ("Cm5", 2, "5 is implied", "b5"),
    ("C-5", 2, "5 is implied", "b5"),
    ("Cdim13", 4, "does not fit", "nothing"),
    ("C97", 2, "does not fit", "another"),
    ("C7b9alt", 4, "alt alters", "7alt"),
    ("Cm7alt", 3, "alt alters", "7alt"),
    ("C13alt", 3, "alt alters", "7alt"),
    ("C7alt(13)", 6, "alt already", "nothing"),
    ("Cadd97", 5, "must come before", "number first"),
    # two readings
    ("C79b13", 3, "9 and b13, or b9 and 13", "(b9,13)"),
    ("C7(9b13)", 4, "9 and b13, or b9 and 13", "(9,b13)"),
    ("C7(13#11)", 5, "13 and #11, or #13 and 11", "(13,#11)"),
    ("C7b9b", 1, "every sign belongs to the number before", "b9"),
    ("Abb5", 2, "Ab with b5, or 5 on Abb", "Ab(b5) or Abb(no3)"),
    ("Abb9", 2, "Ab with b9, or 9 on Abb", "Abbdom9"),
    ("F##11", 2, "F# with #11, or 11 on F##", "F#(#11)"),
    ("B♭♭13", 2, "two ways", "Bbbdom13"),
    ("C(b9)", 2, "two ways", "7(b9) or (addb9)"),
    ("C(#9)", 2, "two ways", "7(#9)"),
    ("Cm(b13)", 3, "two ways", "7(b13)"),
    ("C(13)", 2, "two ways", "13 or add13"),
    ("C(b9)sus2", 2, "two ways", "7(b9)"),
    ("Cmaj#11", 4, "maj7#11, or a triad", "maj7(#11)"),
    ("Cmaj(9)", 5, "maj9, or added 9", "maj9"),
    ("C4", 1, "suspended, or added", "sus4 or add4"),
    ("C9b9", 2, "7b9, or both", "7b9"),
    ("C11#11", 3, "9#11, or both", "9#11"),
    ("C9/6", 3, "6/9 chord, or an added 13", "6/9"),
    ("C/9", 2, "two ways", "9 or add9"),
    ("C7(9+)", 4, "#9, or 9 with a raised fifth", "#9"),
    ("Cm+7", 2, "m(maj7), or m7 with a raised fifth", "(maj7)"),
    ("Cmj7", 2, "maj, or minor", "m(maj7)"),
    ("C9b", 1, "two ways", "add"),
    ("C11#", 1, "two ways", "add"),
]  # fmt: skip


@each_row("text, position, says, expects", REFUSED)
def test_refused(text: str, position: int, says: str, expects: str) -> None:
    at, detail, expected = fault(text)
    assert at == position
    assert says in detail
    assert expects in expected


@pytest.mark.parametrize("text", ["C7b5#5", "C7(b9,9)", "C9(no3)", "C13(no11)", "Csus4(no5)"])
def test_odd_but_legal(text: str) -> None:
    assert parse(parse(text).name) == parse(text)


def test_positions_count_from_the_start_of_the_text() -> None:
    assert fault("  E♭7x")[0] == 5
    assert fault("Bb7(b9)x/D")[0] == 7


def test_ten_thousand_characters_are_refused_unread(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(symbols, "read_suffix", None)
    monkeypatch.setattr(symbols, "_ROOT", None)
    at, detail, expected = fault("C" + "7(b9)" * 2000)
    assert at == MAX_LENGTH
    assert "10001" in detail
    assert str(MAX_LENGTH) in expected


def test_the_longest_sensible_symbol_fits() -> None:
    text = "Ab minor 7 (flat 5, add 9, add 11) / Gb"
    assert len(text) < MAX_LENGTH
    assert parse(text).name == "Abm9b5(add11)/Gb"


@pytest.mark.parametrize("value", [None, 7, b"C7", ["C7"]])
def test_only_text_is_a_symbol(value: object) -> None:
    with pytest.raises(SymbolError, match="text"):
        parse(value)  # type: ignore[arg-type]


# Laws -----------------------------------------------------------------------------------------

PIECES = (
    "m maj ma M Δ dim o ø h aug + - 5 6 7 9 11 13 2 b5 #5 b9 #9 #11 b13 -9 +9 +11 b6 #4 sus sus2 "
    "sus4 add9 add11 add13 add6 add3 addb9 add#11 addb13 maj7 no3 no5 no9 no11 alt ( ) , / 6/9 "
    "(maj7) (b9) (9) (13) dom7 b # 9b 5# ^ j"
)
SYMBOLS = st.builds(
    lambda root, pieces, bass: root + "".join(pieces) + bass,
    st.sampled_from(ROOTS),
    st.lists(st.sampled_from(PIECES.split()), max_size=6),
    st.sampled_from(["", "", "", "/E", "/Gb", "/B#"]),
)


@given(SYMBOLS)
def test_whatever_is_read_reads_back_from_its_name(text: str) -> None:
    try:
        chord = parse(text)
    except SymbolError as error:
        (only,) = error.faults
        assert only.position is not None
        assert 0 <= only.position <= len(text)
        assert only.expected
        return
    again = parse(chord.name)
    assert again == chord
    assert (again.name, again.kind, again.kind_degrees, again.harte, again.tones) == (
        chord.name, chord.kind, chord.kind_degrees, chord.harte, chord.tones
    )  # fmt: skip


@given(st.text(max_size=80))
def test_any_text_is_read_or_refused(text: str) -> None:
    with contextlib.suppress(SymbolError):
        assert parse(parse(text).name) == parse(text)


@given(st.sampled_from(SUFFIXES), st.sampled_from(KEYS), st.sampled_from(KEYS))
def test_a_quality_knows_no_root(suffix: str, first: str, second: str) -> None:
    one, other = parse(first + suffix), parse(second + suffix)
    assert one.content == other.content
    assert [t.note for t in other.tones] == [spell(second, t.degree) for t in one.tones]


@given(st.sampled_from(SUFFIXES))
def test_look_alikes_read_the_same(suffix: str) -> None:
    fancy = suffix.replace("b", "♭").replace("#", "♯").replace("-", "−").replace("7", "⁷")
    assert parse("D" + fancy) == parse("D" + suffix)
