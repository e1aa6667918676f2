"""The pitch axis behind the voice lines: half steps upwards, black keys shaded, C and F named.

Y is 0 at the top of a row.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final
from xml.etree.ElementTree import Element

from shortway.core.solver.solve import Path
from shortway.scores.pictures.keyboard_drawing import is_black_key
from shortway.scores.pictures.style import GRID, INK, QUIET, SHADE
from shortway.scores.pictures.svg import add_element, px

#: Px of a half step.
HALF_STEP: Final = 10.0
_NAMED: Final = {0: "C", 5: "F"}


@dataclass(frozen=True, slots=True)
class PitchAxis:
    """The half steps from `lowest` to `highest`."""

    lowest: int
    highest: int

    @property
    def height(self) -> float:
        """Height of all half steps."""
        return (self.highest - self.lowest + 1) * HALF_STEP

    def y(self, midi: int) -> float:
        """Y of the middle of a half step."""
        return (self.highest - midi + 0.5) * HALF_STEP

    def draw(self, parent: Element, width: float) -> None:
        """Draw bands for black keys, and lines with names for C and F."""
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
    """The range of a path's notes and of those that it starts from, with a margin."""
    midi = [key for step in path.steps if step.voicing for key in step.voicing.midi]
    midi += [move.from_midi for step in path.steps for move in step.moves]
    return PitchAxis(min(midi, default=60) - 1, max(midi, default=72) + 1)
