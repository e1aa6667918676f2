"""The scale of pitch behind the voice lines: half steps upwards, black keys shaded, Cs named.

Knows the core's answers, svg and ink. Y is 0 at the top of a row.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final
from xml.etree.ElementTree import Element

from shortway.core.solver.solve import Path
from shortway.scores.pictures.keyboard_geometry import is_black_key
from shortway.scores.pictures.style import GRID, INK, QUIET, SHADE
from shortway.scores.pictures.svg import add_element, px

#: Px a half step: room for a figure between two voices that lie so near.
HALF_STEP: Final = 10.0
_NAMED: Final = {0: "C", 5: "F"}


@dataclass(frozen=True, slots=True)
class PitchAxis:
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
        top = {midi: px(self.y(midi) - HALF_STEP / 2) for midi in inside}
        across = f"h{px(width)}v{px(HALF_STEP)}h{px(-width)}z"
        bands = "".join(f"M0 {top[midi]}{across}" for midi in inside if is_black_key(midi))
        add_element(parent, "path", d=bands, fill=SHADE)
        named = [midi for midi in inside if midi % 12 in _NAMED]
        rules = "".join(f"M0 {px(self.y(midi))}h{px(width)}" for midi in named)
        add_element(parent, "path", d=rules, stroke=GRID, fill="none")
        names = add_element(parent, "g", font_size=9, text_anchor="end")
        for midi in named:
            colour = INK if midi % 12 == 0 else QUIET
            words = f"{_NAMED[midi % 12]}{midi // 12 - 1}"
            add_element(names, "text", words, x=-12, y=self.y(midi) + 3.2, fill=colour)


def pitch_axis_of(path: Path) -> PitchAxis:
    """What a path needs: its notes and those before it, with a little room."""
    midi = [key for step in path.steps if step.voicing for key in step.voicing.midi]
    midi += [move.from_midi for step in path.steps for move in step.moves]
    return PitchAxis(min(midi, default=60) - 1, max(midi, default=72) + 1)
