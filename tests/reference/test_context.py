"""Tensions in context against printed music and a published table.

- HUTCHINSON: *Music Theory for the 21st-Century Classroom*, jazz unit (GFDL), figures read for
  `reference.textbook`: which colours the book prints over a two, a five and a one, in major and
  minor, over a substitute dominant and over the third degree. Here the symbols are bare, and the
  context has to bring the printed notes in.
- TEREFENKO: *Jazz Theory* (Routledge, 2014), ch. 5, the publisher's table of extensions.
"""

from __future__ import annotations

import pytest

from shortway.core.charts import parse_text_chart, unroll
from shortway.core.harmony.functions import contexts
from shortway.core.harmony.tensions import COLOURS, colours
from shortway.core.settings.setting import resolve
from shortway.core.solver.solve import solve, voicings
from shortway.core.symbols.parser import parse
from shortway.core.voicings.candidates import candidates
from support.charts import ROOTS, transposed
from support.rules import broken
from support.tables import each_row

KEYS = range(12)
RIGHT = {"families": ["rootless"], "hands": "right", "tensions": "in-context"}

# HUTCHINSON: bare symbols and the four notes printed over each root, in C
PRINTED = [
    ("| Dm7 | G7 | Cmaj7 |", ["C4 E4 F4 A4", "B3 E4 F4 A4", "B3 D4 E4 G4"]),
    ("| Dm7 | Db7 | Cmaj7 |", ["C4 E4 F4 A4", "B3 Eb4 F4 Bb4", "B3 D4 E4 G4"]),
    ("| Dm7b5 | G7 | Cm |", [None, "B3 Eb4 F4 Bb4", "A3 D4 Eb4 G4"]),
    ("| Em7 | Am7 | Dm7 | G7 | Cmaj7 |",
     ["D4 E4 G4 B4", "C4 E4 G4 B4", "C4 E4 F4 A4", "B3 E4 F4 A4", "B3 D4 E4 G4"]),
]  # fmt: skip
NOTES = {"C": 0, "Db": 1, "D": 2, "Eb": 3, "E": 4, "F": 5, "G": 7, "A": 9, "Bb": 10, "B": 11}


def midi(text: str, by: int) -> tuple[int, ...]:
    return tuple(12 * (int(n[-1]) + 1) + NOTES[n[:-1]] + by for n in text.split())


@each_row("by", KEYS)
@each_row(
    "text, printed",
    PRINTED,
)
def test_a_bare_symbol_takes_the_printed_colours(
    text: str, printed: list[str | None], by: int
) -> None:
    """HUTCHINSON, in every key."""
    wide = {**RIGHT, "lowest": "C3", "highest": "C6"}
    path = solve(transposed(text, by), wide)
    for step, notes in zip(path.steps, printed, strict=True):
        assert step.context is not None
        listed = voicings(step.step.chord, wide, colours=step.context.colours).voicings
        if notes is not None:
            assert midi(notes, by) in {ranked.voicing.midi_notes for ranked in listed}, (
                step.step.symbol
            )


# TEREFENKO, ch. 5: extensions, diatonic and chromatic, and the sixth or seventh that a chord may
# have as its essential tone
EXTENSIONS = {
    "major-seventh": {"9", "13", "#11"}, "major-sixth": {"9", "13", "#11"},
    "minor": {"9", "11", "13", "#11", "b13", "6", "7"},
    "minor-sixth": {"9", "11", "13", "#11", "b13"},
    "minor-seventh": {"9", "11", "13", "#11", "b13"},
    "half-diminished": {"9", "11", "b13"}, "diminished-seventh": {"9", "11", "b13"},
    "dominant": {"9", "13", "b9", "#9", "#11", "b13"},
    "dominant-suspended": {"9", "13", "b9", "#9", "b13"},
}  # fmt: skip


@each_row(
    "row",
    COLOURS,
)
def test_no_function_asks_for_more_than_the_published_table_has(row: tuple[str, str]) -> None:
    """TEREFENKO."""
    assert set(COLOURS[row]) <= EXTENSIONS[row[1]]


SUFFIXES = {
    "dominant": ("7", "9", "13", "7b9", "7#9", "7#11", "7b5", "7#5", "7alt", "7/3"),
    "dominant-suspended": ("7sus4", "9sus", "13sus"), "minor": ("m", "madd9"),
    "minor-sixth": ("m6", "m6/9"), "minor-seventh": ("m7", "m9", "m11"),
    "major-seventh": ("maj7", "maj9", "maj7#11"), "major-sixth": ("6", "6/9"),
}  # fmt: skip
# what the judge, who knows the symbol alone, cannot know of a colour that the context brings in
EXCUSED = {"a minor ninth from 1 to b9": "b9"}
SITUATIONS = (
    {}, {"hands": "left"}, {"hands": "right"}, {"bass_player": False},
    {"bass_player": False, "hands": "left"},
)  # fmt: skip


@each_row(
    "setting",
    SITUATIONS,
)
@each_row(
    "row",
    COLOURS,
)
def test_every_row_leaves_every_chord_a_voicing_that_keeps_the_rules(
    row: tuple[str, str], setting: dict[str, object]
) -> None:
    """The rules as `support.rules` has them, in plain Python; two voicings of each are judged."""
    resolved = resolve(setting)
    for suffix in SUFFIXES[row[1]]:
        for root in ROOTS:
            chord = parse(root + suffix) if "/" not in suffix[1:] else parse(root + "7")
            added = colours(chord.content, row[0])
            found = candidates(chord, resolved, added)
            assert len(found), chord.name
            for index in (0, len(found) - 1):
                wrong = broken(chord, found.voicing(index, chord), resolved)
                excused = [text for text, degree in EXCUSED.items() if degree in added]
                assert set(wrong) <= set(excused), (chord.name, wrong)


@pytest.mark.parametrize("given", ["C", "Cm", None])
def test_a_key_helps_where_the_chords_leave_it_open(given: str | None) -> None:
    """Common practice, no source: a lone G7 is the five of the key that the chart names."""
    head = f"key: {given}\n" if given else ""
    chart = parse_text_chart(
        head + "| G7 | Fmaj7 G7 |" if given != "Cm" else head + "| G7 | Fm7 G7 |"
    )
    last = contexts(chart, unroll(chart))[-1]
    assert last is not None
    assert ("b9" in last.colours) == (given == "Cm")
