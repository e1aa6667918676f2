"""The order of preference among paths, as integers.

Knows motion, prices and candidates. Seven sums decide, in this order: cost (motion and prices),
motion, colours of the context that do not sound, bass motion, squared voice moves, movement of the
top voice, distance from home. Where the request asks for a top line, its deviation comes before all
of them, and changed steps before it where notes are kept. The kernel compares them and breaks
remaining ties by the lowest candidate index; candidates are sorted by lowest notes, then family,
then hand split.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import partial
from typing import Final

import numpy as np
from numpy.typing import NDArray

from shortway.core.cache import Cache
from shortway.core.settings.setting import Setting
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
    """

    price: NDArray[np.int32]
    lacking: NDArray[np.int32]
    home: Array
    shared: bool = False
    changed: NDArray[np.int32] | None = None

    def take(self, rows: NDArray[np.intp]) -> VoicingCosts:
        """The costs of the candidates `rows`, shape (rows,), in their order."""
        changed = None if self.changed is None else self.changed[rows]
        own = self.price[rows], self.lacking[rows], self.home[rows]
        return VoicingCosts(*own, changed=changed)

    def part(self, rows: slice) -> VoicingCosts:
        """The costs of some candidates in a row, which other requests use, too."""
        own = self.price[rows], self.lacking[rows], self.home[rows]
        return VoicingCosts(*own, self.shared)

    @property
    def nbytes(self) -> int:
        """Bytes of the arrays."""
        return self.price.nbytes + self.lacking.nbytes + self.home.nbytes


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
    "voicing costs", 8 << 20, lambda costs: costs.nbytes + 600
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
