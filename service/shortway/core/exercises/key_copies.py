"""Key copies: which voicing of one key is which voicing of another, transposed.

Knows candidates as arrays; no chart and no path.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Final

import numpy as np
from numpy.typing import NDArray

from shortway.core.voicings.candidate_arrays import Candidates

Index = NDArray[np.intp]
Array = NDArray[np.int64]

#: More than the numbers of `_equal_rows` may be.
_MOST: Final = 1 << 62


class KeyCopies:
    """The candidates of a layer in every key, by family, notes and octave.

    Parameters
    ----------
    of : sequence of Candidates
        Of each key.
    semitones : sequence of int
        Of each key above the first one, in any octave.
    range_ : (int, int)
        The lowest and the highest note of those that count.
    octaves : int
        By so many at most keys may lie higher or lower than `semitones` says.
    """

    def __init__(
        self,
        of: Sequence[Candidates],
        semitones: Sequence[int],
        range_: tuple[int, int],
        octaves: int,
    ) -> None:
        sizes = [len(each) for each in of]
        key = np.repeat(np.arange(len(of)), sizes)
        row = np.concatenate([np.arange(size) for size in sizes])
        notes, lowest = stacked_notes(of), np.concatenate([each.notes[:, 0] for each in of])
        octave, above = np.divmod(lowest - np.array(semitones)[key], 12)
        intervals = np.where(notes >= 0, notes - lowest[:, None] + 1, 0).astype(np.int64)
        shape = _equal_rows([_families(of), above, *intervals.T[1:]])
        octave += octaves - octave.min()
        inside = np.nonzero((lowest >= range_[0]) & (notes.max(axis=1) <= range_[1]))[0]
        every = len(of), int(shape.max()) + 1, int(octave.max()) + 1 + octaves
        self._rows = np.full(every, -1)
        self._rows[key[inside], shape[inside], octave[inside]] = row[inside]
        first = inside[inside < sizes[0]]
        first = first[self._rows[0, shape[first], octave[first]] == first]
        self._keys = np.arange(len(of))[:, None]
        self._shape, self._octave = shape[first], octave[first]

    def common(self, octaves: Sequence[int]) -> Index:
        """The rows that all keys have, each key so many octaves higher; shape (keys, voicings)."""
        found = self._rows[self._keys, self._shape, self._octave + np.array(octaves)[:, None]]
        return np.asarray(found[:, (found >= 0).all(axis=0)])


def stacked_notes(of: Sequence[Candidates]) -> Array:
    """The notes of all, filled up with -1; shape (candidates of all, most voices)."""
    width = max(each.notes.shape[1] for each in of)
    found, start = np.full((sum(map(len, of)), width), -1), 0
    for each in of:
        found[start : start + len(each), : each.notes.shape[1]] = each.notes
        start += len(each)
    return found


def _families(of: Sequence[Candidates]) -> Array:
    """The family of each candidate as a number."""
    numbers: dict[str, int] = {}
    tables = {
        at: np.array([numbers.setdefault(family, len(numbers)) for family, _ in recipes])
        for at, recipes in {id(each.recipes): each.recipes for each in of}.items()
    }
    return np.concatenate([tables[id(each.recipes)][each.recipe] for each in of])


def _equal_rows(columns: Iterable[Array]) -> Index:
    """The same number for equal rows of some columns of small numbers; from 0, none left out."""
    total, size = np.zeros((), np.int64), 1
    for column in columns:
        width = int(column.max(initial=0)) + 1
        if size * width > _MOST:
            total = np.unique(total, return_inverse=True)[1]
            size = int(total.max(initial=0)) + 1
        total, size = total * width + column, size * width
    return np.asarray(np.unique(total, return_inverse=True)[1])
