"""ABC tunes and Roman numeral analyses, which music21 reads in a process of its own.

ABC standard 2.1 (abcnotation.com) and RomanText (Tymoczko, Gotham, Cuthbert and Ariza, ISMIR
2019), both from memory. Tunes and analyses are ours.
"""

from __future__ import annotations

import time

import pytest

from shortway.core.charts import Chart, unroll
from shortway.core.errors import FormatUnavailable, ShortwayError
from shortway.core.theory.pitch import pitch_class
from shortway.scores.chart_files import music21_client
from shortway.scores.chart_files.abc_tune import read_abc
from shortway.scores.chart_files.roman_text import read_roman_text
from support.tables import each_row

TUNE = """X:1
T:Wet Umbrella
M:3/4
L:1/4
K:Bb
"Bb6/9"B2 c|"Gm7"d2 e|"Cm7b5"f3|"F7(b9)"f2 "^slow""Eb/G"e||
|:"Bb"B2 c|1"Gm7"d2 e:|2"N.C."f3|]
"""
ANALYSIS = """Title: A Study
Time Signature: 4/4

m0 b4 C: V
m1 I b3 V6
m2 ||: vi b2.5 ii6/5 b4 V7 :||
m3 NC b3 I
m4-5 = m1-2
Note: in a, from here
m6 a: i b3 Cad64 b4 V[add9]  % a comment
m7 Ger65 b2 It6 b3 Fr43 b4 N6
m8 viio7/V b2 V7 b3 iiø7 b4 V7/iv
"""


def line(chart: Chart) -> str:
    return "".join(("|" if s.beat == 1 else " ") + f"{s.symbol}:{s.beats}" for s in unroll(chart))


def test_a_tune_is_a_lead_sheet() -> None:
    """ABC 2.1: a repeat with two endings, an annotation, notes over the chords."""
    reading = read_abc(TUNE)
    chart = reading.chart
    assert (chart.title, chart.key, chart.meter) == ("Wet Umbrella", "Bb", (3, 4))
    assert line(chart) == ("|Bb6/9:3|Gm7:3|Cm7b5:3|F7b9:2 Eb/G:1|Bb:3|Gm7:3|Bb:3|N.C.:3")
    assert chart.measures[0][0].melody == (70, 72)
    assert reading.sheet is not None


def test_pickups_changes_of_meter_rests_and_lyrics_of_a_tune() -> None:
    tune = (
        'X:1\nM:4/4\nL:1/8\nK:G\nG2|"Am"c4 "D7"{d}x4|"G"G8|\nM:3/4\n"C"(3abc !trill!d4|]\n'
        "w:ex y Z\n"
    )
    chart = read_abc(tune).chart
    assert line(chart) == "|N.C.:1|Am:2 D7:2|G:4|C:3"
    assert chart.meters == ((4, (3, 4)),)


def test_numerals_are_chords() -> None:
    """Spelled by hand from a harmony textbook's rules (common practice, no source)."""
    chart = read_roman_text(ANALYSIS).chart
    assert (chart.title, chart.key, chart.meter) == ("A Study", "C", (4, 4))
    assert line(chart) == (
        "|G:1|C:2 G/B:2|Am:3/2 Dm7/F:3/2 G7:1|Am:3/2 Dm7/F:3/2 G7:1|N.C.:2 C:2"
        "|C:2 G/B:2|Am:3/2 Dm7/F:3/2 G7:1|Am:3/2 Dm7/F:3/2 G7:1"
        "|Am:2 Am/E:1 E(addb9):1|F7:1 F7(no5):1 F7#11(no5):1 Bb/D:1|D#dim7:1 E7:1 Bm7b5:1 A7:1"
    )


@each_row("key", ["C", "Eb", "F#", "a", "g#", "Bb"])
@pytest.mark.parametrize(
    "numerals", ["I ii65 V42 vi7", "iii IV64 viio6 V7/V", "V65/ii IV6 bII6 viiø7"]
)
def test_numerals_sound_as_music21_has_them(key: str, numerals: str) -> None:
    """music21 10.5, `roman.RomanNumeral`: pitch classes and bass."""
    from music21.roman import RomanNumeral

    figures = numerals.split()
    text = f"m1 {key}: " + " ".join(f"b{k} {figure}" for k, figure in enumerate(figures, 1))
    for step, figure in zip(unroll(read_roman_text(text).chart), figures, strict=True):
        theirs = RomanNumeral(figure, key.replace("b", "-"))
        ours = {tone.pitch_class for tone in step.chord.tones}
        assert ours == set(theirs.pitchClasses)
        low = step.chord.bass or step.chord.root
        assert low is not None
        assert pitch_class(low) == theirs.bass().pitchClass


@pytest.mark.parametrize("name", ["riemenschneider001", "riemenschneider013"])
def test_analyses_of_music21s_corpus_sound_as_music21_has_them(name: str) -> None:
    """Analyses of Bach chorales by others, in the corpus of music21 10.5: measure by measure."""
    from music21 import converter, corpus
    from music21.roman import RomanNumeral

    (path,) = (p for p in corpus.corpora.CoreCorpus().getPaths() if p.name == f"{name}.rntxt")
    score = converter.parse(path, format="romantext")
    theirs = [
        [set(numeral.pitchClasses) for numeral in measure.getElementsByClass(RomanNumeral)]
        for measure in score.parts[0].getElementsByClass("Measure")
    ]
    chart = read_roman_text(path.read_text("utf-8")).chart
    ours = [[{t.pitch_class for t in e.chord.tones} for e in m] for m in chart.measures]
    assert sum(map(len, theirs)) > 30
    assert [m for m in ours if m] == [m for m in theirs if m]


@pytest.mark.parametrize("name", ["hectorTheHero", "sicutRosa"])
def test_tunes_of_music21_have_the_chords_that_music21_reads(name: str) -> None:
    """Tunes of others in music21 10.5, `abcFormat.testFiles`: roots of their chord symbols."""
    from music21 import converter, harmony
    from music21.abcFormat import testFiles

    text = getattr(testFiles, name)
    score = converter.parseData(text, format="abc")
    theirs = [str(c.root().name) for c in score.recurse().getElementsByClass(harmony.ChordSymbol)]
    chart = read_abc(text).chart
    ours = [e.chord.root for m in chart.measures for e in m]
    struck = [root for k, root in enumerate(ours) if root and (k == 0 or ours[k - 1] != root)]
    assert struck == [
        root.replace("-", "b") for k, root in enumerate(theirs) if k == 0 or theirs[k - 1] != root
    ]


UNREADABLE_TUNES = [
    ("symbol-unreadable", TUNE.replace("Gm7", "Hm7", 1), TUNE.index("Gm7")),
    (
        "symbol-unreadable",
        TUNE.replace("Gm7", "Do7", 1).replace("Cm7b5", "Sol"),
        TUNE.index("Cm7b5"),
    ),
    ("chart-unreadable", TUNE.replace('"Gm7"', '"Gm7""C"', 1), TUNE.index("d2 e") + 1),
    ("chart-unreadable", TUNE.replace("d2 e|", 'd2 e "C"|', 1), TUNE.index('|"Cm7') + 6),
    ("chart-unreadable", TUNE.replace("f3", "Z", 1), TUNE.index("f3")),
    ("chart-unreadable", TUNE + TUNE, len(TUNE)),
    ("chart-unreadable", TUNE[: TUNE.index("m7b5")], TUNE.index('"Cm7')),
    ("chart-unreadable", "", 0),
    ("chart-unreadable", "X:1\nK:C\nABc", 11),
    ("chart-unreadable", '"C" A', 0),
    ("chart-unreadable", "\x89PNG\r\n\x1a\n", 6),
    ("chart-unreadable", '"' + "x" * 1_000_000, 65536),
]
UNREADABLE_ANALYSES = [
    ("chart-unreadable", "", 0),
    ("chart-unreadable", "Title: x\n", 9),
    ("chart-unreadable", "hello", 0),
    ("chart-unreadable", "m1 I", 3),
    ("chart-unreadable", "m1 C: I b3 IX", 11),
    ("chart-unreadable", "m1 C: I b3 V4/", 11),
    ("chart-unreadable", "m1 C: I b5 V", 8),
    ("chart-unreadable", "m1 C: I b3 V b2 I", 13),
    ("chart-unreadable", "Time Signature: 4/5\nm1 C: I", 16),
    ("chart-unreadable", "m1 C: I\n\x00", 8),
    ("chart-unreadable", "m1 C: " + "I " * 500_000, 65536),
]


@each_row("code, text, position", UNREADABLE_TUNES)
def test_tunes_that_cannot_be_read(code: str, text: str, position: int) -> None:
    unreadable(read_abc, code, text, position)


@each_row("code, text, position", UNREADABLE_ANALYSES)
def test_analyses_that_cannot_be_read(code: str, text: str, position: int) -> None:
    unreadable(read_roman_text, code, text, position)


def unreadable(read: object, code: str, text: str, position: int) -> None:
    assert callable(read)
    began = time.monotonic()
    with pytest.raises(ShortwayError) as caught:
        read(text)
    fault = caught.value.faults[0]
    assert (caught.value.code, fault.position) == (code, position)
    assert fault.expected
    assert time.monotonic() - began < 10


def test_without_the_extra_the_problem_names_it(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(music21_client, "find_spec", lambda name: None)
    for read in (read_abc, read_roman_text):
        with pytest.raises(FormatUnavailable, match="optional package music21") as caught:
            read(TUNE)
        assert caught.value.faults[0].expected == "pip install 'shortway[music21]'"
