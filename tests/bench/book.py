"""What people ask for, as this project assumes it: a book of charts with a long tail.

A request for a path is drawn from a book of `CHARTS` charts, in one of twelve keys and one of the
presets, or it is somebody's own. How often each is asked for is assumed, not measured: nobody has
used the service yet. The n-th chart of the book is asked for 1 / n ** `ZIPF` as often as the first.
"""

from __future__ import annotations

import random
from dataclasses import dataclass
from functools import lru_cache
from itertools import accumulate
from typing import Any

from support import tunes
from support.charts import transposed

CHARTS = 1_000
ZIPF = 1.0
#: Shares of charts that are somebody's own: typed once, changed, not asked for again.
OWN = 0.25
#: A chart is asked for in the key that it is written in, or in one of the eleven others.
AS_WRITTEN = 0.5
#: Settings, and how often each is asked for.
SETTINGS: dict[str | None, float] = {
    None: 0.5, "left-hand-under-a-solo": 0.2, "solo": 0.15, "small-hands": 0.1,
    "beginner-guide-tones": 0.05,
}  # fmt: skip
LENGTHS = {12: 0.2, 16: 0.2, 32: 0.6}
OWN_LENGTHS = {4: 0.3, 8: 0.4, 16: 0.3}


@dataclass(frozen=True, slots=True)
class Wish:
    """A chart by its number, negative if it is somebody's own; semitones up; a preset."""

    chart: int
    up: int
    preset: str | None


class Book:
    """Draws wishes; the same seed draws the same ones."""

    def __init__(self, seed: int, charts: int = CHARTS, zipf: float = ZIPF, own: float = OWN):
        self.draw = random.Random(seed)
        self.seed, self.own = seed, own
        self._places = range(charts)
        self._presets, self._shares = list(SETTINGS), list(accumulate(SETTINGS.values()))
        self._weights = list(accumulate((n + 1) ** -zipf for n in self._places))
        self._count = 0

    def wish(self) -> Wish:
        """The next one."""
        draw = self.draw
        preset = draw.choices(self._presets, cum_weights=self._shares)[0]
        if draw.random() < self.own:
            self._count += 1
            return Wish(-(self._count + self.seed * 10_000_000), 0, preset)
        up = 0 if draw.random() < AS_WRITTEN else draw.randrange(1, 12)
        return Wish(draw.choices(self._places, cum_weights=self._weights)[0], up, preset)


def request(wish: Wish) -> dict[str, Any]:
    """The request for a path that a wish stands for."""
    setting = {"setting": {"preset": wish.preset}} if wish.preset else {}
    return {"chart": {"text": transposed(written(wish.chart), wish.up)}, **setting}


@lru_cache(CHARTS)
def written(chart: int) -> str:
    """A chart of the book, or somebody's own, in the key that it is written in."""
    draw = random.Random(f"book/{chart}")
    lengths = LENGTHS if chart >= 0 else OWN_LENGTHS
    return tunes.chart(draw, draw.choices(list(lengths), list(lengths.values()))[0])
