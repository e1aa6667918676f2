"""Wrong notes: one slip told as one finding, and pedal points as remarks.

Knows findings; `review.rules` finds them. A wrong third leaves the chord without its third, is
foreign to the chord and clashes with what is right: three findings of one slip.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Final

from shortway.core.review.findings import Finding, VoicingContext, make_finding
from shortway.core.review.note_naming import NamedNote
from shortway.core.theory.pitch import DEGREES, spell, with_octave

#: What is played by mistake for a guide tone, in semitones above the root: the other third, the
#: fourth for a third, the other seventh. Common practice, no source.
_MISTAKEN: Final = {"3": (3, 5), "b3": (4,), "4": (4,), "b7": (11,), "7": (10,), "6": (10,)}
_NAMES: Final = {
    3: ("b3", "minor third"), 4: ("3", "major third"), 5: ("4", "fourth"),
    10: ("b7", "minor seventh"), 11: ("7", "major seventh"),
}  # fmt: skip
#: Findings that a wrong note brings with it.
_CONSEQUENCES: Final = ("foreign-note", "colours-clash", "minor-ninth", "beyond-setting")
#: Findings of a pedal point, which is none of them.
_OF_PEDALS: Final = ("foreign-note", "bass-wrong", "bass-doubled", "minor-ninth")


def merge_slips(found: Sequence[Finding], context: VoicingContext) -> Iterator[Finding]:
    """What was found, each wrong guide tone as one finding."""
    missing = [degree for f in found if f.code == "guide-tone-missing" for degree in f.degrees]
    wrong = dict(_wrong_guides(context, missing))
    slips = {note.midi for note in wrong.values()}
    for finding in found:
        if finding.code == "guide-tone-missing" and wrong:
            absent = [degree for degree in finding.degrees if degree not in wrong]
            if absent:
                yield guides_missing(context, absent)
        elif not (finding.code in _CONSEQUENCES and slips & {*finding.midi_notes}):
            yield finding
    for degree, note in wrong.items():
        played, name = _NAMES[(note.midi - (context.chord.root_pc or 0)) % 12]
        heard = with_octave(spell(context.chord.root or "C", played), note.midi)
        words = f"{heard} is a {name}: {context.chord.symbol} has the {context.spelled(degree)}"
        yield make_finding("guide-tone-wrong", words, [note], degree)


def guides_missing(context: VoicingContext, degrees: Sequence[str]) -> Finding:
    """The finding that guide tones do not sound."""
    words = " and ".join(f"the {context.spelled(degree)}" for degree in degrees)
    verb = "are" if len(degrees) > 1 else "is"
    why = f"{context.chord.symbol} is not recognizable without its guide tones"
    return make_finding("guide-tone-missing", f"{words} {verb} missing: {why}", (), *degrees)


def _wrong_guides(
    context: VoicingContext, missing: Sequence[str]
) -> Iterator[tuple[str, NamedNote]]:
    """Each guide tone that is missing and the note that was played for it."""
    own = {DEGREES[degree] for degree in context.chord.degrees}
    for degree in missing:
        mistaken = set(_MISTAKEN.get(degree, ())) - own
        for note in context.upper:
            if (note.midi - (context.chord.root_pc or 0)) % 12 in mistaken:
                yield degree, note
                break


def excuse_pedals(found: Sequence[Finding], context: VoicingContext) -> Iterator[Finding]:
    """What was found, a lowest note that is held through the chord as a pedal point.

    Aldwell and Schachter, Harmony and Voice Leading, on pedal points (from memory, no page): a note
    that is held while the chords change, mostly in the bass, and belongs to the first or the last.
    """
    note = context.notes[0]
    codes = ("foreign-note", "bass-wrong")
    if not (context.pedal and any(f.code in codes and note.midi in f.midi_notes for f in found)):
        yield from found
        return
    for finding in found:
        if not (finding.code in _OF_PEDALS and note.midi in finding.midi_notes):
            yield finding
    words = f"{note.note} is held while the chords change: a pedal point"
    yield make_finding("pedal-point", words, [note])
