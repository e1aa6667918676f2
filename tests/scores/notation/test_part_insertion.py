"""Lead sheets with the piano part: nothing lost, nothing silently wrong.

Sources: lead sheets of music21's own corpus, by path, read by music21 and by our reader; the
MusicXML 4.0 schema. The sheets with jumps are our own.
"""

from __future__ import annotations

import base64
from fractions import Fraction
from pathlib import Path
from typing import Any
from xml.etree import ElementTree
from xml.etree.ElementTree import Element

import music21
import pytest

from scores.readers import faults, laid_out_by_verovio, read_by_music21, sounded
from shortway.services.read_chart import ChartSource, read_chart
from shortway.services.write_score import music_of, write_score
from support import sheets

CORPUS = Path(music21.__file__).parent / "corpus" / "leadSheet"
SHEETS = ["fosterBrownHair.mxl", "berlinAlexandersRagtime.mxl"]
SETTINGS: list[dict[str, Any]] = [{}, {"hands": "left"}, {"bass_player": False}]
EVERY = pytest.mark.parametrize(
    ("sheet", "setting"), [(s, k) for s in SHEETS for k in SETTINGS], ids=str
)


def given(sheet: str) -> dict[str, str]:
    return {"mxl": base64.b64encode((CORPUS / sheet).read_bytes()).decode()}


def written(chart: Any, setting: Any = None, **more: Any) -> bytes:
    return write_score({"chart": chart, "setting": setting or {}, **more}, "musicxml")[1]


def again(score: bytes) -> ChartSource:
    return read_chart({"musicxml": score.decode()})


def plain(element: Element) -> Any:
    """An element as a value: tags, attributes, texts without blanks around them."""
    return (
        element.tag, sorted(element.attrib.items()), (element.text or "").strip(),
        [plain(child) for child in element],
    )  # fmt: skip


@EVERY
def test_round_trip_has_the_same_symbols_measures_and_melody(
    sheet: str, setting: dict[str, Any]
) -> None:
    before, after = read_chart(given(sheet)).chart, again(written(given(sheet), setting)).chart
    played = [[before.measures[n - 1] for n in before.order]]
    assert [[after.measures[n - 1] for n in after.order]] == played
    if len(after.measures) == len(before.measures):
        assert after == before


@EVERY
def test_sheets_with_the_part_are_valid(sheet: str, setting: dict[str, Any]) -> None:
    assert faults(written(given(sheet), setting)) == []


@EVERY
def test_verovio_has_nothing_more_to_say(
    sheet: str, setting: dict[str, Any], capfd: pytest.CaptureFixture[str]
) -> None:
    reading = read_chart(given(sheet))
    assert reading.sheet is not None
    laid_out_by_verovio(ElementTree.tostring(reading.sheet.tree))
    before = set(capfd.readouterr().err.splitlines())
    laid_out_by_verovio(written(given(sheet), setting))
    assert set(capfd.readouterr().err.splitlines()) <= before


def test_everything_else_is_kept_where_measures_stay_as_written() -> None:
    """They do where both times through a repeat are voiced alike, as the left hand does here."""
    sheet = "fosterBrownHair.mxl"
    reading = read_chart(given(sheet))
    assert reading.sheet is not None
    root = ElementTree.fromstring(written(given(sheet), {"hands": "left"}))
    ids = [part.get("id", "") for part in root.findall("part")]
    (added,) = set(ids) - {reading.sheet.part}
    assert ids.index(added) == ids.index(reading.sheet.part) + 1
    for parent, tag in ((root, "part"), (root.find("part-list"), "score-part")):
        assert parent is not None
        parent.remove(next(e for e in parent.findall(tag) if e.get("id") == added))
    root.set("version", reading.sheet.tree.get("version", ""))
    assert plain(root) == plain(reading.sheet.tree)


@pytest.mark.parametrize("sheet", SHEETS)
def test_the_part_plays_what_the_path_says(sheet: str) -> None:
    """As music21 reads the sheet and expands its repeats: every step's notes sound at its time."""
    request = {"chart": given(sheet), "show": {"held": "struck"}}
    score, path = read_by_music21(written(given(sheet), show=request["show"])), music_of(request)
    staves = [p for p in score.expandRepeats().parts if "PartStaff" in p.classes]
    heard = sounded(staves[-2]) | sounded(staves[-1])
    onset, wanted = Fraction(0), set()
    for each in path.path.steps:
        length = each.step.beats * Fraction(4, path.chart.meter_at(each.step.measure)[1])
        wanted |= {(onset, length, n.note) for n in each.voicing.notes} if each.voicing else set()
        onset += length
    begins = {(onset, name) for onset, _, name in heard}
    assert begins >= {(onset, name) for onset, _, name in wanted}


def sheet_of(*measures: str, transpose: str = "") -> str:
    """A lead sheet of ours: one part, a quarter note as division, each measure's inside given."""
    first = (
        "<attributes><divisions>1</divisions><key><fifths>0</fifths></key><time><beats>4</beats>"
        f"<beat-type>4</beat-type></time><clef><sign>G</sign><line>2</line></clef>{transpose}"
        "</attributes>"
    )
    body = "".join(
        f'<measure number="{k}">{first if k == 1 else ""}{inside}</measure>'
        for k, inside in enumerate(measures, 1)
    )
    return (
        '<score-partwise version="4.0"><part-list><score-part id="P1"><part-name>Voice</part-name>'
        f'</score-part></part-list><part id="P1">{body}</part></score-partwise>'
    )


def harmony(root: str, kind: str) -> str:
    return f"<harmony><root><root-step>{root}</root-step></root><kind>{kind}</kind></harmony>"


NOTE = (
    "<note><pitch><step>G</step><octave>4</octave></pitch><duration>4</duration>"
    "<type>whole</type></note>"
)
REPEAT = '<barline location="right"><repeat direction="backward"/></barline>'
FORWARD = '<barline location="left"><repeat direction="forward"/></barline>'
TWO, FIVE, ONE = (
    harmony("D", "minor-seventh"),
    harmony("G", "dominant"),
    harmony("C", "major-seventh"),
)


def test_a_repeat_played_alike_stays() -> None:
    chart = {
        "musicxml": sheet_of(ONE + NOTE, FORWARD + TWO + NOTE, FIVE + NOTE + REPEAT, ONE + NOTE)
    }
    pins = [
        {"step": k, "midi_notes": list(n)} for k, n in _voicings(chart, {1: 0, 2: 1, 3: 0, 4: 1})
    ]
    score = written(chart, {"families": ["guide-tone"]}, pins=pins)
    root = ElementTree.fromstring(score)
    assert [len(p.findall("measure")) for p in root.findall("part")] == [4, 4]
    assert len(root.findall(".//repeat")) == 4
    assert again(score).chart == read_chart(chart).chart
    # music21 reads the repeat: what it expands is what the path plays
    assert faults(score) == []


def test_a_repeat_played_otherwise_is_written_out() -> None:
    chart = {
        "musicxml": sheet_of(ONE + NOTE, FORWARD + TWO + NOTE, FIVE + NOTE + REPEAT, ONE + NOTE)
    }
    pins = [{"step": k, "midi_notes": list(n)} for k, n in _voicings(chart, {1: 0, 3: 1})]
    score = written(chart, {"families": ["guide-tone"]}, pins=pins)
    root = ElementTree.fromstring(score)
    for part in root.findall("part"):
        assert [m.get("number") for m in part.findall("measure")] == list("123456")
    assert root.findall(".//repeat") == []
    assert again(score).chart.order == (1, 2, 3, 4, 5, 6)
    assert faults(score) == []


def _voicings(chart: Any, which: dict[int, int]) -> list[tuple[int, tuple[int, ...]]]:
    """For each step the notes of its k-th voicing in the list of its chord."""
    from shortway.core.charts import unroll
    from shortway.core.solver.solve import voicings

    steps = unroll(read_chart(chart).chart)
    found = []
    for step, k in which.items():
        listed = voicings(steps[step].chord, {"families": ["guide-tone"]}).voicings
        found.append((step, listed[k].voicing.midi_notes))
    return found


def test_jumps_are_written_out_with_what_holds_where_they_land() -> None:
    """Da capo al fine over a change of key and meter: both are said again at the beginning."""
    change = (
        "<attributes><key><fifths>3</fifths></key><time><beats>3</beats><beat-type>4</beat-type>"
        "</time></attributes>"
    )
    short = NOTE.replace("<duration>4</duration><type>whole</type>",
                         "<duration>3</duration><type>half</type><dot/>")  # fmt: skip
    fine = (
        "<direction><direction-type><words>Fine</words></direction-type>"
        '<sound fine="yes"/></direction>'
    )
    back = (
        "<direction><direction-type><words>D.C. al Fine</words></direction-type>"
        '<sound dacapo="yes"/></direction>'
    )
    chart = {
        "musicxml": sheet_of(
            ONE + NOTE, TWO + NOTE + fine, change + FIVE + short, ONE + short + back
        )
    }
    first = _voicings(chart, {0: 0, 4: 1})
    pins = [{"step": k, "midi_notes": list(n)} for k, n in first]
    score = written(chart, {"families": ["guide-tone"]}, pins=pins)
    root = ElementTree.fromstring(score)
    melody, piano = root.findall("part")
    measures = melody.findall("measure")
    assert len(measures) == len(piano.findall("measure")) == 6
    for part in (melody, piano):
        landed = part.findall("measure")[4].find("attributes")
        assert landed is not None
        assert (landed.findtext("key/fifths"), landed.findtext("time/beats")) == ("0", "4")
    assert root.findall(".//words") == []
    assert all(not s.attrib.keys() & {"dacapo", "fine"} for s in root.iter("sound"))
    before, after = read_chart(chart).chart, again(score).chart
    assert [after.measures[n - 1] for n in after.order] == [
        before.measures[n - 1] for n in before.order
    ]
    assert faults(score) == []


def test_a_transposing_melody_keeps_its_transposition_and_the_piano_is_at_concert_pitch() -> None:
    """A part in B flat (MusicXML: chromatic -2) that writes D major: the piano has C major."""
    by = "<transpose><diatonic>-1</diatonic><chromatic>-2</chromatic></transpose>"
    chart = sheet_of(ONE + NOTE, transpose=by).replace("<fifths>0", "<fifths>2")
    root = ElementTree.fromstring(written({"musicxml": chart}))
    melody, piano = root.findall("part")
    assert melody.findtext(".//transpose/chromatic") == "-2"
    assert piano.find(".//transpose") is None
    assert piano.findtext(".//key/fifths") == "0"
    # C major seventh as written sounds as B flat's: A is its seventh, and no B is in it
    steps = {n.findtext("step") for n in piano.iter("pitch")}
    assert "A" in steps
    assert steps <= set("BDFACG")
    assert {
        n.findtext("alter") for n in piano.iter("pitch") if n.findtext("step") == "B"
    } <= {"-1"}  # fmt: skip


def test_a_repeat_written_out_tells_its_meter_and_key_once() -> None:
    """A signature that does not change is not written again (common practice, no source)."""
    begin = sheets.attributes("3/4", -1, "major")
    repeated = '<barline location="right"><repeat direction="backward"/></barline>'
    bars = [
        begin + sheets.harmony("F") + sheets.rest(12),
        sheets.harmony("C", "dominant") + sheets.rest(12) + repeated,
    ]
    bars.append(
        sheets.attributes("2/4", None, divisions=None)
        + sheets.harmony("F")
        + sheets.rest(8)
        + repeated
    )
    found = ElementTree.fromstring(
        written({"musicxml": sheets.score(sheets.measures(*bars))}, choruses=2)
    )
    meters = ["3/4", None, None, None, "2/4", None]
    for part in found.findall("part"):
        told = part.findall("measure")
        changes = [m.find("attributes/time/beats") for m in told]
        assert [c if c is None else f"{c.text}/4" for c in changes] == meters * 2
        assert [m.find("attributes/key") is not None for m in told] == [True] + 11 * [False]
