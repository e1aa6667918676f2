"""Findings: what can be found in the notes that were played over one chord, as frozen values.

Knows named notes, available tones and settings; judges nothing, which is left to `review.rules`.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Final, Literal

from shortway.core.review.note_naming import NamedNote
from shortway.core.settings.setting import Setting
from shortway.core.theory.chord import Chord
from shortway.core.theory.pitch import spell
from shortway.core.voicings.available_tones import AvailableTones
from shortway.core.voicings.melody_constraints import MelodyConstraint

Severity = Literal["fault", "remark", "strength"]

#: Every code, how grave it is, and what it means. A fault breaks a hard rule of the setting; a
#: strength is what was played well.
CODES: Final[dict[str, tuple[Severity, str]]] = {
    "nothing-played": ("fault", "no notes where the chart has a chord"),
    "guide-tone-missing": ("fault", "the third or the seventh, or what stands for it, is missing"),
    "guide-tone-wrong": ("fault", "another note where the third or the seventh belongs"),
    "flat-fifth-missing": ("fault", "the flat fifth that makes the chord is missing"),
    "foreign-note": ("fault", "a note that is neither a tone nor a tension of the chord"),
    "colours-clash": ("fault", "two tensions that clash sound together"),
    "minor-ninth": ("fault", "two notes are a minor ninth apart"),
    "mud": ("fault", "an interval lies below its low limit"),
    "stretch": ("fault", "no split of the notes between the hands is within reach"),
    "too-many-notes": ("fault", "there are more notes than fingers"),
    "against-melody": ("fault", "a minor second or ninth against the melody that could be avoided"),
    "over-melody": ("fault", "a note in or above the melody, which is to lie on top"),
    "above-ceiling": ("fault", "a note at the ceiling of the step or above it"),
    "not-on-top": ("fault", "the top note is not the one that the chart requires"),
    "bass-wrong": ("fault", "the lowest note is not the bass, and nobody else plays it"),
    "unchanged": ("fault", "a repeated chord keeps its voicing where it has to change"),
    "out-of-range": ("remark", "a note lies outside the range of the setting"),
    "pedal-point": (
        "remark",
        "the lowest note is held from a chord that has it while chords change",
    ),
    "written-missing": ("remark", "a degree of the symbol is missing though there is room"),
    "beyond-setting": ("remark", "a tension of the chord that the setting does not add"),
    "alteration-doubled": ("remark", "an altered tension sounds twice"),
    "bass-doubled": ("remark", "the lowest note is the bass player's, G3 or below"),
    "pin-missed": ("remark", "the step is pinned to something else"),
    "early": ("remark", "the chord is struck ahead of its beat, by less than an anticipation"),
    "late": ("remark", "the chord is struck behind its beat"),
    "no-chord": ("remark", "notes where the chart has no chord; they are not judged"),
    "well-voiced": ("strength", "the guide tones sound, and what the context asks for"),
    "well-led": ("strength", "no move into the step costs less in the end"),
}


@dataclass(frozen=True, slots=True)
class Finding:
    """One thing found.

    Attributes
    ----------
    code : str
        A key of `CODES`.
    severity : "fault", "remark" or "strength"
    words : str
        What it is, for a musician.
    midi_notes : tuple of int
        MIDI numbers of the notes concerned, ascending; empty where one is missing.
    degrees : tuple of str
        Degrees concerned: of those notes, or of what is missing.
    """

    code: str
    severity: Severity
    words: str
    midi_notes: tuple[int, ...] = ()
    degrees: tuple[str, ...] = ()


@dataclass(frozen=True)
class VoicingContext:
    """What is judged: notes over a chord, under a setting and below what holds over the step.

    `listed` says whether they are a candidate of the step, so that they rub against the melody only
    where nothing else can, and `pedal` whether the lowest note is held from a chord that has it.
    """

    chord: Chord
    available: AvailableTones
    setting: Setting
    notes: tuple[NamedNote, ...]
    wish: MelodyConstraint
    listed: bool
    pedal: bool = False

    @cached_property
    def upper(self) -> tuple[NamedNote, ...]:
        """The notes above the bass."""
        return tuple(note for note in self.notes if not note.is_bass)

    @cached_property
    def own(self) -> tuple[NamedNote, ...]:
        """The notes that belong to the chord."""
        return tuple(note for note in self.notes if note.part != "foreign")

    @cached_property
    def degrees(self) -> tuple[str, ...]:
        """What sounds of the chord, the bass included."""
        return tuple(note.degree for note in self.own)

    def spelled(self, degree: str) -> str:
        """A degree with its note: ``b7 (Bb)``."""
        return f"{degree} ({spell(self.chord.root or 'C', degree)})"


def make_finding(code: str, words: str, notes: Sequence[NamedNote] = (), *degrees: str) -> Finding:
    """The finding `code`; its degrees are the notes', unless given."""
    of_notes = tuple(note.degree for note in notes if note.degree)
    midi = tuple(note.midi for note in notes)
    return Finding(code, CODES[code][0], words, midi, degrees or of_notes)
