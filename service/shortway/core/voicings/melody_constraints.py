"""Melody: what a singer's notes, a ceiling and a wished top note leave of a chord's voicings.

Knows chords and candidates as arrays; no step and no path. A clash is a minor second on either
side of a melody note, or a minor ninth or its octave compounds, except between the root of a chord
with b9 and that b9, as among the notes of a voicing (contract, section 3; common practice, no other
source). A minor ninth over the bass note counts for nothing: the bass is the chord's own.
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
from shortway.core.voicings.model import Candidates, Mask, Note, Voicing

Find = Callable[[Chord], Candidates]

#: Notes of a melody that may rub where there is no way round it, and what share of many.
_MAY_RUB: Final = 2
_ONE_IN: Final = 4

#: What `Setting.melody` asks for that some chords cannot give: those are voiced as ``avoid`` asks.
_FALL_BACK: Final = ("below", "carry")

#: More clashes than a voicing can have with a melody.
_MANY: Final = 1 << 16


@dataclass(frozen=True, slots=True)
class MelodyConstraint:
    """What holds over a voicing.

    Attributes
    ----------
    melody : tuple of int
        MIDI numbers of the notes that someone else sings or plays meanwhile.
    ceiling : int or None
        Every note stays below it.
    top : int or None
        The highest note is this one.
    """

    melody: tuple[int, ...] = ()
    ceiling: int | None = None
    top: int | None = None

    def __bool__(self) -> bool:
        """Whether anything is wished."""
        return bool(self.melody) or self.ceiling is not None or self.top is not None

    def __or__(self, other: MelodyConstraint) -> MelodyConstraint:
        """What holds over one voicing that meets both; of two tops that differ, the first."""
        ceilings = [of.ceiling for of in (self, other) if of.ceiling is not None]
        return MelodyConstraint(
            tuple(sorted({*self.melody, *other.melody})),
            min(ceilings, default=None),
            other.top if self.top is None else self.top,
        )

    def on_top(self, how: str) -> int | None:
        """The note that has to be on top: `top`, or what carries the melody its highest note."""
        if self.top is None and how == "carry" and self.melody:
            return max(self.melody)
        return self.top


@dataclass(frozen=True, slots=True)
class UnderMelody:
    """The candidates that a wish leaves.

    Attributes
    ----------
    excluded : dict of str to int
        How many voicings each rule threw out: ``ceiling``, ``top``, ``melody-clash``,
        ``melody-register``.
    unavoidable : tuple of int
        Melody notes with which every voicing clashes: the tune's own dissonance.
    """

    candidates: Candidates
    excluded: dict[str, int] = field(default_factory=dict)
    unavoidable: tuple[int, ...] = ()


def under_melody(chord: Chord, find: Find, wish: MelodyConstraint, setting: Setting) -> UnderMelody:
    """What `wish` leaves of a chord's candidates; possibly nothing.

    Parameters
    ----------
    chord : Chord
    find : callable
        The candidates of a chord.
    wish : MelodyConstraint
    setting : Setting
        Its `melody` says how: ``avoid``, ``below``, ``carry`` or ``ignore``; waived minor ninths
        are waived against the melody, too.

    Notes
    -----
    What clashes least stays: nothing that clashes, wherever some voicing does not. Notes with which
    every voicing clashes (a fourth over a dominant) count last. What clashes with more than two
    and more than a quarter of the notes is no voicing under this melody. Under ``avoid``, what
    lies below the melody is then preferred. Where nothing carries a melody or lies below it, the
    chord is voiced as under ``avoid``; `describe_under_melody` says so.

    Where every voicing of a chord with a major seventh clashes with its root in the melody, the
    sixth takes the seventh's place, as it does below a root of one's own.
    """
    found = _kept(find(chord), wish, setting)
    sixth = _with_sixth(chord) if chord.root_pc in {n % 12 for n in found.unavoidable} else None
    if sixth is None:
        return found
    other = _kept(find(sixth), wish, setting)
    return other if len(other.candidates) else found


def _kept(candidates: Candidates, wish: MelodyConstraint, setting: Setting) -> UnderMelody:
    """What a wish leaves of candidates, remembered where other requests meet the same ones."""
    if not candidates.shared:
        return _fitting_or_avoiding(candidates, wish, setting)

    def found() -> UnderMelody:
        fresh = _fitting_or_avoiding(candidates, wish, setting)
        return replace(fresh, candidates=replace(fresh.candidates, shared=True))

    return _REMEMBERED.get((candidates, wish, setting), found)


_REMEMBERED: Final[Cache[tuple[Candidates, MelodyConstraint, Setting], UnderMelody]] = Cache(
    "under a melody", 8 << 20, lambda kept: kept.candidates.nbytes + 2048
)


def _fitting_or_avoiding(
    candidates: Candidates, wish: MelodyConstraint, setting: Setting
) -> UnderMelody:
    """What carries a melody or lies below it; where nothing does, what avoids it."""
    found = _fitting(candidates, wish, setting, setting.melody)
    if len(found.candidates) or setting.melody not in _FALL_BACK:
        return found
    return _fitting(candidates, wish, setting, "avoid")


def _fitting(
    candidates: Candidates, wish: MelodyConstraint, setting: Setting, how: str
) -> UnderMelody:
    ninths = "minor-ninths" not in setting.waive
    melody = () if how == "ignore" else wish.melody
    top = wish.on_top(how)
    highest = candidates.notes.max(axis=1, initial=-1)
    toll: dict[str, int] = {}
    stays = np.ones(len(candidates), np.bool_)
    if wish.ceiling is not None:
        stays = _counted("ceiling", stays, highest < wish.ceiling, toll)
    if top is not None:
        stays = _counted("top", stays, highest == top, toll)
    if not melody:
        return UnderMelody(candidates.take(np.nonzero(stays)[0]), toll)
    under = highest < min(melody)
    if how == "below":
        stays = _counted("melody-register", stays, under, toll)
    carried = top if top in melody else None  # it is the melody itself
    counts = np.array([_clashes(candidates, n, ninths, carried) for n in melody])
    own = ~(counts[:, stays] == 0).any(axis=1)
    stays = _counted("melody-clash", stays, _least(counts, own, stays), toll)
    if how == "avoid" and (stays & under).any():
        stays = _counted("melody-register", stays, under, toll)
    unavoidable = tuple(n for n, is_own in zip(melody, own, strict=True) if is_own)
    return UnderMelody(candidates.take(np.nonzero(stays)[0]), toll, unavoidable)


def _least(counts: NDArray[np.int64], own: Mask, stays: Mask) -> Mask:
    """Which of the voicings that stay clash least; none where even that is too much.

    `counts` is how often each clashes with each note, shape (notes, candidates), and `own` which
    notes they all clash with. First the other notes count, each once, then every clash.
    """
    broken = counts > 0
    key = np.where(stays, broken[~own].sum(axis=0) * _MANY + counts.sum(axis=0), _MANY * _MANY)
    least = stays & (key == key.min(initial=_MANY * _MANY))
    few = broken.sum(axis=0) <= max(_MAY_RUB, len(counts) // _ONE_IN)
    return np.asarray(least & few)


def _clashes(
    candidates: Candidates, note: int, ninths: bool, carried: int | None
) -> NDArray[np.int64]:
    """How many notes of each voicing clash with a melody note.

    `ninths` says whether minor ninths count; `carried` is a note of theirs that is the melody
    itself and cannot clash with its other notes.
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


def describe_under_melody(voicing: Voicing, wish: MelodyConstraint, chord: Chord, how: str) -> str:
    """What a melody asks for in vain, and what clashes with it, in words; empty where nothing does.

    `how` is `Setting.melody`.
    """
    if not wish.melody or how == "ignore":
        return ""
    top, said = voicing.midi[-1], ""
    if how == "carry" and wish.top is None and top != max(wish.melody):
        said = f"no voicing has the melody's {pitch_name(max(wish.melody))} on top"
    if how == "below" and top >= min(wish.melody):
        said = f"no voicing lies below the melody's {pitch_name(min(wish.melody))}"
    carries = how == "carry" and top in wish.melody
    clashes = "" if carries else describe_clashes(voicing, wish.melody, chord)
    return "; ".join(filter(None, (said, clashes)))


def describe_clashes(voicing: Voicing, melody: Sequence[int], chord: Chord) -> str:
    """Which melody notes clash with a voicing all the same, in words; empty where none does."""
    pairs = ((note, sung) for sung in melody for note in voicing.notes if note.midi != sung)
    found = [
        f"{note.degree} against the melody's {pitch_name(sung)}"
        for note, sung in pairs
        if rubs_against(note, sung, chord)
    ]
    return f"its {' and '.join(found)}" if found else ""


def rubs_against(note: Note, sung: int, chord: Chord) -> bool:
    """Whether a note clashes with a melody note."""
    apart = abs(note.midi - sung)
    low = min(note.midi, sung) % 12
    own_b9 = "b9" in (*chord.degrees, note.degree) and low == chord.root_pc
    ninth = apart > 12 and apart % 12 == 1 and not note.bass and not own_b9
    return apart == 1 or ninth


def _counted(rule: str, stays: Mask, fits: Mask, toll: dict[str, int]) -> Mask:
    """Those that stay under one more rule; `toll` learns how many it cost."""
    lost = int((stays & ~fits).sum())
    if lost:
        toll[rule] = lost
    return stays & fits


# What a chord with a major seventh may hold for its sixth to take the seventh's place.
_PLAIN: Final = {"1", "3", "b3", "5", "7", "9", "11", "13"}


def _with_sixth(chord: Chord) -> Chord | None:
    """The chord with its sixth in the place of the major seventh; None if it is no such chord."""
    degrees = {tone.degree for tone in chord.tones}
    if chord.root is None or not {"7", "5"} <= degrees <= _PLAIN or not {"3", "b3"} & degrees:
        return None
    minor = "m" if "b3" in degrees else ""
    bass = f"/{chord.bass}" if chord.bass else ""
    try:
        return parse(f"{chord.root}{minor}{'6/9' if '9' in degrees else '6'}{bass}")
    except SymbolError:
        return None
