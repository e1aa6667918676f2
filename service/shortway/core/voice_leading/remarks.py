"""Remarks: one line for each step, and the moves voice by voice, in a musician's words.

Knows chords and voicings.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from functools import lru_cache
from typing import Final, NamedTuple

from shortway.core.theory.chord import Chord
from shortway.core.voice_leading.distance import least_assignment
from shortway.core.voicings.model import Note, Voicing


class Move(NamedTuple):
    """One voice from a step to the next.

    Attributes
    ----------
    voice : int
        Counted from 1 at the bottom, the bass excluded; where sizes differ, along the moves.
    from_midi, to_midi, semitones : int
        Down is negative.
    from_degree : str or None
        None where the note before belongs to no chord of the path (`start_from`).
    to_degree : str
        The degree in the new chord: a 9 held over a falling fifth becomes the 13.
    """

    voice: int
    from_midi: int
    to_midi: int
    semitones: int
    from_degree: str | None
    to_degree: str


def moves(
    before: Sequence[Note], after: Sequence[Note], split_cost: int, *, known: bool = True
) -> tuple[Move, ...]:
    """How the upper notes `before` move to those `after`, from the bottom up.

    `known` says whether the notes `before` belong to a chord and so have degrees.
    """
    pairs = zip(before, after, strict=True)
    if len(before) != len(after):
        old, new = ({note.midi: note for note in notes} for notes in (before, after))
        least = least_assignment(list(old), list(new), split_cost=split_cost)
        pairs = ((old[a], new[b]) for a, b in least.pairs)  # type: ignore[assignment]
    found = []
    for voice, (a, b) in enumerate(pairs, start=1):
        degree = a.degree if known else None
        found.append(Move(voice, a.midi, b.midi, b.midi - a.midi, degree, b.degree))
    return tuple(found)


_ROOTS: Final = (
    "same root", "root rises a half step", "root rises a whole step", "root rises a minor third",
    "root rises a major third", "falling fifth", "root moves a tritone", "rising fifth",
    "root falls a major third", "root falls a minor third", "root falls a whole step",
    "root falls a half step",
)  # fmt: skip

_STEPS: Final = {
    1: "a half step", 2: "a whole step", 3: "a minor third", 4: "a major third", 5: "a fourth",
    6: "a tritone", 7: "a fifth", 12: "an octave",
}  # fmt: skip

_COUNTS: Final = (
    "no", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten",
)  # fmt: skip

SILENT: Final = "no chord: the hands rest"


def opening(voicing: Voicing) -> str:
    """The remark of the first step."""
    where = f" in form {voicing.form}" if voicing.form else ""
    return f"opens{where}, {voicing.family}"


def remark(
    before: tuple[Chord, Voicing] | None, after: tuple[Chord, Voicing], moved: Sequence[Move]
) -> str:
    """One line: the root's move, the form, and what the voices do."""
    semitones = tuple([move.semitones for move in moved])
    voices = _voices(semitones)
    if before is None:
        return f"from the notes that sound: {voices}"
    if not any(semitones) and before[0].name == after[0].name:
        return "same chord, same voicing"
    return ", ".join(
        word for word in (_root(before[0], after[0]), _form(before[1], after[1]), voices) if word
    )


def _root(before: Chord, after: Chord) -> str:
    return _ROOTS[((after.root_pc or 0) - (before.root_pc or 0)) % 12]


def _form(before: Voicing, after: Voicing) -> str:
    if before.form is None or after.form is None:
        return ""
    if before.form == after.form:
        return f"form {after.form} again"
    return f"form {before.form} to {after.form}"


@lru_cache(maxsize=4096)
def _voices(semitones: tuple[int, ...]) -> str:
    """``two voices fall a half step, the rest stay``; the smallest moves first."""
    counts = Counter(semitones)
    stay = counts.pop(0, 0)
    if not counts:
        return "all voices stay"
    if len(counts) == 1 and not stay:
        return f"every voice {_move(next(iter(counts)), one=True)}"
    ranked = sorted(counts, key=lambda s: (abs(s), s))
    words = [_group(counts[s], s, first=k == 0) for k, s in enumerate(ranked)]
    if stay:
        words.append("the rest stay" if stay > 1 else "the other stays")
    return ", ".join(words)


def _group(count: int, semitones: int, *, first: bool) -> str:
    noun = (" voice" if count == 1 else " voices") if first else ""
    return f"{_COUNTS[count]}{noun} {_move(semitones, one=count == 1)}"


def _move(semitones: int, *, one: bool) -> str:
    verb = "rise" if semitones > 0 else "fall"
    size = abs(semitones)
    return f"{verb}{'s' if one else ''} {_STEPS.get(size, f'{size} half steps')}"
