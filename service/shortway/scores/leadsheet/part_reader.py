"""A part's measures walked through: where harmonies and notes stand, meters and keys.

Knows XML elements; not how measures are played, nor what a harmony says. Times are exact, in
quarter notes from the start of the measure; pitches sound, whatever the part writes.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from fractions import Fraction
from typing import Final
from xml.etree.ElementTree import Element

from shortway.core.cancellation import checkpoint
from shortway.core.charts.model import METER_EXPECTED, read_meter
from shortway.core.errors import ChartError, ShortwayError
from shortway.scores.leadsheet.document.xml_values import child_decimal, child_integer, child_text
from shortway.scores.leadsheet.line_of_fifths import KeySignature, Transposition, transposition_of

_STEPS: Final = {"C": 0, "D": 2, "E": 4, "F": 5, "G": 7, "A": 9, "B": 11}
_ZERO: Final = Fraction(0)


@dataclass(frozen=True, slots=True)
class PlacedHarmony:
    """A harmony, where it begins, the written key there, and what sounds above the written."""

    onset: Fraction
    harmony: Element
    key: KeySignature | None
    by: Transposition


@dataclass(frozen=True, slots=True)
class MelodyNote:
    """A note with a pitch; ties at its start and its end."""

    onset: Fraction
    length: Fraction
    midi: int
    voice: str
    tied_from: bool
    tied_to: bool


@dataclass(slots=True)
class PartMeasure:
    """What a part has in one measure.

    Attributes
    ----------
    number : str
        As printed.
    length : Fraction
        How far notes, rests and forwards reach; 0 where there are none.
    meter, key
        What is in force from its start on, where it changes; the key sounds.
    """

    number: str
    length: Fraction = _ZERO
    meter: tuple[int, int] | None = None
    key: KeySignature | None = None
    harmonies: list[PlacedHarmony] = field(default_factory=list)
    sounds: list[MelodyNote] = field(default_factory=list)


class PartReader:
    """Goes through the measures of a part and remembers what holds on."""

    def __init__(self, part: Element, label: str) -> None:
        self.part = part
        self.label = label
        self._divisions = _ZERO
        self._by = Transposition()
        self._written_key: KeySignature | None = None
        self._later: tuple[int, int] | None = None

    def measures(self) -> Iterator[PartMeasure]:
        """The measures in order.

        Raises
        ------
        ChartError
            With the measure and the part in its words.
        """
        for child in self.part:
            if child.tag == "measure":
                number = child.get("number", "?")[:20]
                try:
                    yield self._measure(child, number)
                except ShortwayError as error:
                    raise error_in_measure(error, number, self.label) from None
            elif child.tag == "harmony":
                detail = f"a harmony is outside any measure of {self.label}"
                raise ChartError.at("", detail, expected="harmonies inside measures")

    def _measure(self, measure: Element, number: str) -> PartMeasure:
        checkpoint()
        walked = PartMeasure(number, meter=self._later)
        self._later = None
        at = before = _ZERO
        for child in measure:
            tag = child.tag
            if tag == "note" and child.find("grace") is None:
                length = self._duration(child)
                start = before if child.find("chord") is not None else at
                self._note(walked, child, start, length)
                before, at = start, max(at, start + length)
            elif tag == "backup":
                at -= self._duration(child)
                if at < 0:
                    detail = "a backup exceeds the measure"
                    raise ChartError.at("", detail, expected="a backup within the measure")
            elif tag == "forward":
                at += self._duration(child)
            elif tag == "attributes":
                self._attributes(walked, child, at)
            elif tag == "harmony":
                onset = at + self._offset(child)
                walked.harmonies.append(PlacedHarmony(onset, child, self._written_key, self._by))
            walked.length = max(walked.length, at)
        return walked

    def _duration(self, element: Element) -> Fraction:
        found = child_decimal(element, "duration")
        if found is None or found < 0:
            raise ChartError.at("", "a note has no duration", expected="a duration")
        return self._quarters(found) if found else _ZERO

    def _quarters(self, count: Fraction) -> Fraction:
        if not self._divisions:
            raise ChartError.at("", "a duration precedes the divisions", expected="divisions first")
        return count / self._divisions

    def _offset(self, harmony: Element) -> Fraction:
        found = child_decimal(harmony, "offset")
        return self._quarters(found) if found else _ZERO

    def _note(self, walked: PartMeasure, note: Element, onset: Fraction, length: Fraction) -> None:
        """Keep a note that is part of a melody: a pitch on the first staff, no cue, no slash."""
        pitch, notehead = note.find("pitch"), child_text(note, "notehead")
        left_out = note.find("cue") is not None or notehead == "slash"
        if pitch is None or left_out or child_text(note, "staff") not in ("", "1") or not length:
            return
        ties = {tie.get("type") for tie in note.findall("tie")}
        midi = _midi(pitch) + self._by.semitones
        if not 0 <= midi <= 127:
            raise ChartError.at("", f"a note is MIDI {midi}", expected="0 to 127")
        voice = child_text(note, "voice")
        walked.sounds.append(
            MelodyNote(onset, length, midi, voice, "stop" in ties, "start" in ties)
        )

    def _attributes(self, walked: PartMeasure, attributes: Element, at: Fraction) -> None:
        if attributes.find("divisions") is not None:
            self._divisions = child_decimal(attributes, "divisions") or _ZERO
            if self._divisions <= 0:
                raise ChartError.at("", "divisions are 0", expected="divisions of a quarter note")
        for given in attributes.findall("transpose"):
            if given.get("number") in (None, "1"):
                self._by = _transposition(given)
        for given in attributes.findall("key"):
            if given.get("number") in (None, "1"):
                self._key(walked, given)
        for given in attributes.findall("time"):
            if given.get("number") in (None, "1"):
                self._meter(walked, given, at)

    def _key(self, walked: PartMeasure, given: Element) -> None:
        if given.find("fifths") is None:
            return  # a signature of single signs names no key
        fifths = child_integer(given, "fifths", -14, 14)
        self._written_key = KeySignature(fifths, child_text(given, "mode").lower() or "major")
        walked.key = self._written_key.transposed(self._by)

    def _meter(self, walked: PartMeasure, given: Element, at: Fraction) -> None:
        """A meter; one that stands after the music of a measure is the next one's."""
        meter = _meter(given)
        if at:
            self._later = meter
        else:
            walked.meter = meter


def error_in_measure(error: ShortwayError, measure: str, label: str) -> ShortwayError:
    """`error` with the measure and the part in its words."""
    where = f"measure {measure} of {label}"
    fault = error.faults[0]
    return type(error).at(fault.pointer, f"{where}: {error.detail}", None, fault.expected)


def _midi(pitch: Element) -> int:
    step = child_text(pitch, "step")
    if step not in _STEPS:
        raise ChartError.at("", f"cannot read the step {step[:20]!r}", expected="a step A to G")
    alter = child_decimal(pitch, "alter") or _ZERO
    return 12 * (child_integer(pitch, "octave", 0, 9) + 1) + _STEPS[step] + round(alter)


def _transposition(given: Element) -> Transposition:
    diatonic = (
        child_integer(given, "diatonic", -40, 40) if given.find("diatonic") is not None else None
    )
    octaves = child_integer(given, "octave-change", -5, 5, 0)
    return transposition_of(diatonic, child_integer(given, "chromatic", -60, 60), octaves)


def _meter(given: Element) -> tuple[int, int]:
    """Beats over a unit; a meter of several parts in its smallest unit."""
    if given.find("senza-misura") is not None:
        raise ChartError.at("", "the measure has no meter (senza misura)", expected=METER_EXPECTED)
    beats = [(child.text or "").strip() for child in given.findall("beats")]
    units = [(child.text or "").strip() for child in given.findall("beat-type")]
    shown = " + ".join(f"{b}/{u}" for b, u in zip(beats, units, strict=False))[:40] or "empty"
    parts = [
        read_meter(f"{one}/{unit}")
        for several, unit in zip(beats, units, strict=False)
        for one in several.split("+")
    ]
    found = [part for part in parts if part is not None]
    if not found or len(found) < len(parts) or len(beats) != len(units):
        raise ChartError.at("", f"cannot read the meter {shown}", expected=METER_EXPECTED)
    smallest = max(unit for _, unit in found)
    meter = read_meter(f"{sum(count * smallest // unit for count, unit in found)}/{smallest}")
    if meter is None:
        raise ChartError.at("", f"the meter {shown} is too long", expected=METER_EXPECTED)
    return meter
