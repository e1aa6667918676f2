"""Melody constraints: the voicings of a chord that fit melody notes, a ceiling and a top note.

Knows chords and candidates as arrays; no step and no path. A clash is a minor second on either
side of a melody note, or a minor ninth or its octave compounds, except between the root of a chord
with b9 and that b9, as among the notes of a voicing (contract, section 3; common practice, no other
source). A minor ninth over the bass note is no clash.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from typing import Final

import numpy as np
from numpy.typing import NDArray

from shortway.core.cache import Cache
from shortway.core.errors import SymbolError
from shortway.core.settings.setting import Setting
from shortway.core.symbols.parser import parse
from shortway.core.theory.chord import Chord
from shortway.core.theory.pitch import pitch_name
from shortway.core.voicings.candidate_arrays import Candidates, Mask
from shortway.core.voicings.model import Note, Voicing

Find = Callable[[Chord], Candidates]

#: Most melody notes that may clash where no voicing avoids it: two, or one in four.
_MAX_CLASHES: Final = 2
_ONE_IN: Final = 4

#: Values of `Setting.melody` for which a chord without such voicings falls back to ``avoid``.
_FALL_BACK: Final = ("below", "carry")

#: More clashes than a voicing can have with a melody.
_MANY: Final = 1 << 16


@dataclass(frozen=True, slots=True)
class MelodyConstraint:
    """Constraints on the voicing of a step.

    `melody`: MIDI numbers of the notes that someone else sings or plays at the same time.
    `ceiling`: every note is below it. `top`: the highest note is this one.
    """

    melody: tuple[int, ...] = ()
    ceiling: int | None = None
    top: int | None = None

    def __bool__(self) -> bool:
        """Whether any constraint is set."""
        return bool(self.melody) or self.ceiling is not None or self.top is not None

    def __or__(self, other: MelodyConstraint) -> MelodyConstraint:
        """Both constraints on one voicing; of two tops that differ, the first."""
        ceilings = [of.ceiling for of in (self, other) if of.ceiling is not None]
        return MelodyConstraint(
            tuple(sorted({*self.melody, *other.melody})),
            min(ceilings, default=None),
            other.top if self.top is None else self.top,
        )

    def on_top(self, how: str) -> int | None:
        """The required top note: `top`, or with ``carry`` the highest melody note."""
        if self.top is None and how == "carry" and self.melody:
            return max(self.melody)
        return self.top


@dataclass(frozen=True, slots=True)
class UnderMelody:
    """The candidates that satisfy a constraint.

    `excluded`: how many voicings each rule excludes: ``ceiling``, ``top``, ``melody-clash``,
    ``melody-register``. `unavoidable`: melody notes with which every voicing clashes.
    """

    candidates: Candidates
    excluded: dict[str, int] = field(default_factory=dict)
    unavoidable: tuple[int, ...] = ()


def under_melody(
    chord: Chord, find: Find, constraint: MelodyConstraint, setting: Setting
) -> UnderMelody:
    """The candidates of a chord that satisfy `constraint`; there may be none.

    `find`: the candidates of a chord. `setting`: its `melody` says how: ``avoid``, ``below``,
    ``carry`` or ``ignore``; waived minor ninths are waived against the melody, too.

    Notes
    -----
    The voicings with the fewest clashes remain. Notes with which every voicing clashes (a fourth
    over a dominant) count last. Voicings that clash with more than two and more than a quarter of
    the notes are excluded. With ``avoid``, voicings below the melody are then preferred. Where no
    voicing carries the melody or lies below it, the chord is voiced as with ``avoid``, and
    `describe_under_melody` says so.

    Where every voicing of a chord with a major seventh clashes with its root in the melody, the
    sixth replaces the seventh, as it does below a root in the voicing.
    """
    found = _kept(find(chord), constraint, setting)
    sixth = _with_sixth(chord) if chord.root_pc in {n % 12 for n in found.unavoidable} else None
    if sixth is None:
        return found
    other = _kept(find(sixth), constraint, setting)
    return other if len(other.candidates) else found


def _kept(candidates: Candidates, constraint: MelodyConstraint, setting: Setting) -> UnderMelody:
    """The candidates that satisfy a constraint, cached where other requests use the same ones."""
    if not candidates.shared:
        return _fitting_or_avoiding(candidates, constraint, setting)

    def found() -> UnderMelody:
        fresh = _fitting_or_avoiding(candidates, constraint, setting)
        return replace(fresh, candidates=replace(fresh.candidates, shared=True))

    return _UNDER_MELODY.get((candidates.number, constraint, setting), found)


_UNDER_MELODY: Final[Cache[tuple[int, MelodyConstraint, Setting], UnderMelody]] = Cache(
    "under a melody", 8 << 20, lambda kept: kept.candidates.nbytes + 1900
)


def _fitting_or_avoiding(
    candidates: Candidates, constraint: MelodyConstraint, setting: Setting
) -> UnderMelody:
    """The candidates that carry a melody or lie below it; without any, those that avoid it."""
    found = _fitting(candidates, constraint, setting, setting.melody)
    if len(found.candidates) or setting.melody not in _FALL_BACK:
        return found
    return _fitting(candidates, constraint, setting, "avoid")


def _fitting(
    candidates: Candidates, constraint: MelodyConstraint, setting: Setting, how: str
) -> UnderMelody:
    ninths = "minor-ninths" not in setting.waive
    melody = () if how == "ignore" else constraint.melody
    top = constraint.on_top(how)
    highest = candidates.notes.max(axis=1, initial=-1)
    excluded: dict[str, int] = {}
    remain = np.ones(len(candidates), np.bool_)
    if constraint.ceiling is not None:
        remain = _counted("ceiling", remain, highest < constraint.ceiling, excluded)
    if top is not None:
        remain = _counted("top", remain, highest == top, excluded)
    if not melody:
        return UnderMelody(candidates.take(np.nonzero(remain)[0]), excluded)
    under = highest < min(melody)
    if how == "below":
        remain = _counted("melody-register", remain, under, excluded)
    carried = top if top in melody else None  # it is the melody itself
    counts = np.array([_clashes(candidates, n, ninths, carried) for n in melody])
    own = ~(counts[:, remain] == 0).any(axis=1)
    remain = _counted("melody-clash", remain, _least(counts, own, remain), excluded)
    if how == "avoid" and (remain & under).any():
        remain = _counted("melody-register", remain, under, excluded)
    unavoidable = tuple(n for n, is_own in zip(melody, own, strict=True) if is_own)
    return UnderMelody(candidates.take(np.nonzero(remain)[0]), excluded, unavoidable)


def _least(counts: NDArray[np.int64], own: Mask, remain: Mask) -> Mask:
    """Which of the voicings that remain clash least; none if they clash too much.

    `counts` is how often each clashes with each note, shape (notes, candidates), and `own` which
    notes they all clash with. First the other notes count, each once, then every clash.
    """
    broken = counts > 0
    key = np.where(remain, broken[~own].sum(axis=0) * _MANY + counts.sum(axis=0), _MANY * _MANY)
    least = remain & (key == key.min(initial=_MANY * _MANY))
    few = broken.sum(axis=0) <= max(_MAX_CLASHES, len(counts) // _ONE_IN)
    return np.asarray(least & few)


def _clashes(
    candidates: Candidates, note: int, ninths: bool, carried: int | None
) -> NDArray[np.int64]:
    """How many notes of each voicing clash with a melody note.

    `ninths` says whether minor ninths count; `carried` is a top note that is the melody itself and
    does not clash with its other notes.
    """
    notes = candidates.notes.astype(np.int32)
    apart = np.abs(notes - note)
    ninth = (apart > 12) & (apart % 12 == 1) & ninths
    if "b9" in candidates.available.pool:
        ninth &= (np.minimum(notes, note) - candidates.root) % 12 != 0
    if candidates.has_bass:
        ninth[:, 0] = False
    bad = ((apart == 1) | ninth) & (notes >= 0)
    if carried is not None:
        bad &= notes != carried
    found: NDArray[np.int64] = bad.sum(axis=1, dtype=np.int64)
    return found


def describe_under_melody(
    voicing: Voicing, constraint: MelodyConstraint, chord: Chord, how: str
) -> str:
    """Where a voicing does not satisfy the melody or clashes with it, in words; else empty.

    `how` is `Setting.melody`.
    """
    if not constraint.melody or how == "ignore":
        return ""
    top, text = voicing.midi_notes[-1], ""
    if how == "carry" and constraint.top is None and top != max(constraint.melody):
        text = f"no voicing has the melody's {pitch_name(max(constraint.melody))} on top"
    if how == "below" and top >= min(constraint.melody):
        text = f"no voicing lies below the melody's {pitch_name(min(constraint.melody))}"
    carries = how == "carry" and top in constraint.melody
    clashes = "" if carries else describe_clashes(voicing, constraint.melody, chord)
    return "; ".join(filter(None, (text, clashes)))


def describe_clashes(voicing: Voicing, melody: Sequence[int], chord: Chord) -> str:
    """The clashes of a voicing with melody notes, in words; empty without any."""
    pairs = ((note, sung) for sung in melody for note in voicing.notes if note.midi != sung)
    found = [
        f"{note.degree} against the melody's {pitch_name(sung)}"
        for note, sung in pairs
        if clashes_with(note, sung, chord)
    ]
    return f"its {' and '.join(found)}" if found else ""


def clashes_with(note: Note, sung: int, chord: Chord) -> bool:
    """Whether a note clashes with a melody note."""
    apart = abs(note.midi - sung)
    low = min(note.midi, sung) % 12
    own_b9 = "b9" in (*chord.degrees, note.degree) and low == chord.root_pc
    ninth = apart > 12 and apart % 12 == 1 and not note.is_bass and not own_b9
    return apart == 1 or ninth


def _counted(rule: str, remain: Mask, fits: Mask, excluded: dict[str, int]) -> Mask:
    """Those that remain after one more rule, whose exclusions are added to `excluded`."""
    lost = int((remain & ~fits).sum())
    if lost:
        excluded[rule] = lost
    return remain & fits


# Degrees of a chord with a major seventh whose sixth may replace the seventh.
_PLAIN: Final = {"1", "3", "b3", "5", "7", "9", "11", "13"}


def _with_sixth(chord: Chord) -> Chord | None:
    """The chord with a sixth for its major seventh; None for any other chord."""
    degrees = {tone.degree for tone in chord.tones}
    if chord.root is None or not {"7", "5"} <= degrees <= _PLAIN or not {"3", "b3"} & degrees:
        return None
    minor = "m" if "b3" in degrees else ""
    bass = f"/{chord.bass}" if chord.bass else ""
    try:
        return parse(f"{chord.root}{minor}{'6/9' if '9' in degrees else '6'}{bass}")
    except SymbolError:
        return None
