"""Motion: how far the voices move from one voicing to the next, as matrices and one by one.

Knows voicings as arrays of MIDI numbers, no chord. Voices of equal number move in order from the
bottom, which for ascending notes is also the least bijection. Unlike numbers take the least
assignment with doublings (Tymoczko, Science 313:72-74, 2006, supporting text): every note of both
sides used, nothing crossing, found by dynamic programming.

Motion at equal sizes is a metric. With doublings it is not: {60, 62, 64} to {66, 68} is 14, but
{60, 62, 64} to {64, 66} to {66, 68} is 8 + 4 = 12.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from shortway.core.cache import Cache
from shortway.core.cancellation import checkpoint
from shortway.core.errors import SettingError
from shortway.core.voicings.candidate_arrays import Candidates, Notes

Matrix = NDArray[np.int32]

# In a packed cell the squares take the low bits: ten voices over 127 semitones need 18 of them.
_SQUARE_BITS: Final = 20

#: Most pairs of voicings whose voices are computed in one numpy call.
_AT_ONCE: Final = 1_000


@dataclass(frozen=True, slots=True)
class Assignment:
    """A least assignment of notes to notes.

    Attributes
    ----------
    size : int
        Sum of the distances in semitones.
    pairs : tuple of (int, int)
        The notes that move to each other; every note of either side at least once.
    """

    size: int
    pairs: tuple[tuple[int, int], ...]


def least_assignment(a: Sequence[int], b: Sequence[int], *, split_cost: int = 0) -> Assignment:
    """The least motion from pitches `a` to pitches `b`, doublings allowed where sizes differ.

    `a`, `b`: pitches (MIDI numbers), one or more each; the order does not matter. `split_cost`:
    extra cost of each split or merge in semitones; not counted in `size`.

    Raises SettingError if one side is empty.

    >>> least_assignment([50, 60, 65], [48, 62, 67]).size
    6
    >>> least_assignment([60, 62, 64], [66, 68])
    Assignment(size=14, pairs=((60, 66), (62, 66), (64, 68)))
    """
    low, high = _sides(a, b)
    if len(low) == len(high):
        return _assignment(tuple(zip(low, high, strict=True)))
    return _assignment(_trace(low, high, split_cost))


def least_class_assignment(
    a: Sequence[int], b: Sequence[int], *, doublings: bool = True
) -> Assignment:
    """The least motion from pitch classes `a` to `b`, each the shorter way round the circle.

    `a`, `b`: pitch classes, one or more each; taken modulo 12. `doublings`: whether a note may
    split or merge; without, both sides have as many notes.

    Raises SettingError if a side is empty, or sizes differ and `doublings` is False.

    >>> least_class_assignment([0, 4, 7, 11], [4, 8, 11, 3]).size
    3
    >>> least_class_assignment([0, 4, 7, 11], [4, 8, 11, 3], doublings=False).size
    4
    """
    low, high = _sides([n % 12 for n in a], [n % 12 for n in b])
    if not doublings and len(low) != len(high):
        raise SettingError.at("", "without doublings both sides have as many notes")
    turns = (high[k:] + high[:k] for k in range(len(high)))
    found = (
        _circular_pairs(low, turn) if doublings else tuple(zip(low, turn, strict=True))
        for turn in turns
    )
    return min((_class_assignment(pairs) for pairs in found), key=lambda of: of.size)


def _sides(a: Sequence[int], b: Sequence[int]) -> tuple[list[int], list[int]]:
    if not a or not b:
        raise SettingError.at("", "an assignment needs notes on both sides")
    return sorted(a), sorted(b)


def _assignment(pairs: tuple[tuple[int, int], ...]) -> Assignment:
    return Assignment(sum(abs(x - y) for x, y in pairs), pairs)


def _circle(x: int, y: int) -> int:
    return min((x - y) % 12, (y - x) % 12)


def _class_assignment(pairs: tuple[tuple[int, int], ...]) -> Assignment:
    return Assignment(sum(_circle(x, y) for x, y in pairs), pairs)


def _circular_pairs(low: list[int], turn: list[int]) -> tuple[tuple[int, int], ...]:
    """The least assignment round the circle that pairs the first notes of both sides.

    The circle is cut there: both sides end with their own first note again, and that last pair,
    which repeats the first one, is not counted.
    """
    a, b = [*low, low[0]], [*turn, turn[0]]
    pairs = _cheapest(a, b, lambda i, j: _circle(a[i], b[j]), 0)
    once = dict.fromkeys((i % len(low), j % len(turn)) for i, j in pairs[:-1])
    return tuple((low[i], turn[j]) for i, j in once)


def _trace(low: list[int], high: list[int], split_cost: int) -> tuple[tuple[int, int], ...]:
    def cell(i: int, j: int) -> int:
        move = abs(low[i] - high[j])
        return (move << _SQUARE_BITS) + move * move

    pairs = _cheapest(low, high, cell, split_cost << _SQUARE_BITS)
    return tuple((low[i], high[j]) for i, j in pairs)


def _cheapest(
    a: Sequence[int], b: Sequence[int], cell: Callable[[int, int], int], step: int
) -> tuple[tuple[int, int], ...]:
    """Index pairs of the alignment of least cost, from the first of both to the last of both.

    Each pair advances by one note on both sides, or on one side at a cost of `step` more.
    """
    best: dict[tuple[int, int], int] = {}
    come_from: dict[tuple[int, int], tuple[int, int]] = {}
    for i in range(len(a)):
        for j in range(len(b)):
            before = (((i - 1, j - 1), 0), ((i - 1, j), step), ((i, j - 1), step))
            options = [(best[p] + extra, p) for p, extra in before if p in best]
            cost, from_ = min(options, key=lambda option: option[0], default=(0, (i, j)))
            best[i, j] = cost + cell(i, j)
            come_from[i, j] = from_
    pairs = [(len(a) - 1, len(b) - 1)]
    while pairs[-1] != (0, 0):
        pairs.append(come_from[pairs[-1]])
    return tuple(reversed(pairs))


# --- matrices ------------------------------------------------------------------------------------


@dataclass(frozen=True, eq=False)
class Moves:
    """Motion from each candidate of one step to each of the next.

    Attributes
    ----------
    motion, bass, squares, top : int32, shape (from, to)
        Semitones of all upper voices (splits and merges included), of the bass, the sum of the
        squared voice moves, semitones of the top voice. `bass` is None without a bass.
    shared : bool
        Whether other requests use this very object.
    """

    motion: Matrix
    bass: Matrix | None
    squares: Matrix
    top: Matrix
    shared: bool = False

    @property
    def parts(self) -> tuple[Matrix | None, ...]:
        """The matrices in the order of preference, each of shape (from, to)."""
        return self.motion, self.bass, self.squares, self.top

    @property
    def nbytes(self) -> int:
        """Bytes of the arrays."""
        return sum(part.nbytes for part in self.parts if part is not None)


#: A chart of 32 bars with 60 candidates a step takes 2 MB.
_BUDGET: Final = 12 << 20
_MOVES: Final[Cache[tuple[int, int, int], Moves]] = Cache(
    "moves", _BUDGET, lambda moves: moves.nbytes + 800
)


def moves_between(a: Candidates, b: Candidates, split_cost: int) -> Moves:
    """The matrices from the candidates `a` to the candidates `b`.

    Cached where other requests use the same candidates.
    """
    if not (a.shared and b.shared):
        return _moves(a, b, split_cost)
    return _MOVES.get((a.number, b.number, split_cost), lambda: _moves(a, b, split_cost))


def _moves(a: Candidates, b: Candidates, split_cost: int) -> Moves:
    checkpoint()
    bass = _apart(a.notes[:, 0], b.notes[:, 0]) if a.has_bass and b.has_bass else None
    if a.voices is not None and a.voices == b.voices:
        return Moves(*_alike(a.upper, b.upper, bass), a.shared and b.shared)
    shape = (len(a), len(b))
    motion, squares, top = (np.zeros(shape, np.int32) for _ in range(3))
    for m in np.unique(a.sizes):
        for n in np.unique(b.sizes):
            rows, columns = np.nonzero(a.sizes == m)[0], np.nonzero(b.sizes == n)[0]
            block = _block(a.upper[rows, :m], b.upper[columns, :n], split_cost)
            for whole, part in zip((motion, squares, top), block, strict=True):
                whole[np.ix_(rows, columns)] = part
    return Moves(motion, bass, squares, top, a.shared and b.shared)


def motion_between(a: Candidates, b: Candidates, split_cost: int) -> Matrix:
    """Semitones of all upper voices, splits and merges included; int32 of shape (from, to)."""
    if a.voices is None or a.voices != b.voices:
        return moves_between(a, b, split_cost).motion.copy()
    low, high = (of.by_voice[int(of.has_bass) :] for of in (a, b))
    motion = np.zeros((len(a), len(b)), np.int16)
    for voice in range(a.voices):
        apart = low[voice, :, None] - high[voice, None, :]
        motion += np.abs(apart, out=apart)
    return motion.astype(np.int32)


def _alike(a: Notes, b: Notes, bass: Matrix | None) -> tuple[Matrix, Matrix | None, Matrix, Matrix]:
    """The parts of `Moves` for voicings of one size: at once if small, else voice by voice."""
    if len(a) * len(b) > _AT_ONCE:
        motion, squares, top = _block(a, b, 0)
        return motion, bass, squares, top
    apart = np.abs(np.subtract(a[:, None, :], b[None, :, :], dtype=np.int32))
    squares = np.einsum("ijk,ijk->ij", apart, apart)
    return apart.sum(axis=2, dtype=np.int32), bass, squares, np.ascontiguousarray(apart[:, :, -1])


def _apart(a: Notes, b: Notes) -> Matrix:
    difference: Matrix = a.astype(np.int32)[:, None] - b.astype(np.int32)[None, :]
    return np.abs(difference)


def _block(a: Notes, b: Notes, split_cost: int) -> tuple[Matrix, Matrix, Matrix]:
    """Motion, squares and top of voicings that have one size on either side."""
    top = _apart(a[:, -1], b[:, -1])
    if a.shape[1] != b.shape[1]:
        return (*_unlike(a, b, split_cost), top)
    motion, squares = np.zeros_like(top), np.zeros_like(top)
    for voice in range(a.shape[1]):
        apart = _apart(a[:, voice], b[:, voice])
        motion += apart
        squares += apart * apart
    return motion, squares, top


def _unlike(a: Notes, b: Notes, split_cost: int) -> tuple[Matrix, Matrix]:
    """Least assignments with doublings, for all pairs at once."""
    step = split_cost << _SQUARE_BITS
    best: dict[tuple[int, int], NDArray[np.int64]] = {}
    for i in range(a.shape[1]):
        for j in range(b.shape[1]):
            apart = _apart(a[:, i], b[:, j]).astype(np.int64)
            cell = (apart << _SQUARE_BITS) + apart * apart
            before = [best[p] for p in ((i - 1, j - 1),) if p in best]
            before += [best[p] + step for p in ((i - 1, j), (i, j - 1)) if p in best]
            best[i, j] = cell + np.minimum.reduce(before) if before else cell
    last = best[a.shape[1] - 1, b.shape[1] - 1]
    squares = last & ((1 << _SQUARE_BITS) - 1)
    return (last >> _SQUARE_BITS).astype(np.int32), squares.astype(np.int32)
