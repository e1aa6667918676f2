"""The order of preference among paths, as integer costs for the kernel.

Knows motion, prices and candidates. Seven sums decide, in this order: cost (motion and prices),
motion, colours of the context that do not sound, bass motion, squared voice moves, movement of the
top voice, distance from home. Where the request asks for a top line, its deviation comes before all
of them. They are packed into one 61-bit number where the bounds of this very
request allow, else into further limbs; the kernel compares limb by limb, so the order is exact.
The kernel breaks remaining ties by the lowest candidate index; candidates are sorted by lowest
notes, then family, then hand split.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from functools import partial
from itertools import count
from typing import Final

import numpy as np
from numpy.typing import NDArray

from shortway.core.cache import Cache
from shortway.core.settings.setting import Setting
from shortway.core.shortest_path.kernel import FORBIDDEN, LIMB_BITS
from shortway.core.theory.pitch import DEGREES
from shortway.core.voicings.candidate_arrays import Candidates
from shortway.core.voicings.pricing import Wants, colour_counts, voicing_counts

Array = NDArray[np.int64]


@dataclass(frozen=True, eq=False, slots=True)
class VoicingCosts:
    """What the candidates of a step cost by themselves, in the order of preference.

    Attributes
    ----------
    price : int32, shape (candidates,)
        Semitones of all prices of a voicing together.
    lacking : int32, shape (candidates,)
        Colours of the chord's context that do not sound.
    home : int64, shape (candidates,)
        |sum of the notes - notes * home|, bass excluded.
    changed : int32, shape (candidates,), or None
        Steps at which the voicing would replace notes that the request keeps; None without any.
    shared : bool
        Whether other requests use this very object.
    number : int
        Its own, or that of the whole of which it is a part: with the number of its candidates it
        stands for it in the keys of caches.
    """

    price: NDArray[np.int32]
    lacking: NDArray[np.int32]
    home: Array
    shared: bool = False
    changed: NDArray[np.int32] | None = None
    number: int = field(default_factory=count().__next__)

    def take(self, rows: NDArray[np.intp]) -> VoicingCosts:
        """The costs of the candidates `rows`, shape (rows,), in their order."""
        changed = None if self.changed is None else self.changed[rows]
        own = self.price[rows], self.lacking[rows], self.home[rows]
        return VoicingCosts(*own, changed=changed)

    def part(self, rows: slice) -> VoicingCosts:
        """The costs of some candidates in a row, which other requests use, too."""
        own = self.price[rows], self.lacking[rows], self.home[rows]
        return VoicingCosts(*own, self.shared, number=self.number)

    @property
    def nbytes(self) -> int:
        """Bytes of the arrays."""
        return self.price.nbytes + self.lacking.nbytes + self.home.nbytes

    def most(self) -> dict[str, int]:
        """The largest entry of each, by field of the order of preference."""
        parts = {
            "changed": self.changed, "cost": self.price, "lacking": self.lacking, "home": self.home,
        }  # fmt: skip
        return {name: 0 if of is None else int(of.max(initial=0)) for name, of in parts.items()}


def voicing_costs(
    candidates: Candidates, setting: Setting, colours: tuple[str, ...], wants: Wants
) -> VoicingCosts:
    """What each of the voicings costs where the context offers `colours` and asks for `wants`."""
    if candidates.block is not None:
        whole = voicing_costs(candidates.block, setting, colours, wants)
        return whole.part(slice(candidates.first, candidates.first + len(candidates)))
    prices = setting.voicing_prices
    if not candidates.shared:
        return _voicing_costs(candidates, setting.home, prices, colours, wants)
    key = setting.home, prices, colours, wants
    make = partial(_voicing_costs, candidates, *key)
    return _VOICING_COSTS.get((candidates.number, *key), make)


_Key = tuple[int, int, tuple[int, ...], tuple[str, ...], Wants]
_VOICING_COSTS: Final[Cache[_Key, VoicingCosts]] = Cache(
    "voicing costs", 12 << 20, lambda costs: costs.nbytes + 600
)


def _voicing_costs(
    candidates: Candidates,
    home: int,
    prices: tuple[int, ...],
    colours: tuple[str, ...],
    wants: Wants,
) -> VoicingCosts:
    price = np.zeros(len(candidates), np.int32)
    if any(prices):
        price = np.array(prices, np.int32) @ voicing_counts(candidates, wants, home)
    lacking = len({DEGREES[c] for c in colours}) - colour_counts(candidates, colours)
    return VoicingCosts(price, lacking, from_home(candidates, home), candidates.shared)


def from_home(candidates: Candidates, home: int) -> Array:
    """Distance of each voicing's upper notes from `home`, a MIDI number; shape (candidates,)."""
    upper = candidates.upper.astype(np.int64)
    distance: Array = np.abs(np.where(upper >= 0, upper - home, 0).sum(axis=1))
    return distance


#: The sums in the order of preference; `changed` is 0 where nothing is kept, `against` without a
#: top line.
FIELDS: Final = (
    "changed",
    "against",
    "cost",
    "motion",
    "lacking",
    "bass",
    "squares",
    "top",
    "home",
)


@dataclass(frozen=True, slots=True)
class Packing:
    """Where each of `FIELDS`, or the first of them, stands: limb and left shift."""

    places: tuple[tuple[int, int], ...]

    @property
    def limbs(self) -> int:
        """How many 61-bit numbers a cost takes."""
        return self.places[-1][0] + 1

    def pack(self, shape: tuple[int, ...], **sums: NDArray[np.integer] | None) -> Array:
        """Fields by name, each of `shape`, as costs; int64 of shape (limbs, *shape)."""
        packed = np.zeros((self.limbs, *shape), np.int64)
        for name, place in zip(FIELDS, self.places, strict=False):
            values = sums.get(name)
            if values is not None:
                limb, shift = place
                packed[limb] += values.astype(np.int64) << shift
        return packed

    def unpack(self, name: str, packed: Sequence[int]) -> int:
        """One field of a cost, given limb by limb."""
        field = FIELDS.index(name)
        limb, shift = self.places[field]
        value = packed[limb] >> shift
        if field and self.places[field - 1][0] == limb:
            value &= (1 << self.places[field - 1][1] - shift) - 1
        return value


def packing(most: Mapping[str, int], fields: Sequence[str] = FIELDS) -> Packing:
    """The packing of `FIELDS`, or the first of them, for paths whose sums do not exceed `most`."""
    return Packing(_places([most[name].bit_length() for name in fields]))


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
    """Deviation of each move from the top line, int64 of shape (from, to); None for ``free``."""
    if top_line == "free":
        return None
    tops = [of.notes.max(axis=1).astype(np.int64) for of in (a, b)]
    return gone_against(tops[1][None, :] - tops[0][:, None], top_line)


def gone_against(up: Array, top_line: str) -> Array:
    """Semitones by which a top voice that moves `up` deviates from a top line; of the same shape.

    Any movement deviates from ``hold``, a downward one from ``rise``, an upward one from ``fall``.
    The shape is that of `up`, such as (from, to) or (moves,).
    """
    found: Array = np.maximum({"hold": np.abs(up), "rise": -up, "fall": up}[top_line], 0)
    return found


def forbid(edges: Array, forbidden: NDArray[np.bool_]) -> Array:
    """`edges`, shape (limbs, from, to), without those that `forbidden`, shape (from, to), marks."""
    closed = edges.copy()
    closed[0][forbidden] = FORBIDDEN
    return closed
