"""Scores against MusicXML's own schema, music21 and Verovio.

Sources: MusicXML 4.0 XSD (W3C, from the PyPI package musicxml); music21's reader; Verovio's log.
"""

from __future__ import annotations

from fractions import Fraction
from typing import Any
from xml.etree import ElementTree

import pytest

from scores.readers import Sounded, faults, laid_out_by_verovio, read_by_music21, sounded
from shortway.core.charts import parse_chart
from shortway.core.exercises.exercise import exercise
from shortway.core.solver.solve import solve
from shortway.scores.display import ScoreDisplay
from shortway.scores.notation import musicxml
from shortway.scores.notation.clefs import BASS, TREBLE, diatonic_step, ledger_lines
from shortway.scores.notation.model import STAVES, Score, build_score
from support.tables import each_row

CIRCLE = ["C", "F", "Bb", "Eb", "Ab", "Db", "Gb", "B", "E", "A", "D", "G"]


def turnaround(key: str) -> str:
    """A chart in `key` by its degrees, spelled as the key spells: ii V I, a dominant, a rest."""
    names = {
        "C": "D G C A", "F": "G C F D", "Bb": "C F Bb G", "Eb": "F Bb Eb C", "Ab": "Bb Eb Ab F",
        "Db": "Eb Ab Db Bb", "Gb": "Ab Db Gb Eb", "B": "C# F# B G#", "E": "F# B E C#",
        "A": "B E A F#", "D": "E A D B", "G": "A D G E",
    }[key].split()  # fmt: skip
    two, five, one, six = names
    return f"key: {key}\n| {two}m9 {five}13 | {one}maj7 | N.C. {six}7b9 | {two}m7b5 {five}7alt |"


CHARTS: dict[str, tuple[Any, dict[str, Any]]] = {
    **{f"key {key}": (turnaround(key), {}) for key in CIRCLE},
    "waltz": ("meter: 3/4\nkey: Gm\n| Am7b5 | D7b9 / D7 | Gm6 |", {}),
    "six eight": ("meter: 6/8\n| Eb7 Ab7 | N.C. | Eb7alt/Gb | % |", {"hands": "left"}),
    "five four": ("meter: 5/4\n| Dm7 / / G7 / | C69 |", {}),
    "triplets": ("| Dm7 G7 Cmaj7 | C13#11 |", {"bass_player": False}),
    "left": ("| Fm7 | Bb7 | Ebmaj7 | % |", {"hands": "left"}),
    "right": ("| Fm7 | Bb7 | Ebmaj7 | % |", {"hands": "right"}),
    "solo": ("| Fm7 | Bb7 | Ebmaj7 | C7/E |", {"bass_player": False}),
    "left solo": ("| Fm7 | Bb7 | Ebmaj7 | C7/E |", {"bass_player": False, "hands": "left"}),
    "top": ("| Dm9 | G13 | Cmaj9 |", {"families": ["guide-tone-full"], "home": "C6"}),
    "repeat": ("|: Bb6 G7 | Cm7 F7 |1. Dm7 G7b9 :|2. Cm7 / F7 Bb6 |", {}),
    "ragged": (
        {
            "measures": [
                [{"symbol": "Dm7", "beats": 1}],
                [{"symbol": "G7", "beats": 4 / 3}, {"symbol": "Db7", "beats": 8 / 3}],
                [{"symbol": "Cmaj7", "beats": 0.2}, {"symbol": "A7", "beats": 3.8}],
                [{"symbol": "Dm7", "beats": 3}],
                [{"symbol": "G7", "beats": 6}],
                [{"symbol": "C6", "beats": 2}],
            ],
            "meters": [{"measure": 4, "meter": "3/4"}, {"measure": 5, "meter": "6/8"}],
            "keys": [{"measure": 3, "key": "Bb"}, {"measure": 5, "key": "F#m"}],
        },
        {},
    ),
}
SHOWS = [ScoreDisplay(), ScoreDisplay(held="struck", degrees=True)]


def music(name: str, show: ScoreDisplay) -> Score:
    chart, setting = CHARTS[name]
    found = parse_chart(chart)
    return build_score(found, solve(found, setting), tempo=96.5, show=show)


EVERY = pytest.mark.parametrize(
    ("name", "show"), [(n, s) for n in CHARTS for s in SHOWS], ids=lambda v: getattr(v, "held", v)
)


@EVERY
def test_scores_are_valid(name: str, show: ScoreDisplay) -> None:
    assert faults(musicxml.write_musicxml(music(name, show))) == []


def test_the_schema_would_see_a_fault() -> None:
    """MusicXML 4.0 lists every kind-value: another is rejected."""
    score = musicxml.write_musicxml(music("key Eb", ScoreDisplay()))
    assert b">minor-ninth<" in score
    assert faults(score.replace(b">minor-ninth<", b">minor9th<"))


def expected(of: Score, staff: Any) -> Sounded:
    """What a hand should play: notes of one name that are held count once."""
    found: Sounded = set()
    open_at: dict[str, tuple[Fraction, Fraction]] = {}
    for span in of.hand(staff):
        for note in span.notes:
            begin, length = of.quarters(span.begin), of.quarters(span.end - span.begin)
            if note.note in span.held:
                begin, before = open_at[note.note]
                found.remove((begin, before, note.note))
                length += before
            found.add((begin, length, note.note))
            open_at[note.note] = begin, length
    return found


def planned(of: Score) -> Sounded:
    """Every note of the path at its step's time, not joined: independent of spans."""
    found, onset = set(), Fraction(0)
    for each in of.path.steps:
        meter = of.chart.meter_at(each.step.measure)
        length = each.step.beats * Fraction(4, meter[1])
        for note in each.voicing.notes if each.voicing else ():
            found.add((onset, length, note.note))
        onset += length
    return found


@EVERY
def test_music21_reads_the_same_music(name: str, show: ScoreDisplay) -> None:
    of = music(name, show)
    read_back = read_by_music21(musicxml.write_musicxml(of))
    staves = list(read_back.parts)
    assert len(staves) == len(STAVES)
    heard = [sounded(part) for part in staves]
    for found, staff in zip(heard, STAVES, strict=True):
        assert found == expected(of, staff)
    if show.held == "struck":
        assert heard[0] | heard[1] == planned(of)
    measures = list(staves[0].getElementsByClass("Measure"))
    assert len(measures) == len(of.chart.order)
    begins = [Fraction(m.offset).limit_denominator(10000) for m in measures]
    assert begins == [of.quarters(bar.onset) for bar in of.bars]


@each_row("name", CHARTS)
def test_music21_reads_the_same_harmony(name: str) -> None:
    of = music(name, ScoreDisplay())
    read_back = read_by_music21(musicxml.write_musicxml(of))
    found = [
        (Fraction(h.getOffsetInHierarchy(read_back)).limit_denominator(10000), h)
        for h in read_back.recurse().getElementsByClass("Harmony")
    ]
    assert [onset for onset, _ in found] == [of.quarters(sign.onset) for sign in of.signs]
    for (_, symbol), sign in zip(found, of.signs, strict=True):
        if sign.chord.root is None:
            assert symbol.chordKind == "none"
            continue
        assert symbol.root().name.replace("-", "b") == sign.chord.root
        # a slash bass is read as music21 reads it, the pitch alone
        bass = (sign.chord.bass or sign.chord.root).replace("b", "-")
        assert symbol.bass().name == bass


@pytest.mark.parametrize("name", ["ragged", "waltz", "key Gb"])
def test_music21_reads_keys_and_meters(name: str) -> None:
    of = music(name, ScoreDisplay())
    part = read_by_music21(musicxml.write_musicxml(of)).parts[0]
    meters = [t.ratioString for t in part.recurse().getElementsByClass("TimeSignature")]
    wanted = {
        "ragged": ["4/4", "3/4", "6/8"],
        "waltz": ["3/4"],
        "key Gb": ["4/4"],
    }
    assert meters == wanted[name]
    keys = [k.sharps for k in part.recurse().getElementsByClass("KeySignature")]
    assert keys[1:] == {"ragged": [-2, 3], "waltz": [], "key Gb": []}[name]
    assert name == "ragged" or keys[0] == {"waltz": -2, "key Gb": -6}[name]


@EVERY
def test_verovio_has_nothing_to_say(
    name: str, show: ScoreDisplay, capfd: pytest.CaptureFixture[str]
) -> None:
    laid_out_by_verovio(musicxml.write_musicxml(music(name, show)))
    assert capfd.readouterr().err == ""


def test_verovio_would_say_something(capfd: pytest.CaptureFixture[str]) -> None:
    score = musicxml.write_musicxml(music("key C", ScoreDisplay()))
    broken = score.replace(b'<tied type="stop"/>', b"").replace(b'<tie type="stop"/>', b"")
    assert broken != score
    laid_out_by_verovio(broken)
    assert "Warning" in capfd.readouterr().err


def test_accidentals_are_printed_once_a_measure_and_none_for_what_the_key_has() -> None:
    """Common practice: a sign holds for its line to the end of the measure."""
    chart = parse_chart({"key": "C", "measures": [[{"symbol": "C7"}, {"symbol": "C7"}],
        [{"symbol": "C7"}],
                  [{"symbol": "C7"}]]})  # fmt: skip
    of = build_score(chart, solve(chart), show=ScoreDisplay(held="struck"))
    root = ElementTree.fromstring(musicxml.write_musicxml(of))
    signs = [
        [n.findtext("accidental") for n in m.iter("note") if n.findtext("pitch/step") == "B"]
        for m in root.iter("measure")
    ]
    assert signs == [["flat", None], ["flat"], ["flat"]]


def test_each_key_of_an_exercise_begins_a_page_under_its_name() -> None:
    found = exercise("| Dm7 | G7 | Cmaj7 | % |", keys=["C", "Eb", "F#"])
    show = ScoreDisplay(page_breaks="sections")
    root = ElementTree.fromstring(
        musicxml.write_musicxml(build_score(found.chart, found.path, show=show))
    )
    measures = root.findall("part/measure")
    pages = [m.get("number") for m in measures if m.find("print[@new-page='yes']") is not None]
    assert pages == ["5", "9"]
    named = {m.get("number"): m.findtext(".//rehearsal") for m in measures}
    assert [named[number] for number in ("1", *pages)] == ["C", "Eb", "F#"]


def test_degrees_are_written_note_by_note() -> None:
    chart = parse_chart("| Dm7 | G7 | Cmaj7 |")
    path = solve(chart, {"hands": "left"})
    root = ElementTree.fromstring(
        musicxml.write_musicxml(build_score(chart, path, show=ScoreDisplay(degrees=True)))
    )
    for measure, each in zip(root.iter("measure"), path.steps, strict=True):
        assert each.voicing is not None
        lines = {
            int(n.get("number", "")): n.findtext("text") for n in measure.iter("lyric")
        }  # the highest note has the first line
        assert [lines[k] for k in sorted(lines)] == [n.degree for n in each.voicing.left[::-1]]


@each_row("name", CHARTS)
def test_no_clef_that_a_pianist_would_curse(name: str) -> None:
    """Common practice, no source: at most three ledger lines, and no clef for a single measure."""
    of = music(name, ScoreDisplay())
    root = ElementTree.fromstring(musicxml.write_musicxml(of))
    clefs = {"1": TREBLE, "2": BASS}
    shifted = {"1": 0, "2": 0}
    for measure in root.iter("measure"):
        for element in measure:
            for clef in element.iter("clef"):
                clefs[clef.get("number", "")] = TREBLE if clef.findtext("sign") == "G" else BASS
            shift = element.find("direction-type/octave-shift")
            if shift is not None:
                staff = element.findtext("staff") or ""
                shifted[staff] = {"down": 7, "up": -7, "stop": 0}[shift.get("type", "")]
            if element.find("pitch") is not None:
                staff = element.findtext("staff") or ""
                letter = element.findtext("pitch/step") or ""
                octave = int(element.findtext("pitch/octave") or 0)
                at = diatonic_step(f"{letter}{octave}") - shifted[staff]
                clef = clefs[staff]
                lines = max(0, (clef.bottom - at) // 2, (at - clef.top) // 2)
                assert lines <= 3, (letter, octave, staff, clef.sign)


def test_ledger_lines_are_counted_as_they_are_printed() -> None:
    """Common practice: middle C has one in either clef; E4 two over the bass staff."""
    assert [ledger_lines(n, BASS) for n in ("A3", "C4", "E4", "E2", "C2")] == [0, 1, 2, 1, 2]
    assert [ledger_lines(n, TREBLE) for n in ("D4", "C4", "A3", "A5", "C6")] == [0, 1, 2, 1, 2]
