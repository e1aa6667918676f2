"""Results: the listing of a chord and the path of a chart, as frozen values.

Knows steps, voicings and moves; computes nothing.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import NamedTuple

from shortway.core.charts import Step
from shortway.core.harmony.context import Context
from shortway.core.settings.setting import Setting
from shortway.core.theory.chord import Chord
from shortway.core.voice_leading.moves import Move, Voices
from shortway.core.voice_leading.remarks import SILENT
from shortway.core.voicings.model import Voicing


class PriceItem(NamedTuple):
    """A price that applies: how often, and semitones in all."""

    name: str
    count: int  # type: ignore[assignment]  # of tuples, which nobody calls
    total: int


PriceItems = tuple[PriceItem, ...]


class Ranked(NamedTuple):
    """A listed voicing with its price in semitones, item by item.

    `motion` and `cost`, motion and price, are from the notes that sounded, if any were given.
    """

    voicing: Voicing
    price: int
    price_items: tuple[PriceItem, ...]
    motion: int | None
    cost: int | None


@dataclass(frozen=True, slots=True)
class Listing:
    """Voicings of one chord: `total` counts them all, `voicings` are those of the page."""

    chord: Chord
    setting: Setting
    total: int
    voicings: tuple[Ranked, ...]


@dataclass(slots=True)
class Arrival:
    """A step's voicing and how it is reached from the step before; results share it.

    Attributes
    ----------
    motion, cost : int
        Semitones of all upper voices into it, and with its prices; a held voicing counts once.
    price_items : tuple of PriceItem
        Of the voicing and of the move into it.
    voices : Voices
        Its `moves`, field by field.
    bass_motion, largest_leap : int
        Semitones of the bass, and of the upper voice that moves farthest.
    fragment : bytes
        A place for what a serializer makes of it; empty before.
    """

    voicing: Voicing
    motion: int
    cost: int
    price_items: PriceItems
    voices: Voices
    remark: str
    bass_motion: int
    largest_leap: int
    fragment: bytes = field(default=b"", init=False, compare=False, repr=False)

    @property
    def moves(self) -> tuple[Move, ...]:
        """How each voice comes from the step before."""
        return self.voices.moves


class PathStep(NamedTuple):
    """A step with its voicing and how it is reached; an N.C. has none.

    `context` is its chord's function, where the setting has tensions in context.
    """

    step: Step
    arrival: Arrival | None
    context: Context | None = None

    @property
    def voicing(self) -> Voicing | None:
        """What is played."""
        return self.arrival.voicing if self.arrival else None

    @property
    def motion(self) -> int | None:
        """As of `Arrival`."""
        return self.arrival.motion if self.arrival else None

    @property
    def cost(self) -> int | None:
        """As of `Arrival`."""
        return self.arrival.cost if self.arrival else None

    @property
    def price_items(self) -> PriceItems:
        """As of `Arrival`."""
        return self.arrival.price_items if self.arrival else ()

    @property
    def moves(self) -> tuple[Move, ...]:
        """As of `Arrival`."""
        return self.arrival.moves if self.arrival else ()

    @property
    def remark(self) -> str:
        """As of `Arrival`."""
        return self.arrival.remark if self.arrival else SILENT


@dataclass(frozen=True, slots=True)
class Choice:
    """A candidate of a step, with cost and motion of the best path through it."""

    voicing: Voicing
    cost: int
    motion: int


@dataclass(frozen=True, slots=True)
class Size:
    """The size of a problem: steps, candidates of all layers, transitions between them.

    Steps that hold their voicing make one layer.
    """

    steps: int
    candidates: int
    transitions: int


@dataclass(frozen=True, slots=True)
class Path:
    """The path of least cost: one voicing a step.

    Attributes
    ----------
    cost : int
        Motion and prices in semitones, from `start_motion` and round the loop included.
    motion : int
        Semitones of all upper voices, including the same moves.
    loop_motion : int or None
        The motion from the last step back to the first, in a loop.
    start_motion : int or None
        The motion from the notes that sounded before, where given.
    least_motion : int or None
        The least motion of any path over the same candidates; None unless requested.
    bass_motion, largest_leap : int
        Motion of the bass in all; the largest move of any other voice.
    price_items : tuple of PriceItem
        Of the whole path, in the order of the table.
    released : tuple of int
        The steps of the request whose kept notes are not played, ascending.
    choices : tuple of Choice
        The candidates of the step that the request names, the best first.
    top_line : int or None
        Semitones by which the top voice deviates from the requested line; None without one.
    """

    cost: int
    motion: int
    bass_motion: int
    loop_motion: int | None
    start_motion: int | None
    largest_leap: int
    price_items: tuple[PriceItem, ...]
    size: Size
    setting: Setting
    steps: tuple[PathStep, ...]
    alternatives: tuple[Path, ...] = ()
    least_motion: int | None = None
    top_line: int | None = None
    released: tuple[int, ...] = ()
    choices: tuple[Choice, ...] = ()
