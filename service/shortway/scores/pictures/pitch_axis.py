"""The scale of pitch behind the voice lines: half steps upwards, black keys shaded, Cs named.

Knows the core's answers, svg and ink. Y is 0 at the top of a row.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final
from xml.etree.ElementTree import Element

from shortway.core.solver.solve import Path
from shortway.scores.pictures.keyboard_geometry import is_black
from shortway.scores.pictures.style import GRID, INK, QUIET, SHADE
from shortway.scores.pictures.svg import figure, put

#: Px a half step: room for a figure between two voices that lie so near.
HALF_STEP: Final = 10.0
_NAMED: Final = {0: "C", 5: "F"}


@dataclass(frozen=True, slots=True)
class Pitches:
    """The half steps from `lowest` to `highest`, both shown."""

    lowest: int
    highest: int

    @property
    def height(self) -> float:
        """From the upper edge of the highest to the lower edge of the lowest."""
        return (self.highest - self.lowest + 1) * HALF_STEP

    def y(self, midi: int) -> float:
        """The middle of a half step."""
        return (self.highest - midi + 0.5) * HALF_STEP

    def draw(self, parent: Element, width: float) -> None:
        """Bands for black keys, lines for C and F with their names at the left."""
        inside = range(self.lowest, self.highest + 1)
        top = {midi: figure(self.y(midi) - HALF_STEP / 2) for midi in inside}
        across = f"h{figure(width)}v{figure(HALF_STEP)}h{figure(-width)}z"
        bands = "".join(f"M0 {top[midi]}{across}" for midi in inside if is_black(midi))
        put(parent, "path", d=bands, fill=SHADE)
        named = [midi for midi in inside if midi % 12 in _NAMED]
        rules = "".join(f"M0 {figure(self.y(midi))}h{figure(width)}" for midi in named)
        put(parent, "path", d=rules, stroke=GRID, fill="none")
        names = put(parent, "g", font_size=9, text_anchor="end")
        for midi in named:
            colour = INK if midi % 12 == 0 else QUIET
            words = f"{_NAMED[midi % 12]}{midi // 12 - 1}"
            put(names, "text", words, x=-12, y=self.y(midi) + 3.2, fill=colour)


def spread(path: Path) -> Pitches:
    """What a path needs: its notes and those before it, with a little room."""
    midi = [key for step in path.steps if step.voicing for key in step.voicing.midi]
    midi += [move.from_midi for step in path.steps for move in step.moves]
    return Pitches(min(midi, default=60) - 1, max(midi, default=72) + 1)
