"""The measures of a part: positions of harmonies and notes, meters and keys.

Knows XML elements; nothing of the playback order or of what a harmony means. Times are exact, in
quarter notes from the start of the measure. Pitches and keys are the sounding ones.
"""

from collections.abc import Iterator
from dataclasses import dataclass, field
from fractions import Fraction
from typing import Final
from xml.etree.ElementTree import Element

from shortway.core.cancellation import checkpoint
from shortway.core.charts.headers import METER_EXPECTED, read_meter
from shortway.core.errors import ShortwayError
from shortway.core.theory.pitch import LETTERS, NATURALS
from shortway.scores.leadsheet.document.xml_values import (
    attribute_decimal,
    chart_error,
    child_decimal,
    child_integer,
    child_text,
)
from shortway.scores.leadsheet.line_of_fifths import KeySignature, Transposition, transposition_of
from shortway.scores.sound import TEMPO

_STEPS: Final = dict(zip(LETTERS, NATURALS, strict=True))
_ZERO: Final = Fraction(0)


@dataclass(frozen=True, slots=True)
class PlacedHarmony:
    """A harmony with its onset, the written key and the transposition in force."""

    onset: Fraction
    harmony: Element
    key: KeySignature | None
    by: Transposition


@dataclass(frozen=True, slots=True)
class MelodyNote:
    """A note with a pitch, and whether it is tied from the note before and to the next."""

    onset: Fraction
    length: Fraction
    midi: int
    tied_from: bool
    tied_to: bool


@dataclass(slots=True)
class PartMeasure:
    """One measure of a part.

    `label` names the part in error messages; `number` is as printed; `length` is the end of the
    last note, rest or forward, or 0; `meter` and the sounding `key` are None if they do not change
    at its start.
    """

    label: str
    number: str
    length: Fraction = _ZERO
    meter: tuple[int, int] | None = None
    key: KeySignature | None = None
    harmonies: list[PlacedHarmony] = field(default_factory=list)
    sounds: list[MelodyNote] = field(default_factory=list)
    tempi: list[tuple[Fraction, float]] = field(default_factory=list)


Part = list[PartMeasure]


class PartReader:
    """Reads the measures of a part; its state is what stays in force between them."""

    def __init__(self, part: Element, label: str) -> None:
        self.part = part
        self.label = label
        self._divisions = _ZERO
        self._by = Transposition()
        self._written_key: KeySignature | None = None
        self._later: tuple[int, int] | None = None

    def measures(self) -> Iterator[PartMeasure]:
        """The measures in order.

        Raises ChartError if a measure cannot be read; the detail names measure and part.
        """
        for child in self.part:
            if child.tag == "measure":
                walked = PartMeasure(self.label, child.get("number", "?")[:20], meter=self._later)
                self._later = None
                try:
                    self._read(walked, child)
                except ShortwayError as error:
                    raise error_in_measure(error, walked) from None
                yield walked
            elif child.tag == "harmony":
                detail = f"a harmony is outside any measure of {self.label}"
                raise chart_error(detail, "harmonies inside measures")

    def _read(self, walked: PartMeasure, measure: Element) -> None:
        checkpoint()
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
                    raise chart_error("a backup exceeds the measure", "a backup within the measure")
            elif tag == "forward":
                at += self._duration(child)
            elif tag == "attributes":
                self._attributes(walked, child, at)
            elif tag == "harmony":
                onset = at + self._quarters(child_decimal(child, "offset") or _ZERO)
                walked.harmonies.append(PlacedHarmony(onset, child, self._written_key, self._by))
            elif tag in ("direction", "sound"):
                walked.tempi += ((at, tempo) for tempo in _tempi(child))
            walked.length = max(walked.length, at)

    def _duration(self, element: Element) -> Fraction:
        found = child_decimal(element, "duration")
        if found is None or found < 0:
            raise chart_error("a note has no duration", "a duration")
        return self._quarters(found)

    def _quarters(self, count: Fraction) -> Fraction:
        if count and not self._divisions:
            raise chart_error("a duration precedes the divisions", "divisions first")
        return count / self._divisions if count else _ZERO

    def _note(self, walked: PartMeasure, note: Element, onset: Fraction, length: Fraction) -> None:
        """Keep a melody note: one with a pitch, on the first staff, no cue, no slash."""
        pitch, notehead = note.find("pitch"), child_text(note, "notehead")
        left_out = note.find("cue") is not None or notehead == "slash"
        if pitch is None or left_out or child_text(note, "staff") not in ("", "1") or not length:
            return
        ties = {tie.get("type") for tie in note.findall("tie")}
        midi = _midi(pitch) + self._by.semitones
        if not 0 <= midi <= 127:
            raise chart_error(f"a note is MIDI {midi}", "0 to 127")
        walked.sounds.append(MelodyNote(onset, length, midi, "stop" in ties, "start" in ties))

    def _attributes(self, walked: PartMeasure, attributes: Element, at: Fraction) -> None:
        """Apply the attributes of the first staff; the transposition precedes the key."""
        if attributes.find("divisions") is not None:
            self._divisions = child_decimal(attributes, "divisions") or _ZERO
            if self._divisions <= 0:
                raise chart_error("divisions are 0", "divisions of a quarter note")
        for tag in ("transpose", "key", "time"):
            for given in attributes.findall(tag):
                if given.get("number") not in (None, "1"):
                    continue
                if tag == "transpose":
                    self._by = _transposition(given)
                elif tag == "key":
                    self._key(walked, given)
                elif at:  # a meter after the music of a measure is the next one's
                    self._later = _meter(given)
                else:
                    walked.meter = _meter(given)

    def _key(self, walked: PartMeasure, given: Element) -> None:
        if given.find("fifths") is None:
            return  # a non-traditional signature names no key
        fifths = child_integer(given, "fifths", -14, 14)
        self._written_key = KeySignature(fifths, child_text(given, "mode").lower() or "major")
        walked.key = self._written_key.transposed(self._by)


def error_in_measure(error: ShortwayError, measure: PartMeasure) -> ShortwayError:
    """`error` with the measure and the part in its detail."""
    fault = error.faults[0]
    detail = f"measure {measure.number} of {measure.label}: {error.detail}"
    return type(error).at(fault.pointer, detail, None, fault.expected)


def _tempi(element: Element) -> Iterator[float]:
    """The tempo of a ``sound`` or of the one of a direction, in quarter notes a minute."""
    for sound in element.iter("sound"):
        tempo = attribute_decimal(sound, "tempo")
        if tempo is not None and TEMPO[0] <= tempo <= TEMPO[1]:
            yield float(tempo)


def _midi(pitch: Element) -> int:
    step = child_text(pitch, "step")
    if step not in _STEPS:
        raise chart_error(f"cannot read the step {step[:20]!r}", "a step A to G")
    alter = child_decimal(pitch, "alter") or _ZERO
    return 12 * (child_integer(pitch, "octave", 0, 9) + 1) + _STEPS[step] + round(alter)


def _transposition(given: Element) -> Transposition:
    steps = child_decimal(given, "diatonic")
    diatonic = None if steps is None else child_integer(given, "diatonic", -40, 40)
    octaves = child_integer(given, "octave-change", -5, 5, 0)
    return transposition_of(diatonic, child_integer(given, "chromatic", -60, 60), octaves)


def _meter(given: Element) -> tuple[int, int]:
    """The meter as (beats, unit); a composite meter in its smallest unit."""
    if given.find("senza-misura") is not None:
        raise chart_error("the measure has no meter (senza misura)", METER_EXPECTED)
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
        raise chart_error(f"cannot read the meter {shown}", METER_EXPECTED)
    smallest = max(unit for _, unit in found)
    meter = read_meter(f"{sum(count * smallest // unit for count, unit in found)}/{smallest}")
    if meter is None:
        raise chart_error(f"the meter {shown} is too long", METER_EXPECTED)
    return meter
