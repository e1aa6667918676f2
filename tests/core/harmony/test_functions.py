"""Functions: charts of our own, the function of every chord written beside it before the code ran.

Each is read in all twelve keys. What a cadence is called is the trade's; the colours that follow
are checked against printed music in `tests/reference/test_context.py`.
"""

from __future__ import annotations

import re

from shortway.core.charts import parse_chart, parse_text_chart, unroll
from shortway.core.harmony.context import FUNCTIONS
from shortway.core.harmony.functions import contexts
from support.charts import ROOTS
from support.tables import each_row

# chord: function -> goal, one line a chart; a goal is a key, written in C
WRITTEN: dict[str, tuple[str, str]] = {
    "two, five, one": (
        "| Dm7 | G7 | Cmaj7 | % |",
        "predominant>C dominant>C tonic>C tonic>C",
    ),
    "two, five, one in minor": (
        "| Dm7b5 | G7 | Cm6 | % |",
        "predominant>Cm dominant>Cm tonic>Cm tonic>Cm",
    ),
    "tritone substitute": (
        "| Dm7 | Db7 | Cmaj7 | % |",
        "predominant>C substitute-dominant>C tonic>C tonic>C",
    ),
    "backdoor": (
        "| Cmaj7 | Fm7 | Bb7 | Cmaj7 |",
        "tonic>C predominant>C backdoor-dominant>C tonic>C",
    ),
    "turnaround": (
        "| Cmaj7 A7 | Dm7 G7 | Cmaj7 A7 | Dm7 G7 |",
        "tonic>C dominant>Dm predominant>C dominant>C " * 2,
    ),
    "rising diminished chords": (
        "| Cmaj7 C#dim7 | Dm7 D#dim7 | Em7 A7 | Dm7 G7 |",
        "tonic>C passing-diminished>Dm predominant>C passing-diminished>Em "
        "mediant>C dominant>Dm predominant>C dominant>C",
    ),
    "blues": (
        "| C7 | F7 | C7 | Gm7 C7 | F7 | F#dim7 | C7 | Em7 A7 | Dm7 | G7 | C7 A7 | Dm7 G7 |",
        "tonic>C subdominant>C tonic>C predominant>F dominant>F subdominant>C "
        "passing-diminished>C tonic>C mediant>C dominant>Dm predominant>C dominant>C "
        "tonic>C dominant>Dm predominant>C dominant>C",
    ),
    "major with its fourth degree": (
        "| Cmaj7 | Fmaj7 | Em7 | Am7 | Dm7 | G7 | Cmaj7 | % |",
        "tonic>C subdominant>C mediant>C submediant>C predominant>C dominant>C tonic>C tonic>C",
    ),
    "minor triads": (
        "| Cm | Fm | G7 | Cm |",
        "tonic>Cm subdominant>Cm dominant>Cm tonic>Cm",
    ),
    "chain of dominants": (
        "| C6 | E7 | A7 | D7 | G7 | C6 |",
        "tonic>C dominant>A dominant>D dominant>G dominant>C tonic>C",
    ),
    "deceptive": (
        "| Cmaj7 | Dm7 | G7 | Am7 | Dm7 | G7 | Cmaj7 | % |",
        "tonic>C predominant>C dominant>C submediant>C predominant>C dominant>C tonic>C tonic>C",
    ),
    "related minor": (
        "| Cmaj7 | Bm7b5 E7 | Am7 | Dm7 G7 | Cmaj7 |",
        "tonic>C predominant>Am dominant>Am submediant>C predominant>C dominant>C tonic>C",
    ),
    "suspended first": (
        "| Dm7 | G7sus4 | G7 | Cm6 |",
        "predominant>Cm dominant>Cm dominant>Cm tonic>Cm",
    ),
    "five, its two, five": (
        "| G7 | Dm7 G7 | Cmaj7 | % |",
        "dominant>C predominant>C dominant>C tonic>C tonic>C",
    ),
    "one minor chord for long": (
        "| Dm7 | % | % | % | % | % | % | % | Ebm7 | % | % | % | % | % | % | % |",
        "vamp>Dm " * 8 + "vamp>Ebm " * 8,
    ),
    "a tune with all of it": (
        "| Cmaj7 | Ebdim7 | Dm7 | G7 | Em7b5 | A7 | Dm7 | G7 "
        "| Gm7 | C7 | Fmaj7 | Bb7 | Cmaj7 Am7 | D7 | Dm7 | G7 |",
        "tonic>C passing-diminished>Dm predominant>C dominant>C "
        "predominant>Dm dominant>Dm predominant>C dominant>C "
        "predominant>F dominant>F subdominant>C backdoor-dominant>C "
        "tonic>C submediant>C dominant>G predominant>C dominant>C",
    ),
    "a bridge in another key": (
        "| Cmaj7 | Am7 | Dm7 | G7 | Fm7 | Bb7 | Ebmaj7 | Cm7 | Fm7 | Bb7 | Ebmaj7 | Abmaj7 "
        "| Dm7 | G7 | Cmaj7 | % |",
        "tonic>C submediant>C predominant>C dominant>C "
        "predominant>Eb dominant>Eb tonic>Eb submediant>Eb predominant>Eb dominant>Eb tonic>Eb "
        "subdominant>Eb predominant>C dominant>C tonic>C tonic>C",
    ),
    "chromatic majors": (
        "| Cmaj7 | Abmaj7 | Dbmaj7 | Cmaj7 |",
        "tonic>C borrowed>C borrowed>C tonic>C",
    ),
    "minor tune": (
        "| Cm6 | Abmaj7 | Dm7b5 | G7 | Cm7 F7 | Bb7 | Ebmaj7 | G7 |",
        "tonic>Cm submediant>Cm predominant>Cm dominant>Cm "
        "predominant>Bb dominant>Bb dominant>Eb mediant>Cm dominant>Cm",
    ),
    # ten charts as a teacher would mark them; loop means that the last chord leads to the first
    "jazz blues": (
        "| C7 | F7 F#dim7 | C7 | Gm7 C7 | F7 | F#dim7 | C7 | Em7b5 A7 | Dm7 | G7 | C7 A7 "
        "| Dm7 G7 |",
        "tonic>C subdominant>C passing-diminished>C tonic>C predominant>F dominant>F "
        "subdominant>C passing-diminished>C tonic>C predominant>Dm dominant>Dm predominant>C "
        "dominant>C tonic>C dominant>Dm predominant>C dominant>C",
    ),
    "minor tune with its relative major": (
        "| Cm6 | Fm7 | Dm7b5 G7 | Cm6 | Fm7 Bb7 | Ebmaj7 Abmaj7 | Dm7b5 G7 | Cm6 |",
        "tonic>Cm subdominant>Cm predominant>Cm dominant>Cm tonic>Cm predominant>Eb dominant>Eb "
        "mediant>Cm submediant>Cm predominant>Cm dominant>Cm tonic>Cm",
    ),
    "bossa": (
        "| Cmaj7 | % | D7 | % | Dm7 | G7 | Em7 A7 | Dm7 G7 |",
        "tonic>C tonic>C dominant>G dominant>G predominant>C dominant>C mediant>C dominant>Dm "
        "predominant>C dominant>C",
    ),
    "ballad with substitutes": (
        "| Cmaj7 Eb7 | Abmaj7 Db7 | Cmaj7 B7 | Em7 Eb7 | Dm7 Db7 | Cmaj7 |",
        "tonic>C dominant>Ab tonic>Ab substitute-dominant>C tonic>C dominant>Em mediant>C "
        "substitute-dominant>Dm predominant>C substitute-dominant>C tonic>C",
    ),
    "modal vamp": (
        "| Dm11 | % | % | % | Em11 | % | Dm11 | % |",
        "vamp>Dm " * 4 + "predominant>Dm " * 2 + "vamp>Dm " * 2,
    ),
    "waltz": (
        "| Cmaj7 | Am7 | Dm7 | G7 | Em7b5 | A7 | Dm7 | Db7 | Cmaj7 | Fmaj7 | Bb7 "
        "| Em7 | Am7 | D7 | Dm7 | G7 |",
        "tonic>C submediant>C predominant>C dominant>C predominant>Dm dominant>Dm predominant>C "
        "substitute-dominant>C tonic>C subdominant>C backdoor-dominant>C mediant>C submediant>C "
        "dominant>G predominant>C dominant>C",
    ),
    "pop with slash chords": (
        "| C | G/B | Am | F | C/E | F | Gsus4 | G | Am | Em/G | F | C/E | Dm7 | F/G | C | C |",
        "tonic>C dominant>C submediant>C subdominant>C tonic>C subdominant>C dominant>C "
        "dominant>C submediant>C mediant>C subdominant>C tonic>C predominant>C dominant>C "
        "tonic>C tonic>C",
    ),
    "thirty-two bars with a bridge of dominants": (
        "| C6 A7 | Dm7 G7 | Em7 A7 | Dm7 G7 | Gm7 C7 | F7 F#dim7 | C6/G A7 | Dm7 G7 "
        "| E7 | % | A7 | % | D7 | % | G7 | % |",
        "tonic>C dominant>Dm predominant>C dominant>C mediant>C dominant>Dm predominant>C "
        "dominant>C predominant>F dominant>F subdominant>C passing-diminished>C tonic>C "
        "dominant>Dm predominant>C dominant>C dominant>A dominant>A dominant>D dominant>D "
        "dominant>G dominant>G dominant>C dominant>C",
    ),
    "chromatic turnaround": (
        "| C6 Ebdim7 | Dm7 G7 | Em7 Ebm7 | Dm7 Db7 | C7 B7 | Bb7 A7 | Ab7 G7 | C6 |",
        "tonic>C passing-diminished>Dm predominant>C dominant>C mediant>C other>C predominant>C "
        "substitute-dominant>C tonic>C substitute-dominant>Bb substitute-dominant>A "
        "substitute-dominant>Ab substitute-dominant>G dominant>C tonic>C",
    ),
    "gospel": (
        "| C C/E | F F#dim7 | C/G A7 | Dm7 F/G | C C7/E | F Fm6 | Em7 Am7 | D7 G7sus4 G7 | C |",
        "tonic>C tonic>C subdominant>C passing-diminished>C tonic>C dominant>Dm predominant>C "
        "dominant>C tonic>C dominant>F subdominant>C subdominant>C mediant>C submediant>C "
        "dominant>G dominant>C dominant>C tonic>C",
    ),
    # what is easily misheard
    "half-diminished ii in major": (
        "| Cmaj7 | Dm7b5 G7 | Cmaj7 | % |",
        "tonic>C predominant>C dominant>C tonic>C tonic>C",
    ),
    "suspended slash chords": (
        "| Cmaj7 | Bb/C | Fmaj7 | Dm7/G | Cmaj7 | Fm6/G | Cmaj7 |",
        "tonic>C dominant>F subdominant>C dominant>C tonic>C dominant>C tonic>C",
    ),
    "sus without a number": (
        "| Dm7 | Gsus | Cmaj7 | Csus C | Fsus F7 | Bb6 |",
        "predominant>C dominant>C tonic>C tonic>C tonic>C dominant>Bb dominant>Bb tonic>Bb",
    ),
    "IV7 and bVI7 do not resolve": (
        "| C7 | F7 | Em7 A7 | Dm7 G7 | C7 | Ab7 | C7 | G7 |",
        "tonic>C subdominant>C mediant>C dominant>Dm predominant>C dominant>C tonic>C "
        "borrowed>C tonic>C dominant>C",
    ),
    "ii-V that goes elsewhere": (
        "| Cmaj7 | Abm7 Db7 | Gm7 C7 | Fmaj7 | Dm7 G7 | Cmaj7 |",
        "tonic>C predominant>Gb dominant>Gb predominant>F dominant>F subdominant>C "
        "predominant>C dominant>C tonic>C",
    ),
}

SHARP = ("C", "C#", "D", "D#", "E", "F", "F#", "G", "G#", "A", "A#", "B")
CLASS = {name: i for names in (SHARP, ROOTS) for i, name in enumerate(names)}


def moved(text: str, by: int) -> str:
    """`text` with every root and bass moved up, in flats."""
    return re.sub(r"(?<=[ /])[A-G][b#]?", lambda m: ROOTS[(CLASS[m[0]] + by) % 12], text)


def classed(function: str, goal: str) -> tuple[str, int, bool]:
    """A function and its goal as pitch class and mode, whatever its spelling."""
    minor = goal.endswith("m")
    return function, CLASS[goal.rstrip("m")], minor


@each_row("by", range(12))
@each_row("name", WRITTEN)
def test_the_function_written_beside_the_chord(name: str, by: int) -> None:
    text, expected = WRITTEN[name]
    chart = parse_text_chart(moved(text, by))
    found = [c and classed(c.function, c.goal) for c in contexts(chart, unroll(chart), loop=True)]
    rows = [row.split(">") for row in expected.split()]
    assert found == [
        classed(function, ROOTS[(CLASS[goal.rstrip("m")] + by) % 12] + "m" * goal.endswith("m"))
        for function, goal in rows
    ]


def test_a_loop_that_begins_afresh_is_read_from_there_on() -> None:
    names = ["G7", "N.C.", "Cmaj7", "A7", "Dm7", "Dm7b5", "G7"]
    chart = parse_chart({"measures": [[{"symbol": n, "beats": 4}] for n in names], "fresh": [4, 6]})
    turned = (
        parse_text_chart("| A7 | Dm7 |"),
        parse_text_chart("| Dm7b5 | G7 | G7 | N.C. | Cmaj7 |"),
    )
    two, five = (contexts(part, unroll(part)) for part in turned)
    assert contexts(chart, unroll(chart), loop=True) == [*five[2:], *two, *five[:2]]
    assert five[2] is not None
    assert five[2].why == "follows Dm7b5, falls a fifth to Cmaj7"


def test_every_function_is_met() -> None:
    met = {row.split(">")[0] for _, expected in WRITTEN.values() for row in expected.split()}
    assert met == set(FUNCTIONS)
