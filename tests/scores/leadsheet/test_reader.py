"""Lead sheets as charts: places, meters, keys, parts and melody; music21's own corpus read."""

from __future__ import annotations

from fractions import Fraction
from pathlib import Path
from zipfile import ZipFile

import music21
import pytest
from defusedxml.ElementTree import fromstring

from shortway.core import charts
from shortway.core.charts import Chart
from shortway.core.errors import BeatsError, ChartError, SymbolError
from shortway.services.read_chart import ChartSource, read_chart, read_lead_sheet, requested_chart
from support.sheets import attributes, harmony, measures, note, packed, rest, score

CORPUS = Path(music21.__file__).parent / "corpus"


def read(*parts: str, head: str = "") -> Chart:
    chart = read_lead_sheet(score(*parts, head=head).encode(), "musicxml").chart
    assert charts.parse_chart(charts.chart_json(chart)) == chart
    return chart


def written(chart: Chart) -> list[str]:
    """``G7 2, C 2`` for each measure."""
    return [
        ", ".join(f"{entry.symbol} {entry.beats}" for entry in measure)
        for measure in chart.measures
    ]


# --- music21's corpus: other people's programs, every harmony element counted --------------------


def elements(name: str) -> list[list[str]]:
    """The roots of every harmony element, measure by measure, read without us."""
    with ZipFile(CORPUS / f"{name}.mxl") as archive:
        member = next(found for found in archive.namelist() if not found.startswith("META"))
        root = fromstring(archive.read(member))
    return [
        [found.findtext("root/root-step") or "" for found in measure.iter("harmony")]
        for measure in root.iter("measure")
    ]


@pytest.mark.parametrize(
    ("name", "count"),
    [("leadSheet/fosterBrownHair", 40), ("leadSheet/berlinAlexandersRagtime", 19)],
)
def test_nothing_of_a_lead_sheet_of_the_corpus_is_lost(name: str, count: int) -> None:
    """Every element is a chord of its measure; before them a chord may be held."""
    chart = read_lead_sheet((CORPUS / f"{name}.mxl").read_bytes(), "mxl").chart
    given = elements(name)
    assert sum(map(len, given)) == count
    for roots, measure in zip(given, chart.measures, strict=True):
        chords = [entry.symbol[0] for entry in measure]
        assert chords[len(chords) - len(roots) :] == roots
        assert len(chords) - len(roots) in ((0, 1) if roots else (1,))


@pytest.mark.parametrize("name", ["leadSheet/fosterBrownHair", "leadSheet/berlinAlexandersRagtime"])
def test_the_corpus_is_played_as_music21_plays_it(name: str) -> None:
    """Peer: music21's reader and repeat expander; lengths and number of measures as played."""
    chart = read_lead_sheet((CORPUS / f"{name}.mxl").read_bytes(), "mxl").chart
    expanded = music21.corpus.parse(name).parts[0].expandRepeats()
    found = expanded.getElementsByClass("Measure")
    lengths = [sum(entry.beats for entry in chart.measures[n - 1]) for n in chart.order]
    assert lengths == [Fraction(measure.barDuration.quarterLength) for measure in found]


def test_every_readable_harmony_of_the_comprehensive_file_is_what_music21_takes_it_for() -> None:
    """57 harmonies; three kinds have no notes in the standard and are told, each with its place.

    Peer: music21's reading of kind and degree elements, by pitch classes. It does not know the old
    name minor-major (measure 11) and leaves out the second of two degrees in one element (54).
    """
    name = "demos/ComprehensiveChordSymbolsTestFile"
    data = (CORPUS / f"{name}.mxl").read_bytes()
    with pytest.raises(SymbolError) as caught:
        read_lead_sheet(data, "mxl")
    told = [fault.detail for fault in caught.value.faults]
    assert [line.split(" of ")[0] for line in told] == ["measure 55", "measure 56", "measure 57"]
    with ZipFile(CORPUS / f"{name}.mxl") as archive:
        text = archive.read("ComprehensiveChordSymbolsTestFile.xml").decode()
    for kind in ("Neapolitan", "tristan", "Italian"):
        text = text.replace(f">{kind}</kind>", ">major</kind>")
    reading = read_lead_sheet(text.encode(), "musicxml")
    assert sum(map(len, elements(name))) == len(reading.chart.measures) == 57
    peers = list(music21.corpus.parse(name).recurse().getElementsByClass("ChordSymbol"))
    assert len(peers) == 57
    for number, (measure, peer) in enumerate(
        zip(reading.chart.measures[:54], peers, strict=False), 1
    ):
        chord = measure[0].chord
        assert chord.root == peer.root().name.replace("-", "b")
        bass = chord.bass or chord.root
        assert bass == peer.bass().name.replace("-", "b"), number
        ours = {tone.pitch_class for tone in chord.tones}
        ours |= {chord.bass_pc} if chord.bass_pc is not None else set()
        if number not in (11, 54):
            assert ours == {pitch.pitchClass for pitch in peer.pitches}, number
    assert reading.chart.measures[10][0].chord.name == "Dm(maj7)"
    assert [tone.degree for tone in reading.chart.measures[53][0].chord.tones] == [
        "1", "5", "9", "11",
    ]  # fmt: skip


# --- places ---------------------------------------------------------------------------------------


def test_chords_stand_where_the_music_is_when_they_come() -> None:
    chart = read(
        measures(
            harmony("F") + note("C5", 8) + harmony("C", "dominant") + note("E5", 8),
            note("F5", 16),
            harmony("Bb") + note("D5", 4) + harmony("G", "dominant") + rest(6)
            + harmony("C", "dominant") + note("E5", 6),
        )
    )  # fmt: skip
    assert written(chart) == ["F 2, C7 2", "C7 4", "Bb 1, G7 3/2, C7 3/2"]


def test_offsets_backups_and_forwards() -> None:
    chart = read(
        measures(
            harmony("F") + harmony("C", "dominant", offset=8) + note("C5", 16),
            note("C5", 16) + harmony("F", offset=-12) + harmony("Bb", offset=-4),
            note("C5", 16) + "<backup><duration>16</duration></backup>" + harmony("Eb")
            + "<forward><duration>6</duration></forward>" + harmony("F") + rest(10),
        )
    )  # fmt: skip
    assert written(chart) == ["F 2, C7 2", "C7 1, F 2, Bb 1", "Eb 3/2, F 5/2"]


def test_before_the_first_chord_is_none_and_a_chord_none_holds() -> None:
    none = "<harmony><root><root-step>C</root-step></root><kind text=''>none</kind></harmony>"
    chart = read(measures(note("C5", 16), note("C5", 8) + harmony("F") + note("C5", 8),
                          none + note("C5", 16), note("C5", 16)))  # fmt: skip
    assert written(chart) == ["N.C. 4", "N.C. 2, F 2", "N.C. 4", "N.C. 4"]


def test_a_later_ending_holds_what_the_first_one_held() -> None:
    def ending(number: int) -> tuple[str, str]:
        begin = f'<barline location="left"><ending type="start" number="{number}"/></barline>'
        back = '<repeat direction="backward"/>' if number == 1 else ""
        end = f'<ending type="stop" number="{number}"/>{back}'
        return begin, f'<barline location="right">{end}</barline>'

    one, two = ending(1), ending(2)
    chart = read(
        measures(
            harmony("Eb") + note("C5", 16),
            one[0] + note("C5", 8) + harmony("Bb", "dominant") + note("C5", 8) + one[1],
            two[0] + note("C5", 16) + two[1],
        )
    )
    assert written(chart) == ["Eb 4", "Eb 2, Bb7 2", "Eb 4"]
    assert chart.order == (1, 2, 1, 3)


def test_meters_change_and_measures_may_be_short() -> None:
    chart = read(
        measures(
            attributes("4/4") + note("G4", 4),
            harmony("C") + note("C5", 16),
            attributes("6/8") + harmony("F") + note("C5", 6) + harmony("G") + note("D5", 6),
            note("C5", 6),
            attributes("2/2") + harmony("C") + note("C5", 16),
            note("C5", 12),
        )
    )
    assert chart.meter == (4, 4)
    assert chart.meters == ((3, (6, 8)), (4, (3, 8)), (5, (2, 2)))
    assert written(chart) == ["N.C. 1", "C 4", "F 3, G 3", "G 3", "C 2", "C 3/2"]


def test_composite_meters_and_one_after_the_music() -> None:
    both = "<time><beats>3+2</beats><beat-type>8</beat-type></time>"
    two = "<time><beats>2</beats><beat-type>4</beat-type><beats>3</beats><beat-type>8</beat-type></time>"  # noqa: E501
    chart = read(
        measures(
            attributes(None, more=both) + harmony("C") + note("C5", 10)
            + attributes(None, divisions=None, more=two),
            note("C5", 14),
        )
    )  # fmt: skip
    assert (chart.meter, chart.meters) == ((5, 8), ((2, (7, 8)),))


def test_keys_with_their_modes_and_changes() -> None:
    chart = read(
        measures(
            attributes(fifths=-3, mode="minor") + harmony("C", "minor") + note("C5", 16),
            note("C5", 16),
            attributes(None, -3, "major", divisions=None) + note("C5", 16),
            attributes(None, 0, "dorian", divisions=None) + note("C5", 16),
        )
    )
    assert (chart.key, chart.keys) == ("Cm", ((3, "Eb"), (4, "Dm")))


def test_a_transposing_part_sounds() -> None:
    """A written D on a B flat trumpet sounds C (MusicXML 4.0, transpose: written to sounding)."""
    trumpet = "<transpose><diatonic>-1</diatonic><chromatic>-2</chromatic></transpose>"
    chart = read(
        measures(
            attributes(fifths=2, mode="major", more=trumpet)
            + harmony("D", "major-seventh", bass="F#") + note("F#5", 16)
        )
    )  # fmt: skip
    assert chart.key == "C"
    assert written(chart) == ["Cmaj7/E 4"]
    assert chart.measures[0][0].melody == (76,)
    tenor = "<transpose><chromatic>-2</chromatic><octave-change>-1</octave-change></transpose>"
    chart = read(measures(attributes(more=tenor) + harmony("E", "dominant") + note("C5", 16)))
    assert (written(chart), chart.measures[0][0].melody) == (["D7 4"], (58,))


# --- parts ----------------------------------------------------------------------------------------


def test_parts_may_share_the_harmonies_and_must_agree() -> None:
    tune = measures(note("C5", 16), note("D5", 16))
    chords = measures(harmony("C") + rest(16), harmony("G", "dominant") + rest(16))
    same = measures(harmony("C", text="maj") + note("E5", 16), note("F5", 16))
    chart = read(tune, chords, same)
    assert written(chart) == ["C 4", "G7 4"]
    assert [measure[0].melody for measure in chart.measures] == [(76,), (77,)]
    assert [measure[0].melody for measure in read(tune, chords).measures] == [(72,), (74,)]
    other = measures(rest(16), harmony("G", "minor-seventh") + rest(16))
    with pytest.raises(ChartError, match=r"measure 2: part P1 .* has G7, part P2 .* has Gm7"):
        read(chords, other)
    late = measures(rest(16), rest(8) + harmony("G", "dominant") + rest(8))
    with pytest.raises(ChartError, match="at other beats"):
        read(chords, late)
    with pytest.raises(ChartError, match="the parts differ in length: 1 and 2 measures"):
        read(chords, measures(rest(16)))


def test_an_alternate_harmony_gives_way_and_others_in_one_place_are_refused() -> None:
    first, other = harmony("C"), harmony("A", "minor", attribute='type="alternate"')
    assert written(read(measures(first + other + note("C5", 16)))) == ["C 4"]
    assert written(read(measures(other + first + note("C5", 16)))) == ["C 4"]
    assert written(read(measures(first + first + note("C5", 16)))) == ["C 4"]
    with pytest.raises(SymbolError, match="C and Am are at one place"):
        read(measures(first + harmony("A", "minor") + note("C5", 16)))


def test_a_timewise_score_is_the_partwise_that_it_stands_for() -> None:
    one, two = (harmony(root) + note("C5", 16) for root in ("C", "F"))
    text = (
        "<score-timewise><part-list><score-part id='P1'><part-name>x</part-name></score-part>"
        f"</part-list><measure number='1'><part id='P1'>{attributes()}{one}</part></measure>"
        f"<measure number='2'><part id='P1'>{two}</part></measure></score-timewise>"
    )
    assert written(read_lead_sheet(text.encode(), "musicxml").chart) == ["C 4", "F 4"]


# --- melody: what sounds where a chord begins, or for a beat of it ---


def melody(*contents: str) -> list[list[tuple[int, ...]]]:
    return [[entry.melody for entry in measure] for measure in read(measures(*contents)).measures]


def test_the_melody_is_what_sounds_at_the_start_or_for_a_beat() -> None:
    quick = "".join(note(pitch, 2) for pitch in ("C5", "D5", "E5", "F5"))
    assert melody(harmony("C") + quick + note("G5", 4) + note("A5", 4)) == [[(72, 79, 81)]]
    assert melody(harmony("C") + note("E5", 6) + harmony("F") + note("F5", 10)) == [[(76,), (77,)]]


def test_tied_notes_are_one_and_sound_into_the_next_chord() -> None:
    held = note("E5", 10) + note("G5", 6, ["start"])
    assert melody(harmony("C") + held, harmony("F") + note("G5", 2, ["stop"]) + note("F5", 14)) == [
        [(76, 79)],
        [(77, 79)],
    ]
    across = note("E5", 16, ["start"])
    assert melody(harmony("C") + across, harmony("F") + note("E5", 2, ["stop"]) + rest(14)) == [
        [(76,)], [(76,)],
    ]  # fmt: skip


def test_grace_cue_slash_second_staff_and_unpitched_notes_are_no_melody() -> None:
    grace = "<note><grace/><pitch><step>B</step><octave>5</octave></pitch></note>"
    cue = note("A5", 4, more="<cue/>")
    slash = note("B4", 4, after="<notehead>slash</notehead>")
    low = note("C3", 4, after="<staff>2</staff>")
    drum = "<note><unpitched/><duration>4</duration></note>"
    chord = note("C5", 4) + note("E5", 4, more="<chord/>")
    assert melody(harmony("C") + grace + chord + cue + slash + low) == [[(72, 76)]]
    assert melody(harmony("C") + drum + rest(12)) == [[()]]


# --- the sheet and the door ---


def test_the_sheet_keeps_the_whole_tree_and_its_title() -> None:
    head = "<work><work-title> Late\n Bus </work-title></work>"
    words = "<direction><direction-type><words>softly</words></direction-type></direction>"
    text = score(measures(words + harmony("C") + note("C5", 16), first=0), head=head)
    reading = read_lead_sheet(text.encode(), "musicxml")
    assert reading.sheet is not None
    assert (reading.sheet.title, reading.chart.title) == ("Late Bus", "Late Bus")
    assert reading.sheet.part == "P1"
    assert reading.sheet.tree.findtext(".//words") == "softly"
    assert len(list(reading.sheet.tree.iter())) == text.count("</") + text.count("/>")


def test_all_forms_come_through_one_door() -> None:
    text = score(measures(harmony("C") + note("C5", 16)))
    zipped = packed({"a/lead.xml": text}, "a/lead.xml")
    plain = read_chart({"musicxml": text})
    assert plain.chart == read_lead_sheet(text.encode("utf-16"), "musicxml").chart
    assert plain.chart == read_lead_sheet(zipped, "mxl").chart
    assert read_chart(plain.chart).chart is plain.chart
    assert requested_chart({"chart": {"text": "| C |"}}) == ChartSource(charts.parse_chart("| C |"))
    doctype = '<!DOCTYPE score-partwise PUBLIC "-//Recordare//DTD MusicXML 4.0 Partwise//EN" "http://www.musicxml.org/dtds/partwise.dtd">'
    assert read_chart({"musicxml": f'<?xml version="1.0"?>{doctype}{text}'}).chart == plain.chart


def test_measures_that_no_chart_can_say() -> None:
    with pytest.raises(BeatsError, match="which fits no meter"):
        read(measures(harmony("C") + note("C5", 16),
                      attributes(None, divisions=7) + note("C5", 27), rest(28)))  # fmt: skip
    with pytest.raises(ChartError, match="senza misura"):
        read(measures(attributes(None, more="<time><senza-misura/></time>") + harmony("C")))
