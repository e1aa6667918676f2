"""Repeats, endings and jumps: the order of the measures, also against music21's expander."""

from __future__ import annotations

import pytest

from shortway.core.errors import ChartError, TooLarge
from shortway.services.read_chart import read_lead_sheet
from support.sheets import harmony, measures, note, score
from support.tables import each_row

PITCHES = ("C4", "D4", "E4", "F4", "G4", "A4", "B4")


def bar(location: str, inner: str) -> str:
    return f'<barline location="{location}">{inner}</barline>'


def sign(inner: str, sound: str = "") -> str:
    heard = f"<sound {sound}/>" if sound else ""
    return f"<direction><direction-type>{inner}</direction-type>{heard}</direction>"


def words(text: str, sound: str = "") -> str:
    return sign(f"<words>{text}</words>", sound)


OPEN = bar("left", '<repeat direction="forward"/>')
CLOSE = bar("right", '<repeat direction="backward"/>')


def start(number: str) -> str:
    return bar("left", f'<ending type="start" number="{number}"/>')


def stop(number: str, back: bool = True) -> str:
    repeat = '<repeat direction="backward"/>' if back else ""
    return bar(
        "right", f'<ending type="{"stop" if back else "discontinue"}" number="{number}"/>' + repeat
    )


SEGNO = sign("<segno/>", 'segno="segno"')
CODA = sign("<coda/>", 'coda="coda"')
TO_CODA = words("To Coda", 'tocoda="coda"')
FINE = words("Fine", 'fine="yes"')

# Marks of each measure, before and after its music, and the measures as played. Common practice
# where the marks leave it open: after a jump no repeats, and the last ending.
FORMS = [
    ("straight", [("", ""), ("", "")], "1 2"),
    ("repeat from the start", [("", ""), ("", CLOSE), ("", "")], "1 2 1 2 3"),
    ("repeat", [("", ""), (OPEN, ""), ("", CLOSE), ("", "")], "1 2 3 2 3 4"),
    ("two repeats", [(OPEN, CLOSE), (OPEN, ""), ("", CLOSE)], "1 1 2 3 2 3"),
    ("two endings", [(OPEN, ""), (start("1"), stop("1")), (start("2"), stop("2", False)), ("", "")],
     "1 2 1 3 4"),
    ("long endings",
     [(OPEN, ""), (start("1"), ""), ("", stop("1")), (start("2"), ""), ("", stop("2", False))],
     "1 2 3 1 4 5"),
    ("three endings",
     [(OPEN, ""), (start("1"), stop("1")), (start("2"), stop("2")), (start("3"), stop("3", False))],
     "1 2 1 3 1 4"),
    ("an ending for two times",
     [(OPEN, ""), (start("1, 2"), stop("1, 2")), (start("3"), stop("3", False))],
     "1 2 1 2 1 3"),
    ("da capo al fine",
     [("", ""), ("", FINE), ("", words("D.C. al Fine", 'dacapo="yes"'))], "1 2 3 1 2"),
    ("dal segno al fine",
     [("", ""), (SEGNO, ""), ("", FINE), ("", words("D.S. al Fine", 'dalsegno="segno"'))],
     "1 2 3 4 2 3"),
    ("da capo al coda",
     [("", TO_CODA), ("", ""), ("", words("D.C. al Coda", 'dacapo="yes"')), (CODA, "")],
     "1 2 3 1 4"),
    ("dal segno al coda",
     [("", ""), (SEGNO, ""), ("", TO_CODA), ("", words("D.S. al Coda", 'dalsegno="segno"')),
      (CODA, ""), ("", "")],
     "1 2 3 4 2 3 5 6"),
]  # fmt: skip

# The same rules, common practice without a source, where music21's expander reads otherwise.
MORE_FORMS = [
    ("two without a sign to begin", [("", CLOSE), ("", ""), ("", CLOSE)], "1 1 2 3 2 3"),
    ("times", [(OPEN, bar("right", '<repeat direction="backward" times="3"/>')), ("", "")],
     "1 1 1 2"),
    ("nested", [(OPEN, ""), (OPEN, CLOSE), ("", CLOSE)], "1 2 2 3 1 2 2 3"),
    ("repeats before a da capo, none after it",
     [(OPEN, CLOSE), ("", FINE), ("", words("D.C. al Fine", 'dacapo="yes"'))], "1 1 2 3 1 2"),
    ("repeats that say that they are taken after a jump",
     [(OPEN, bar("right", '<repeat direction="backward" after-jump="yes"/>')), ("", FINE),
      ("", words("D.C. al Fine", 'dacapo="yes"'))], "1 1 2 3 1 1 2"),
    ("the last ending after a jump",
     [(OPEN, ""), (start("1"), stop("1")), (start("2"), stop("2", False)), ("", FINE),
      ("", words("D.C. al Fine", 'dacapo="yes"'))], "1 2 1 3 4 5 1 3 4"),
    ("words without sounds",
     [("", words("To Coda")), ("", words("D.C. al Coda")), (sign("<coda/>"), "")], "1 2 1 3"),
    ("signs without sounds",
     [(sign("<segno/>"), ""), ("", sign("<coda/>")), ("", words("D.S. al Coda")),
      (sign("<coda/>"), "")], "1 2 3 1 2 4"),
    ("da capo to the end", [("", ""), ("", words("D.C.", 'dacapo="yes"'))], "1 2 1 2"),
    ("an ending without a number",
     [(OPEN, ""), (start("1"), stop("1")), (start(" "), stop(" ", False))], "1 2 1 3"),
    ("one ending alone", [(OPEN, ""), (start("1"), stop("1")), ("", "")], "1 2 1 3"),
    ("fine without a jump", [("", FINE), ("", "")], "1 2"),
]  # fmt: skip


def sheet(form: list[tuple[str, str]], chords: bool = True) -> str:
    """Each measure has a note of its own, for music21 gives new numbers to what it unrolls."""
    contents = [
        f"{before}{harmony('C') if chords else ''}{note(PITCHES[index], 16)}{after}"
        for index, (before, after) in enumerate(form)
    ]
    opened = contents[0]
    attributes = "<attributes><divisions>4</divisions><time><beats>4</beats><beat-type>4</beat-type></time></attributes>"  # noqa: E501
    return score(measures(attributes + opened, *contents[1:]))


@each_row("name, form, played", FORMS + MORE_FORMS)
def test_measures_are_played_in_order(name: str, form: list[tuple[str, str]], played: str) -> None:
    chart = read_lead_sheet(sheet(form).encode(), "musicxml").chart
    assert " ".join(map(str, chart.order)) == played, name


@each_row("name, form, played", FORMS)
def test_music21_plays_them_in_the_same_order(
    name: str, form: list[tuple[str, str]], played: str
) -> None:
    """Peer: music21's repeat expander, on the same sheet without its harmonies."""
    from music21 import converter

    stream = converter.parse(sheet(form, chords=False), format="musicxml")
    expanded = stream.expandRepeats()
    notes = expanded.parts[0].flatten().notes
    numbers = [PITCHES.index(found.nameWithOctave) + 1 for found in notes]
    assert " ".join(map(str, numbers)) == played, name


@pytest.mark.parametrize(
    ("form", "said"),
    [
        ([("", words("D.S.", 'dalsegno="segno"'))], "leads to a segno, and there is none"),
        (
            [("", TO_CODA), ("", words("D.C.", 'dacapo="yes"'))],
            "leads to a coda, and there is none",
        ),
        ([("", bar("right", '<repeat direction="backward" times="x"/>'))], "repeated 'x' times"),
        ([(start("one"), "")], "the ending of measure 1 is for 'one'"),
        ([("", bar("middle", '<repeat direction="backward"/>'))], "a repeat inside it"),
    ],
)
def test_marks_that_cannot_be_followed(form: list[tuple[str, str]], said: str) -> None:
    with pytest.raises(ChartError, match=said):
        read_lead_sheet(sheet(form).encode(), "musicxml")


def test_more_than_a_chart_may_play_is_refused() -> None:
    form = [("", bar("right", '<repeat direction="backward" times="999999"/>'))]
    with pytest.raises(TooLarge, match="the limit is 4,096"):
        read_lead_sheet(sheet(form).encode(), "musicxml")
