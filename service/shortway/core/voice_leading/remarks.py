"""Remarks: one line for each step, in a musician's words.

Knows chords and voicings.
"""

from __future__ import annotations

from functools import lru_cache
from typing import Final, NamedTuple

from shortway.core.cache import Memo
from shortway.core.theory.chord import Chord
from shortway.core.voicings.model import Form, Voicing


class Movement(NamedTuple):
    """The semitones of each voice, and what they come to: in all, the widest leap, and words."""

    semitones: tuple[int, ...]
    motion: int
    leap: int
    words: str


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
HELD: Final = "same chord, same voicing"


def opening(voicing: Voicing) -> str:
    """The remark of the first step."""
    where = f" in form {voicing.form}" if voicing.form else ""
    return f"opens{where}, {voicing.family}"


def remark(chords: Chords, forms: Forms, movement: Movement) -> str:
    """One line: the root's move, the form, and what the voices do.

    Notes that sounded before a path have no chord.
    """
    (before, after), (a, b) = chords, forms
    if before is None or after is None:
        return f"from the notes that sound: {movement.words}"
    if not movement.motion and before.name == after.name:
        return HELD
    root = _ROOTS[((after.root_pc or 0) - (before.root_pc or 0)) % 12]
    if a is None or b is None:
        return f"{root}, {movement.words}"
    form = f"form {a} again" if a == b else f"form {a} to {b}"
    return f"{root}, {form}, {movement.words}"


#: Before and after.
Chords = tuple[Chord | None, Chord | None]
Forms = tuple[Form | None, Form | None]


def _movement(semitones: tuple[int, ...]) -> Movement:
    distances = [abs(move) for move in semitones]
    return Movement(semitones, sum(distances), max(distances), _voices(semitones))


#: By the semitones of each voice.
MOVEMENTS: Final[Memo[tuple[int, ...], Movement]] = Memo(
    "movements", 8 << 20, lambda _: 160, _movement
)


def _voices(semitones: tuple[int, ...]) -> str:
    """``two voices fall a half step, the rest stay``; the smallest moves first."""
    stay = semitones.count(0)
    moving = sorted(set(semitones) - {0}, key=lambda s: (abs(s), s))
    if not moving:
        return "all voices stay"
    if len(moving) == 1 and not stay:
        return f"every voice {_move(moving[0], one=True)}"
    words = [_group(semitones.count(s), s, first=s == moving[0]) for s in moving]
    if stay:
        words.append("the rest stay" if stay > 1 else "the other stays")
    return ", ".join(words)


@lru_cache(maxsize=2048)
def _group(count: int, semitones: int, *, first: bool) -> str:
    noun = (" voice" if count == 1 else " voices") if first else ""
    return f"{_COUNTS[count]}{noun} {_move(semitones, one=count == 1)}"


def _move(semitones: int, *, one: bool) -> str:
    verb = "rise" if semitones > 0 else "fall"
    size = abs(semitones)
    return f"{verb}{'s' if one else ''} {_STEPS.get(size, f'{size} half steps')}"
