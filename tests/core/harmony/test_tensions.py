"""Colours and what a context asks for, on charts of our own, written before the code ran.

- HUTCHINSON: *Music Theory for the 21st-Century Classroom*, jazz unit: V of a minor key has
  an altered ninth and thirteenth; chord-scale lists give #11 to IV and to substitutes.
- LEVINE: *The Jazz Theory Book* (Sher Music, 1995), figures 3-62 and 3-114 voice a G7alt with #9
  and b13: an alt asks for an altered ninth and thirteenth wherever it stands.
- TEREFENKO: *Jazz Theory* (Routledge, 2014), ch. 5: extensions by chord type.
- The 13 that V to a major chord asks for, natural tensions on V of V, and what a sung note rules
  out (colours agree: 9 against b9 and #9, 13 and a natural 5 against b13) are common practice, no
  source.
"""

from __future__ import annotations

from shortway.core.charts import parse_chart, unroll
from shortway.core.harmony.context import Context
from shortway.core.harmony.functions import contexts
from shortway.core.solver.solve import voicings
from shortway.core.symbols.parser import parse
from shortway.core.theory.pitch import pitch_name
from shortway.core.voicings.available_tones import CLASHES
from shortway.wire.serializers.paths import context_json, read_context
from support.charts import ROOTS
from support.tables import each_row

ALTERED = "b9/#9 b13/#5"


def said(text: str, melody: list[str] | None = None, at: int = 1) -> Context:
    """The context of the chord `at`, with `melody` sung over it."""
    symbols = [bar.split() for bar in text.strip("| ").split("|")]
    measures = [[{"symbol": symbol} for symbol in bar] for bar in symbols]
    number = 0
    for bar in measures:
        for entry in bar:
            if number == at and melody:
                entry["melody"] = melody  # type: ignore[assignment]
            number += 1
    chart = parse_chart({"measures": measures})
    found = contexts(chart, unroll(chart))[at]
    assert found is not None
    return found


@each_row("text, wants", [
    ("| Dm7 | G7 | Cmaj7 |", "13"),
    ("| Dm7 | G7 | C7 |", "13"),
    ("| Dm7 | G9 | Cmaj7 |", "13"),
    ("| Dm7 | G13 | Cmaj7 |", ""),
    ("| Dm7 | G7b9 | Cmaj7 |", "13"),
    ("| Dm7b5 | G7 | Cm |", ALTERED),
    ("| Dm7b5 | G7 | Cmaj7 |", ALTERED),
    ("| Dm7b5 | G7 | C7 |", ALTERED),
    ("| Dm7b5 | G7b9 | Cm6 |", "b13/#5"),
    ("| Dm7b5 | G7alt | Cm6 |", ALTERED),
    ("| Dm7 | G7alt | Cmaj7 |", ALTERED),
    ("| Cmaj7 | A7 | Dm7 |", ALTERED),
    ("| Cmaj7 | D7 | G7 |", "13"),
    ("| Dm7 | Db7 | Cmaj7 |", "#11"),
    ("| Dm7 | Db7#11 | Cmaj7 |", ""),
    ("| Dm7b5 | Db7 | Cm6 |", "#11"),
    ("| Cmaj7 | Fmaj7 | Dm7 | G7 | Cmaj7 |", "#11"),
    ("| Cmaj7 | Fmaj7 Fm7 | Cmaj7 |", ""),  # it does not stay
    ("| Cmaj7 | F6 | Dm7 | G7 | Cmaj7 |", ""),
    ("| Cmaj7 | Bb7 | Cmaj7 |", ""),
    ("| C7 | F7 | C7 | G7 | C7 |", ""),
    ("| Dm7 | Gsus | Cmaj7 |", ""),
    ("| Dm7 | F/G | Cmaj7 |", ""),
])  # fmt: skip
def test_what_the_context_asks_for(text: str, wants: str) -> None:
    """HUTCHINSON for the altered and raised degrees; common practice for the rest."""
    assert said(text).wants == tuple(tuple(group.split("/")) for group in wants.split())


@each_row("text, melody, colours, wants", [
    ("| Dm7 | G7 | Cmaj7 |", "D5", "9 13", "13"),  # the fifth
    ("| Dm7 | G7 | Cmaj7 |", "Eb5", "b9 #9 b13", "b9/#9"),  # b13
    ("| Dm7 | G7 | Cmaj7 |", "Ab5", "b9 #9 13", "13"),  # b9
    ("| Dm7 | G7 | Cmaj7 |", "Bb4", "b9 #9 13", "13"),  # #9
    ("| Dm7 | G7 | Cmaj7 |", "E5", "9 13", ""),  # 13: it sounds already
    ("| Dm7b5 | G7 | Cm6 |", "D5", "b9 #9", "b9/#9"),  # the fifth
    ("| Dm7b5 | G7 | Cm6 |", "E5", "b9 #9 13", "b9/#9"),  # 13
    ("| Dm7b5 | G7 | Cm6 |", "A4", "9 b13", "b13/#5"),  # 9
    ("| Dm7b5 | G7 | Cm6 |", "Ab4 Eb5", "b9 #9 b13", ""),  # both sound already
    ("| Dm7b5 | G7 | Cm6 |", "Ab4 A4", "b9 b13", "b13/#5"),  # both ninths: what is sung stays
    ("| Dm7 | Db7 | Cmaj7 |", "G5", "9 #11 13", ""),  # #11
    ("| Dm7 | Db7 | Cmaj7 |", "Gb5", "9 13", ""),  # 11
    ("| Dm7 | Db7 | Cmaj7 |", "D5", "b9 #9 #11 13", "#11"),  # b9
    ("| Cmaj7 | Fmaj7 | Dm7 | G7 | Cmaj7 |", "Bb4", "9 13", ""),  # 11
])  # fmt: skip
def test_a_sung_note_steers_the_colours(text: str, melody: str, colours: str, wants: str) -> None:
    found = said(text, melody.split())
    assert found.colours == tuple(colours.split())
    assert found.wants == tuple(tuple(group.split("/")) for group in wants.split())


@each_row("root", ROOTS)
def test_no_colour_contradicts_the_melody(root: str) -> None:
    """Whatever pitch is sung over V in major and minor, no colour conflicts with it alone."""
    names = {1: "b9", 2: "9", 3: "#9", 6: "#11", 8: "b13", 9: "13"}
    pairs = {frozenset(pair) for pair in CLASHES}
    at = ROOTS.index(root)
    for before, after in (("m7", "maj7"), ("m7b5", "m6")):
        text = f"| {ROOTS[(at + 7) % 12]}{before} | {root}7 | {ROOTS[(at + 5) % 12]}{after} |"
        for above, sung in names.items():
            found = said(text, [pitch_name(60 + (at + above) % 12)])
            assert not [c for c in found.colours if frozenset({c, sung}) in pairs], (text, sung)


def test_a_context_goes_out_and_comes_back() -> None:
    """What a path's step says is what a request for voicings takes, b7 of a sus included."""
    for text in ("| Dm7b5 | G7 | Cm6 |", "| Dm7 | Gsus | Cmaj7 |", "| Cmaj7 | Fmaj7 | Cmaj7 |"):
        found = said(text)
        assert read_context(context_json(found)) == found
    sus = said("| Dm7 | Gsus | Cmaj7 |")
    assert sus.colours[0] == "b7"
    listed = voicings(parse("Gsus"), context=sus).voicings
    assert any("b7" in [n.degree for n in ranked.voicing.notes] for ranked in listed)
