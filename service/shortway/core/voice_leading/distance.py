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


#: Motion and squares in one number.
Packed = NDArray[np.int32 | np.int64]
#: `Moves.parts`.
Parts = tuple[Matrix, Matrix | None, Matrix, Matrix]

#: A chart of 32 bars with 60 candidates a step takes 2 MB.
_BUDGET: Final = 20 << 20
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
    return Moves(*_of_sizes(a, b, split_cost, bass), a.shared and b.shared)


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


def _alike(a: Notes, b: Notes, bass: Matrix | None) -> Parts:
    """The parts of `Moves` for voicings of one size: at once if small, else voice by voice."""
    if len(a) * len(b) > _AT_ONCE:
        top = _apart(a[:, -1], b[:, -1])
        motion, squares = np.zeros_like(top), np.zeros_like(top)
        for voice in range(a.shape[1]):
            apart = _apart(a[:, voice], b[:, voice])
            motion += apart
            squares += apart * apart
        return motion, bass, squares, top
    apart = np.abs(np.subtract(a[:, None, :], b[None, :, :], dtype=np.int32))
    squares = np.einsum("ijk,ijk->ij", apart, apart)
    return apart.sum(axis=2, dtype=np.int32), bass, squares, np.ascontiguousarray(apart[:, :, -1])


def _apart(a: Notes, b: Notes) -> Matrix:
    difference: Matrix = a.astype(np.int32)[:, None] - b.astype(np.int32)[None, :]
    return np.abs(difference, out=difference)


def _of_sizes(a: Candidates, b: Candidates, split_cost: int, bass: Matrix | None) -> Parts:
    """The parts of `Moves` for voicings of several sizes: least assignments with doublings.

    The least assignment of the first notes of both sides does not depend on how many follow. The
    largest voicings come first, so that the pairs that have more notes are a corner of the rest.
    """
    order = [np.argsort(-of.sizes, kind="stable") for of in (a, b)]
    low, high = (of.upper[own].T for of, own in zip((a, b), order, strict=True))
    more = [[int((of.sizes > k).sum()) for k in range(of.upper.shape[1] + 1)] for of in (a, b)]
    kind = _packed_kind(low, high, split_cost)
    step = kind(split_cost << _SQUARE_BITS)
    packed, top = np.empty((len(a), len(b)), kind), np.empty((len(a), len(b)), np.int32)
    before: list[tuple[Packed, Packed]] = []  # of each column, without and with another split
    straight: Packed = np.zeros((len(a), len(b)), kind)
    for i, rows in enumerate(more[0][:-1]):
        row: list[tuple[Packed, Packed]] = []
        for j, columns in enumerate(more[1][:-1]):
            apart = _apart(low[i, :rows], high[j, :columns])
            here: Packed = apart + kind(1 << _SQUARE_BITS)
            here *= apart
            if i == j:
                straight = straight[:rows, :columns] + here
            ways = [row[-1][1][:, :columns]] if j else []
            ways += [before[j][1][:rows]] if i else []
            ways += [before[j - 1][0][:rows, :columns]] if i and j else []
            if len(ways) == 3:
                least = np.minimum(ways[0], ways[1])
                here += np.minimum(least, ways[2], out=least)
            elif ways:
                here += ways[0]
            row.append((here, here + step))
            own = slice(more[0][i + 1], rows), slice(more[1][j + 1], columns)
            packed[own] = (straight if i == j else here)[own]
            top[own] = apart[own]
        before = row
    placed = [np.empty((len(a), len(b)), np.int32) for _ in range(3)]
    square_mask = (1 << _SQUARE_BITS) - 1
    for to, of in zip(placed, (packed >> _SQUARE_BITS, packed & square_mask, top), strict=True):
        to[np.ix_(*order)] = of
    return placed[0], bass, placed[1], placed[2]


def _packed_kind(low: Notes, high: Notes, split_cost: int) -> type[np.int32 | np.int64]:
    """What holds motion and squares of any assignment of some notes."""
    span = max(int(low.max(initial=0)), int(high.max(initial=0))) + 1
    notes = len(low) + len(high)
    fits = notes * (span + split_cost) < 1 << 31 - _SQUARE_BITS
    return np.int32 if fits else np.int64
