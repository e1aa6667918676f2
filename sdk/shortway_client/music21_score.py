"""Answers as music21 scores; music21 is loaded when the first one is asked for."""

from __future__ import annotations

from fractions import Fraction
from io import BytesIO
from typing import TYPE_CHECKING, Any, Final
from zipfile import ZipFile

from shortway_client.models import Note, PathStep, VoicingPath

if TYPE_CHECKING:
    from music21.stream import Score

__all__ = ["to_music21"]

_HANDS: Final = (("right", "Right hand"), ("left", "Left hand"))


def to_music21(answer: VoicingPath | bytes) -> Score:
    """A path as a score with a staff for each hand, or the file of a score as music21 reads it.

    Repeats are written out. Chord symbols stand over the right hand; one that music21 cannot read
    is a text.

    `answer`: a path at ``level="full"``; a MusicXML score, plain or compressed.

    Raises ImportError if music21 is not installed (``pip install 'shortway-client[music21]'``);
    ValueError if the path is brief: it does not say which hand plays what.
    """
    from music21 import converter, layout, stream

    if isinstance(answer, bytes):
        return converter.parseData(_unpacked(answer), format="musicxml")
    if any(step.voicing is None and step.midi_notes for step in answer.steps):
        raise ValueError("a brief path does not say which hand plays what: use level='full'")
    score = stream.Score()
    staves = [_staff(answer.steps, hand, name) for hand, name in _HANDS]
    for staff in staves:
        score.insert(0, staff)
    score.insert(0, layout.StaffGroup(staves, symbol="brace", name="Piano"))
    return score


def _unpacked(file: bytes) -> bytes:
    """The score of a compressed MusicXML file; any other file as it is."""
    if not file.startswith(b"PK"):
        return file
    with ZipFile(BytesIO(file)) as archive:
        names = (name for name in archive.namelist() if not name.startswith("META-INF/"))
        return archive.read(next(name for name in names if name.endswith((".musicxml", ".xml"))))


def _staff(steps: tuple[PathStep, ...], hand: str, name: str) -> Any:
    from music21 import clef, meter, stream

    staff = stream.PartStaff(id=name)
    staff.partName = name
    measure, before, meter_before = None, None, None
    for step in steps:
        if measure is None or before != (step.measure, step.repetition):
            measure = stream.Measure(number=len(staff) + 1)
            if before is None:
                measure.insert(0, clef.TrebleClef() if hand == "right" else clef.BassClef())
            if step.meter != meter_before:
                measure.insert(0, meter.TimeSignature(step.meter))
            staff.append(measure)
            before, meter_before = (step.measure, step.repetition), step.meter
        if hand == "right":
            measure.insert(measure.highestTime, _symbol(step.symbol))
        measure.append(_sounding(step, hand))
    return staff


def _sounding(step: PathStep, hand: str) -> Any:
    """A chord, a note or a rest that is as long as the step."""
    from music21 import chord, note

    unit = int((step.meter or "4/4").partition("/")[2])
    length = Fraction(step.beats).limit_denominator(96) * 4 / unit
    notes: tuple[Note, ...] = getattr(step.voicing, hand, ())
    names = [each.note[0] + each.note[1:].replace("b", "-") for each in notes]
    kind = {0: note.Rest, 1: note.Note}.get(len(names), chord.Chord)
    given = names if len(names) > 1 else names[0] if names else None
    return kind(quarterLength=length) if given is None else kind(given, quarterLength=length)


def _symbol(symbol: str) -> Any:
    from music21 import common, expressions, harmony
    from music21.exceptions21 import Music21Exception

    if symbol in ("N.C.", "NC"):
        return harmony.NoChord()
    try:
        return harmony.ChordSymbol(common.cleanedFlatNotation(symbol))
    except (Music21Exception, ValueError, KeyError, IndexError, AttributeError):
        return expressions.TextExpression(symbol)
