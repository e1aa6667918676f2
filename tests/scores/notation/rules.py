"""Rules of engraving, each a function that lists the faults of a MusicXML piano part.

Sources: Gould, *Behind Bars* (2011); Read, *Music Notation* (2nd ed., 1979); MusicXML 4.0 (W3C).
What the books say is from memory, without pages; the rest is common practice, no source.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Iterator
from fractions import Fraction
from itertools import pairwise
from typing import NamedTuple
from xml.etree.ElementTree import Element

SHARPS = "FCGDAEB"
ALTERS = {"flat-flat": -2, "flat": -1, "natural": 0, "sharp": 1, "double-sharp": 2}
#: Quarter notes of a note type (MusicXML 4.0, note-type-value).
LASTS = {"whole": 4, "half": 2, "quarter": 1, "eighth": Fraction(1, 2), "16th": Fraction(1, 4)}


class Heard(NamedTuple):
    """A note or rest of a measure: its element, when it begins, in quarter notes, its staff."""

    element: Element
    begin: Fraction
    length: Fraction
    staff: str

    @property
    def line(self) -> tuple[str, str, int]:
        """Staff, letter and octave."""
        return self.staff, self.text("pitch/step"), int(self.text("pitch/octave"))

    @property
    def alter(self) -> int:
        return int(self.element.findtext("pitch/alter") or 0)

    @property
    def sign(self) -> str | None:
        return self.element.findtext("accidental")

    @property
    def is_note(self) -> bool:
        return self.element.find("pitch") is not None

    @property
    def stops(self) -> bool:
        return self.element.find("tie[@type='stop']") is not None

    def text(self, path: str) -> str:
        return self.element.findtext(path) or ""


def piano(root: Element) -> list[Element]:
    """The measures of the part on two staves."""
    part = next(p for p in root.findall("part") if p.find("measure/attributes/staves") is not None)
    return part.findall("measure")


def contents(root: Element) -> Iterator[tuple[Element, dict[str, int], list[Heard]]]:
    """Each measure with its signature and what it has, by time, the upper staff first."""
    divisions, key = 1, {}
    for measure in piano(root):
        for attributes in measure.findall("attributes"):
            divisions = int(attributes.findtext("divisions") or divisions)
            if (fifths := attributes.findtext("key/fifths")) is not None:
                key = signature(int(fifths))
        found, at, begin = [], Fraction(0), Fraction(0)
        for child in measure:
            length = Fraction(int(child.findtext("duration") or 0), divisions)
            if child.tag == "backup":
                at -= length
            elif child.tag == "note":
                begin = begin if child.find("chord") is not None else at
                found.append(Heard(child, begin, length, child.findtext("staff") or ""))
                at = begin + length
        yield measure, key, sorted(found, key=lambda each: (each.begin, each.staff))


def signature(fifths: int) -> dict[str, int]:
    """The letters that a signature alters (Read, ch. 9: key signatures)."""
    if fifths < 0:
        return dict.fromkeys(SHARPS[::-1][:-fifths], -1)
    return dict.fromkeys(SHARPS[:fifths], 1)


def reads_as_written(root: Element) -> list[str]:
    """A sign holds for its line to the bar line; a tied note keeps its own (Gould; Read, ch. 8)."""
    faults = []
    for measure, key, found in contents(root):
        in_force: dict[tuple[str, str, int], int] = {}
        for note in (each for each in found if each.is_note):
            if note.sign is not None and not note.stops:
                in_force[note.line] = ALTERS[note.sign]
            read = in_force.get(note.line, key.get(note.line[1], 0))
            if not note.stops and read != note.alter:
                faults.append(f"measure {measure.get('number')}: {note.line} is read as {read}")
    return faults


def courtesy_accidentals(root: Element) -> list[str]:
    """Signs that remind: in another octave or staff of a measure, on a line in the next (Gould)."""
    faults = []
    before: dict[tuple[str, int], int] = {}
    for measure, key, found in contents(root):
        letters: dict[str, int] = {}
        lines: dict[tuple[str, int], int] = {}
        told: set[tuple[str, str, int]] = set()
        for note in (each for each in found if each.is_note):
            _, letter, octave = note.line
            other = letters.get(letter, note.alter) != note.alter
            if (letter, octave) not in lines:
                other |= before.get((letter, octave), note.alter) != note.alter
            if other and note.sign is None and not note.stops and note.line not in told:
                faults.append(f"measure {measure.get('number')}: {note.line} without a courtesy")
            if note.sign is not None and not note.stops:
                told.add(note.line)
            letters[letter] = lines[letter, octave] = note.alter
        before = {line: a for line, a in lines.items() if a != key.get(line[0], 0)}
    return faults


def restated_in_new_systems(root: Element) -> list[str]:
    """A note tied into a new system has its accidental again (Gould, on ties)."""
    faults = []
    for measure, key, found in contents(root):
        if measure.find("print[@new-system='yes']") is None:
            continue
        for note in found:
            altered = note.is_note and note.alter != key.get(note.line[1], 0)
            if altered and note.stops and note.begin == found[0].begin and note.sign is None:
                faults.append(f"measure {measure.get('number')}: {note.line} in a new system")
    return faults


def no_double_accidentals(root: Element) -> list[str]:
    """Plain names (Gould, on the spelling of accidentals): no double sharp or flat."""
    return [
        str(h.line)
        for _, _, found in contents(root)
        for h in found
        if h.is_note and abs(h.alter) > 1
    ]


def systems_of_four(root: Element) -> list[str]:
    """Four measures a system, five where one would be left; sections begin one (no source)."""
    faults, count = [], 0
    for place, measure in enumerate(piano(root)):
        begins = place == 0 or measure.find("print[@new-system='yes']") is not None
        count = 1 if begins else count + (measure.get("implicit") != "yes")
        if count > 5:
            faults.append(f"measure {measure.get('number')}: the system has {count}")
        if measure.find("direction/direction-type/rehearsal") is not None and not begins:
            faults.append(f"measure {measure.get('number')}: a section within a system")
    return faults


def no_tie_over_a_clef(root: Element) -> list[str]:
    """No clef changes and no octave sign begins or ends within a tie (Gould, on clefs and 8va)."""
    faults = []
    for place, (measure, _, found) in enumerate(contents(root)):
        changed = (
            {clef.get("number") for clef in measure.findall("attributes/clef")} if place else set()
        )
        for direction in measure.findall("direction"):
            if direction.find("direction-type/octave-shift[@type='stop']") is None and (
                direction.find("direction-type/octave-shift") is not None and place
            ):
                changed.add(direction.findtext("staff"))
        faults += [
            f"measure {measure.get('number')}: {note.line} is tied over a clef"
            for note in found
            if note.is_note and note.stops and note.begin == found[0].begin
            if note.staff in changed
        ]
    return faults


def rests_by_the_beat(root: Element) -> list[str]:
    """In 4/4 a half rest begins on one or three, a quarter rest on a beat; no dots (Gould)."""
    faults = []
    for measure, _, found in contents(root):
        for rest in (each for each in found if each.element.find("rest") is not None):
            if rest.element.find("rest").get("measure") == "yes":  # type: ignore[union-attr]
                continue
            length = LASTS[rest.text("type")]
            if rest.begin % length or rest.element.find("dot") is not None:
                faults.append(f"measure {measure.get('number')}: a rest at {rest.begin}")
    return faults


def silent_staves(root: Element) -> list[str]:
    """A staff without notes has a clef and a rest of a whole measure (Read, ch. 7: rests)."""
    faults = [] if len(piano(root)[0].findall("attributes/clef")) == 2 else ["two clefs at first"]
    for measure, _, found in contents(root):
        staves: defaultdict[str, list[Heard]] = defaultdict(list)
        for each in found:
            staves[each.staff].append(each)
        for staff, inside in staves.items():
            if any(each.is_note for each in inside):
                continue
            if len(inside) > 1 or inside[0].element.find("rest[@measure='yes']") is None:
                faults.append(f"measure {measure.get('number')}: staff {staff}")
        if set(staves) != {"1", "2"}:
            faults.append(f"measure {measure.get('number')}: a staff is missing")
    return faults


def symbols_over_the_upper_staff(root: Element) -> list[str]:
    """Chord symbols stand over the upper staff, each at another time (common practice)."""
    faults = []
    for measure in piano(root):
        harmonies = measure.findall("harmony")
        faults += [
            f"measure {measure.get('number')}" for h in harmonies if h.findtext("staff") != "1"
        ]
    return faults


def no_fingering(root: Element) -> list[str]:
    """Fingering is not invented."""
    return ["fingering" for _ in root.iter("fingering")]


def short_notes_are_quarters(root: Element) -> list[str]:
    """A short beat is a quarter note with a staccato dot, no dotted eighth (no source)."""
    return [
        f"measure {measure.get('number')}"
        for measure, _, found in contents(root)
        for each in found
        if each.text("type") == "16th"
        or (each.text("type") == "eighth" and each.element.find("dot") is not None)
    ]


def double_bars(root: Element) -> list[str]:
    """A double bar line ends a section and comes before a new key (Gould; Read, on bar lines)."""
    measures = piano(root)
    faults = []
    for measure, after in pairwise(measures):
        new = after.find("attributes/key") is not None
        new |= after.find("direction/direction-type/rehearsal") is not None
        if new != (measure.findtext("barline[@location='right']/bar-style") == "light-light"):
            faults.append(
                f"measure {measure.get('number')}: {'no' if new else 'a'} double bar line"
            )
    return faults


RULES: tuple[Callable[[Element], list[str]], ...] = (
    reads_as_written, courtesy_accidentals, restated_in_new_systems, no_double_accidentals,
    systems_of_four, no_tie_over_a_clef, rests_by_the_beat, silent_staves,
    symbols_over_the_upper_staff, no_fingering, short_notes_are_quarters,
    double_bars,
)  # fmt: skip
