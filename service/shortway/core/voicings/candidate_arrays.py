"""All the candidates of one chord as arrays, for the solver, and of the notes that already sound.

Knows chords and templates. A candidate becomes a `Voicing` with spelled notes for results.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import cached_property, lru_cache
from itertools import count
from typing import Final

import numpy as np
from numpy.typing import NDArray

from shortway.core.cache import Memo
from shortway.core.settings.keyboard import distance_mm
from shortway.core.theory.chord import Chord
from shortway.core.theory.pitch import spell, with_octave
from shortway.core.voicings.available_tones import AvailableTones
from shortway.core.voicings.enumeration import degrees_by_class
from shortway.core.voicings.model import Form, Note, Voicing, bass_note, form
from shortway.core.voicings.templates.rules import Template, as_sixth, as_thirteenth

Notes = NDArray[np.int16]
Mask = NDArray[np.bool_]


@dataclass(frozen=True, eq=False)
class Candidates:
    """Every voicing of one chord under one setting, in the stable order, as arrays.

    Order: lowest notes first, then the setting's order of families, then hand split.

    Attributes
    ----------
    notes : int16, shape (candidates, voices)
        MIDI numbers ascending along the voices, the bass (if any) first; rows with fewer notes
        than the widest are filled up with -1.
    sizes : int16, shape (candidates,)
        Upper notes of each, bass excluded.
    left : int16, shape (candidates,)
        How many of the notes the left hand takes.
    recipe : int64, shape (candidates,)
        Index into `recipes`: (family, template) of each; ``any-playable`` has no template.
    root : int
        The root's pitch class.
    has_bass : bool
        Whether column 0 is a bass note.
    excluded : dict of str to int
        How many placements each rule excludes.
    shared : bool
        Whether other requests use this very object, so that tables of it are cached.
    block : RootBlock or None
        Of which they are the rows from `first` on.
    number : int
        Its own, which stands for it in the keys of caches.
    """

    notes: Notes
    sizes: NDArray[np.int16]
    left: NDArray[np.int16]
    recipe: NDArray[np.int64]
    recipes: tuple[tuple[str, Template | None], ...]
    available: AvailableTones
    root: int
    has_bass: bool
    excluded: dict[str, int] = field(default_factory=dict)
    shared: bool = False
    block: RootBlock | None = None
    first: int = 0
    number: int = field(default_factory=count().__next__, init=False)

    def __len__(self) -> int:
        return len(self.notes)

    @cached_property
    def voices(self) -> int | None:
        """The number of upper notes, if all candidates have the same; else None."""
        sizes = {int(size) for size in np.unique(self.sizes)}
        return sizes.pop() if len(sizes) == 1 else None

    @cached_property
    def distinct(self) -> Candidates:
        """The first candidate of every set of notes, which several families may have."""
        first = np.ones(len(self), np.bool_)
        first[1:] = (self.notes[1:] != self.notes[:-1]).any(axis=1)
        return self if first.all() else self.take(np.nonzero(first)[0])

    @cached_property
    def by_voice(self) -> Notes:
        """The notes by voice, the bass first; shape (voices, candidates)."""
        return np.ascontiguousarray(self.notes.T)

    @property
    def classes(self) -> Notes:
        """Semitones of each note above the root's pitch class, 12 where there is none.

        Shape (candidates, voices).
        """
        return _classes(self.notes, self.root)

    @property
    def nbytes(self) -> int:
        """Bytes of the arrays."""
        own = (self.notes, self.sizes, self.left, self.recipe)
        return sum(a.nbytes for a in own) + self.notes.nbytes  # and `by_voice`

    def take(self, rows: NDArray[np.intp]) -> Candidates:
        """The candidates `rows`, shape (chosen,), in that order."""
        notes, sizes = self.notes[rows], self.sizes[rows]
        if self.voices is None:
            notes = notes[:, : int(sizes.max(initial=1)) + self.has_bass]
        parts = (notes, sizes, self.left[rows], self.recipe[rows])
        return Candidates(*parts, self.recipes, self.available, self.root, self.has_bass)

    @property
    def upper(self) -> Notes:
        """The notes that motion counts, shape (candidates, upper voices)."""
        return self.notes[:, int(self.has_bass) :]

    def index_of(self, midi: Sequence[int]) -> int | None:
        """The first candidate with exactly these notes, ascending; None without one."""
        found = np.nonzero(self.playing(midi))[0]
        return int(found[0]) if len(found) else None

    def playing(self, midi: Sequence[int]) -> Mask:
        """Which candidates have exactly these notes, ascending; shape (candidates,)."""
        short = self.notes.shape[1] - len(midi)
        if short < 0:
            return np.zeros(len(self), np.bool_)
        found: Mask = (self.notes == [*midi, *[-1] * short]).all(axis=1)
        return found

    def midi(self, index: int) -> tuple[int, ...]:
        """MIDI numbers of one candidate, ascending."""
        notes = self.notes[index].tolist()
        return tuple(notes if self.voices is not None else [n for n in notes if n >= 0])

    def family(self, index: int) -> str:
        """The family of one candidate."""
        return self.recipes[int(self.recipe[index])][0]

    def form(self, index: int) -> Form | None:
        """The form of one candidate; None without both guide tones and for a stack of fourths."""
        return self._form(self.family(index), self.degrees(index))

    def _form(self, family: str, degrees: Sequence[str]) -> Form | None:
        return None if family == "fourths" else form(self.available, degrees)

    def degrees(self, index: int) -> tuple[str, ...]:
        """The degrees of one candidate's upper notes, from the bottom."""
        template = self.recipes[int(self.recipe[index])][1]
        if template is not None:
            return as_thirteenth(self.available, template.degrees)
        names = degrees_by_class(self.available)
        upper = self.midi(index)[int(self.has_bass) :]
        return as_sixth(self.available, tuple(names[(n - self.root) % 12] for n in upper))

    def voicing(self, index: int, chord: Chord) -> Voicing:
        """One candidate as a value, spelled as `chord` spells."""
        if not self.shared:
            return self._voicing(index, chord)
        key = self.number, index, chord.root, chord.bass
        return _VOICINGS.get(key) or _VOICINGS.recall(key, lambda: self._voicing(index, chord))

    def _voicing(self, index: int, chord: Chord) -> Voicing:
        midi, family, degrees = self.midi(index), self.family(index), self.degrees(index)
        bass = (bass_note(chord, midi[0]),) if self.has_bass else ()
        upper = tuple(
            Note(number, with_octave(spell(chord.root or "C", degree), number), degree)
            for number, degree in zip(midi[len(bass) :], degrees, strict=True)
        )
        left, right = _split(bass + upper, int(self.left[index]))
        spans = _span(left), _span(right)
        return Voicing(family, self._form(family, degrees), left, right, spans)


@dataclass(frozen=True, eq=False)
class RootBlock(Candidates):
    """The candidates above several roots, root by root; `root` is of no meaning.

    Attributes
    ----------
    roots : int16, shape (candidates,)
        Pitch class of the root of each, ascending.
    excluded_by_root : tuple of dict
        `excluded` of each of the twelve roots.
    """

    roots: Notes = field(default_factory=lambda: np.zeros(0, np.int16))
    excluded_by_root: tuple[dict[str, int], ...] = ()
    _parts: dict[int, Candidates] = field(default_factory=dict, init=False, repr=False)

    @property
    def classes(self) -> Notes:
        """As of `Candidates`, shape (candidates, voices)."""
        return _classes(self.notes, self.roots[:, None])

    def above(self, root: int) -> Candidates:
        """The candidates above one root."""
        return self._parts.get(root) or self._parts.setdefault(root, self._above(root))

    def _above(self, root: int) -> Candidates:
        rows = slice(*np.searchsorted(self.roots, [root, root + 1]).tolist())
        sizes = self.sizes[rows]
        width = int(sizes.max(initial=1)) + self.has_bass  # a larger size may have left nothing
        return Candidates(
            self.notes[rows, :width], sizes, self.left[rows], self.recipe[rows], self.recipes,
            self.available, root, self.has_bass, self.excluded_by_root[root], shared=True,
            block=self, first=rows.start,
        )  # fmt: skip


def _classes(notes: Notes, root: int | Notes) -> Notes:
    return np.where(notes >= 0, (notes - root) % 12, 12).astype(np.int16)


#: Voicings as values, which weigh about 1.4 kB each with their JSON.
_VOICINGS: Final[Memo[tuple[int, int, str | None, str | None], Voicing]] = Memo(
    "voicings", 20 << 20, lambda _: 1400
)


def sounding(notes: Sequence[int], *, has_bass: bool) -> Candidates:
    """Notes that already sound, as the only candidate of a step before the first.

    With `has_bass` the lowest is the bass, unless it is the only note.
    """
    bass = has_bass and len(notes) > 1
    row = np.array([notes], np.int16)
    zero = np.zeros(1, np.int16)
    size = np.array([len(notes) - bass], np.int16)
    nothing = AvailableTones("none", (), None, None, None, (), ())
    return Candidates(row, size, zero, zero.astype(np.int64), (), nothing, 0, bass)


def _split(notes: tuple[Note, ...], left: int) -> tuple[tuple[Note, ...], tuple[Note, ...]]:
    return notes[:left], notes[left:]


def _span(hand: tuple[Note, ...]) -> float | None:
    return _tenths(hand[0].midi, hand[-1].midi) if hand else None


@lru_cache(maxsize=4096)
def _tenths(low: int, high: int) -> float:
    return round(distance_mm(low, high), 1)
