"""Scores keep the rules of engraving in all keys, hands and rhythms; each rule finds its fault.

The sources stand beside each rule in `rules`.
"""

from __future__ import annotations

from collections.abc import Callable
from xml.etree import ElementTree
from xml.etree.ElementTree import Element, SubElement

import pytest

from scores.notation import rules
from scores.notation.rules import RULES
from shortway.core.charts import parse_text_chart, unroll
from shortway.core.harmony.functions import main_key
from shortway.core.harmony.transposition import transpose
from shortway.core.rhythm.patterns import PATTERNS
from shortway.core.solver.solve import solve
from shortway.scores.notation.key_signatures import key_fifths
from shortway.services.write_score import write_score
from shortway.wire.example_score import SHEET
from support.tables import each_row

CIRCLE = ["C", "F", "Bb", "Eb", "Ab", "Db", "Gb", "B", "E", "A", "D", "G"]
#: Altered dominants, a substitute held into a section, a minor section, rests, fast changes.
TUNE = (
    "key: C\n[A] | Dm9 G7b9 | Cmaj7 A7alt | Dm7 Db7 | C6 / N.C. / | Gm7 | C7#11 | Fmaj7 | Fm6 Bb9 "
    "| Em7b5 A7b9 | Dm7 G13 |\n[B] | Cm6 | Dm7b5 G7alt | Cm(maj7) | N.C. | Ab7 G7 | Db7 |\n"
    "[C] | Db7 | C69 |"
)
HANDS = [
    {}, {"hands": "left"}, {"hands": "right"}, {"bass_player": False},
    {"families": ["guide-tone-full"], "home": "C6"},
]  # fmt: skip
FOUR = [
    name for name, pattern in PATTERNS.items() if not pattern.meters or (4, 4) in pattern.meters
]


def score(
    key: str = "C", setting: object = None, rhythm: str = "held", text: str = TUNE
) -> Element:
    chart = transpose(parse_text_chart(text), "C", key)
    request = {"chart": chart, "rhythm": rhythm, "setting": setting or {}}
    return ElementTree.fromstring(write_score(request, "musicxml")[1])


def faults(root: Element) -> list[str]:
    return [f"{rule.__name__}: {fault}" for rule in RULES for fault in rule(root)]


@each_row("key, setting", [(k, s) for k in CIRCLE for s in HANDS], sample=8)
def test_held_chords_keep_the_rules_in_all_keys(key: str, setting: dict[str, object]) -> None:
    assert faults(score(key, setting)) == []


@each_row("rhythm, key", [(r, k) for r in FOUR for k in ("Eb", "B")], sample=6)
def test_rhythms_keep_the_rules(rhythm: str, key: str) -> None:
    assert faults(score(key, {}, rhythm)) == []


def test_a_lead_sheet_keeps_the_rules() -> None:
    """Its systems are its own."""
    sheet = write_score({"chart": {"musicxml": SHEET}}, "musicxml")[1]
    found = faults(ElementTree.fromstring(sheet))
    assert [fault for fault in found if not fault.startswith("systems_of_four")] == []


@each_row("key", CIRCLE, sample=3)
def test_the_signature_is_that_of_the_key_that_the_chords_are_heard_in(key: str) -> None:
    """With the chart's key and without (issue: 38 of 118 signatures contradicted the context)."""
    chart = transpose(parse_text_chart("key: C\n| Dm7 | G7 | Cmaj7 | Am7 |"), "C", key)
    assert int(score(key, text=TUNE).findtext(".//fifths") or 0) == key_fifths(key)[0]
    bare = parse_text_chart("".join(f"| {e.symbol} " for m in chart.measures for e in m) + "|")
    heard = main_key(bare, unroll(bare))
    assert heard is not None
    contexts = [step.context.goal for step in solve(bare).steps if step.context]
    assert heard in contexts
    root = ElementTree.fromstring(write_score({"chart": bare}, "musicxml")[1])
    assert int(root.findtext(".//fifths") or 0) == key_fifths(heard)[0] == key_fifths(key)[0]


def test_an_excerpt_has_the_signature_of_the_whole() -> None:
    text = "| Dm7 | G7 | Cmaj7 | C6 | Am7 | D7 |"
    request = {"chart": {"text": text}, "from_measure": 5, "to_measure": 6}
    root = ElementTree.fromstring(write_score(request, "musicxml")[1])
    assert root.findtext(".//fifths") == "0"


def _first(root: Element, path: str) -> tuple[Element, Element]:
    """The first element of a path, and its parent."""
    parents = {child: parent for parent in root.iter() for child in parent}
    found = root.find(path)
    assert found is not None, path
    return found, parents[found]


def _without(path: str) -> Callable[[Element], None]:
    def plant(root: Element) -> None:
        found, parent = _first(root, path)
        parent.remove(found)

    return plant


def _without_all(path: str, name: str) -> Callable[[Element], None]:
    def plant(root: Element) -> None:
        for parent in root.findall(path):
            for child in parent.findall(name):
                parent.remove(child)

    return plant


def _clef_under_a_tie(root: Element) -> None:
    measure = next(m for m in rules.piano(root)[1:] if m.find("note/tie[@type='stop']") is not None)
    tied = next(n for n in measure.findall("note") if n.find("tie[@type='stop']") is not None)
    attributes = Element("attributes")
    SubElement(attributes, "clef", number=tied.findtext("staff") or "")
    measure.insert(0, attributes)


def _moved_rest(root: Element) -> None:
    rest = next(
        n for n in root.iter("note") if n.find("rest") is not None and n.find("type") is not None
    )
    SubElement(rest, "dot")


def _harmony_below(root: Element) -> None:
    _first(root, ".//harmony/staff")[0].text = "2"


def _sixteenth(root: Element) -> None:
    _first(root, ".//note/type")[0].text = "16th"


def _double(root: Element) -> None:
    _first(root, ".//note/pitch/alter")[0].text = "-2"


def _fingering(root: Element) -> None:
    SubElement(_first(root, ".//note")[0], "fingering").text = "1"


def _split_rest(root: Element) -> None:
    for rest in root.iter("rest"):
        rest.attrib.pop("measure", None)


@pytest.mark.parametrize(
    ("rule", "plant"),
    [
        (rules.reads_as_written, _without_all(".//note", "accidental")),
        (rules.courtesy_accidentals, _without(".//accidental[@cautionary='yes']")),
        (rules.restated_in_new_systems, _without_all(".//note", "accidental")),
        (rules.no_double_accidentals, _double),
        (rules.systems_of_four, _without_all(".//measure", "print")),
        (rules.no_tie_over_a_clef, _clef_under_a_tie),
        (rules.rests_by_the_beat, _moved_rest),
        (rules.silent_staves, _split_rest),
        (rules.symbols_over_the_upper_staff, _harmony_below),
        (rules.no_fingering, _fingering),
        (rules.short_notes_are_quarters, _sixteenth),
        (rules.double_bars, _without_all(".//measure", "barline")),
    ],
    ids=lambda value: getattr(value, "__name__", ""),
)
def test_each_rule_finds_its_fault(
    rule: Callable[[Element], list[str]], plant: Callable[[Element], None]
) -> None:
    root = score("Eb")
    assert rule(root) == []
    plant(root)
    assert rule(root) != []
