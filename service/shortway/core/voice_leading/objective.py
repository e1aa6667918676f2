"""The order of preference among paths, as integer costs for the kernel.

Knows motion and candidates. Five sums decide, in this order: motion, bass motion, squared voice
moves, movement of the top voice, distance from home. Where something is asked of the top line, how
far it goes against that comes before all of them. They are packed into one 61-bit number where
the bounds of this very request allow, else into further limbs; the kernel compares limb by limb,
so the order is exact. What still ties is settled by the kernel: lowest candidate index first, and
candidates stand lowest notes first, then by family, then by hand split.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from shortway.core.cache import Cache
from shortway.core.shortest_path.kernel import FORBIDDEN, LIMB_BITS
from shortway.core.voice_leading.distance import Moves
from shortway.core.voicings.model import Candidates

Array = NDArray[np.int64]

#: Bits that a field's size is rounded up to.
_ROUND: Final = 3


@dataclass(frozen=True, eq=False, slots=True)
class HomeDistance:
    """How far the candidates of a step lie from home, and the farthest of them.

    Attributes
    ----------
    distance : int64, shape (candidates,)
        |sum of the notes - notes * home|, bass excluded.
    shared : bool
        Whether other requests meet this very object.
    """

    distance: Array
    most: int
    shared: bool


@dataclass(frozen=True, slots=True)
class Packing:
    """Where each of the five sums stands: limb and left shift; `first`: where the top line does."""

    places: tuple[tuple[int, int], ...]
    first: tuple[int, int] | None = None

    @property
    def limbs(self) -> int:
        """How many 61-bit numbers a cost takes."""
        return self.places[-1][0] + 1

    def edges(self, moves: Moves) -> Array:
        """The cost of every transition, int64 of shape (limbs, from, to)."""
        if moves.shared:
            return _EDGES.get((moves, self), lambda: self._edges(moves))
        return self._edges(moves)

    def against(self, edges: Array, against: Array) -> Array:
        """`edges` with what the top line goes against the wish, shape (from, to), before all."""
        limb, shift = self.first or (0, 0)
        dearer = edges.copy()
        dearer[limb] += against << shift
        return dearer

    def _edges(self, moves: Moves) -> Array:
        packed = np.zeros((self.limbs, *moves.motion.shape), np.int64)
        for (limb, shift), part in zip(self.places, moves.parts, strict=False):
            if part is not None:
                packed[limb] += part.astype(np.int64) << shift
        return packed

    def nodes(self, far: HomeDistance, steps: int) -> Array:
        """The cost of every candidate of a node of so many steps, int64 (limbs, candidates)."""
        if far.shared:
            return _NODES.get((far, steps, self), lambda: self._nodes(far, steps))
        return self._nodes(far, steps)

    def _nodes(self, far: HomeDistance, steps: int) -> Array:
        packed = np.zeros((self.limbs, len(far.distance)), np.int64)
        limb, shift = self.places[-1]
        packed[limb] = far.distance * steps << shift
        return packed


_EDGES: Final[Cache[tuple[Moves, Packing], Array]] = Cache(
    "edges", 48 << 20, lambda packed: packed.nbytes
)
_NODES: Final[Cache[tuple[HomeDistance, int, Packing], Array]] = Cache(
    "nodes", 8 << 20, lambda packed: packed.nbytes
)
_FROM_HOME: Final[Cache[tuple[Candidates, int], HomeDistance]] = Cache(
    "from home", 4 << 20, lambda far: far.distance.nbytes
)


def from_home(candidates: Candidates, home: int) -> HomeDistance:
    """How far each of the voicings lies from `home`, a MIDI number."""
    if candidates.shared:
        return _FROM_HOME.get((candidates, home), lambda: _from_home(candidates, home))
    return _from_home(candidates, home)


def _from_home(candidates: Candidates, home: int) -> HomeDistance:
    upper = candidates.upper.astype(np.int64)
    distance: Array = np.where(upper >= 0, upper - home, 0).sum(axis=1)
    return HomeDistance(np.abs(distance), int(np.abs(distance).max(initial=0)), candidates.shared)


def packing(moves: Sequence[Moves], farthest: int, against: int | None = None) -> Packing:
    """The packing that holds the dearest path of a request without overflow.

    `farthest` bounds the sum of the distances from home, and `against` what the top line may go
    against the wish, if there is one.

    Fields are rounded up to a common size where that takes no further limb, so that requests of
    about one length pack alike and share their tables.
    """
    sums = [sum(most) for most in zip(*(m.most for m in moves), strict=True)] or [0] * 4
    first = [] if against is None else [against]
    bits = [bound.bit_length() for bound in (*first, *sums, farthest)]
    round_bits = [-(-width // _ROUND) * _ROUND for width in bits]
    exact, rounded = _places(bits), _places(round_bits)
    places = rounded if rounded[-1][0] == exact[-1][0] else exact
    return Packing(places) if against is None else Packing(places[1:], places[0])


def _places(bits: Sequence[int]) -> tuple[tuple[int, int], ...]:
    """Limb and shift for fields of so many bits, the first the most significant.

    >>> _places([20, 10, 30, 10])
    ((0, 40), (0, 30), (0, 0), (1, 0))
    """
    limbs: list[list[int]] = [[]]
    for width in bits:
        if sum(limbs[-1]) + width > LIMB_BITS - 1:
            limbs.append([])
        limbs[-1].append(width)
    return tuple(
        (limb, sum(widths[k + 1 :]))
        for limb, widths in enumerate(limbs)
        for k in range(len(widths))
    )


TOP_LINES: Final = ("free", "hold", "rise", "fall")


def against(a: Candidates, b: Candidates, top_line: str) -> Array | None:
    """What each transition goes against the wish, int64 of shape (from, to); None for ``free``."""
    if top_line == "free":
        return None
    tops = [of.notes.max(axis=1).astype(np.int64) for of in (a, b)]
    return gone_against(tops[1][None, :] - tops[0][:, None], top_line)


def gone_against(up: Array, top_line: str) -> Array:
    """By how many semitones a top voice that moves `up` goes against a wish.

    Any movement is against ``hold``, a downward one against ``rise``, an upward one against
    ``fall``.
    """
    found: Array = np.maximum({"hold": np.abs(up), "rise": -up, "fall": up}[top_line], 0)
    return found


def forbid(edges: Array, forbidden: NDArray[np.bool_]) -> Array:
    """`edges` without those that are forbidden, shape (from, to)."""
    closed = edges.copy()
    closed[0][forbidden] = FORBIDDEN
    return closed
