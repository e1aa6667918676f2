"""The marks on keys, defined once in a picture and referenced within it.

Every mark has a white rim, so that it shows on a black key.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import product
from xml.etree.ElementTree import Element

from shortway.scores.pictures.keyboard_geometry import KeyboardGeometry
from shortway.scores.pictures.style import LEFT, PAPER, RIGHT
from shortway.scores.pictures.svg import add_element, px


@dataclass(frozen=True, slots=True)
class KeyMarkers:
    """References to the definitions of `define_markers` in the picture with the id `mark`."""

    mark: str

    @property
    def keyboard(self) -> str:
        """The blank keyboard."""
        return f"#{self.mark}-keys"

    def of(self, hand: str, bass: bool, held: bool) -> str:
        """The mark of a note."""
        return f"#{self.mark}-{marker_name(hand, bass, held)}"


def marker_name(hand: str, bass: bool, held: bool) -> str:
    """The name of a mark.

    >>> marker_name("left", False, True), marker_name("right", True, False)
    ('left-held', 'right-bass')
    """
    return hand + "-bass" * bass + "-held" * held


def define_markers(root: Element, keys: KeyboardGeometry, mark: str) -> KeyMarkers:
    """Define the keyboard and all marks in a picture."""
    defs = add_element(root, "defs")
    keys.draw(add_element(defs, "g", id=f"{mark}-keys"))
    radius = min(6.2, keys.white * 0.33)
    for hand, colour in (("left", LEFT), ("right", RIGHT)):
        for bass, held in product((False, True), repeat=2):
            group = add_element(defs, "g", id=f"{mark}-{marker_name(hand, bass, held)}")
            _draw(group, hand, colour, radius, bass=bass, held=held)
    return KeyMarkers(mark)


def _draw(group: Element, hand: str, colour: str, r: float, *, bass: bool, held: bool) -> None:
    r = r * 1.12 if bass else r
    outline = _outline(hand, r, bass)
    add_element(group, "path", d=_outline(hand, r + 1.6, bass), fill=PAPER)
    fill = PAPER if held else colour
    if hand == "left" and not held:
        add_element(group, "path", d=outline, fill=PAPER)
        strokes = _hatching(r, bass)
        add_element(group, "path", d=strokes, stroke=colour, stroke_width=1.5, fill="none")
        fill = "none"
    add_element(group, "path", d=outline, fill=fill, stroke=colour, stroke_width=1.7)


def _outline(hand: str, r: float, bass: bool) -> str:
    n = px
    if bass:
        d = r * 1.25
        return f"M{n(-d)} 0L0 {n(-d)} {n(d)} 0 0 {n(d)}z"
    if hand == "left":
        s = r * 0.92
        return f"M{n(-s)} {n(-s)}h{n(2 * s)}v{n(2 * s)}h{n(-2 * s)}z"
    return f"M{n(-r)} 0a{n(r)} {n(r)} 0 1 1 {n(2 * r)} 0a{n(r)} {n(r)} 0 1 1 {n(-2 * r)} 0z"


def _hatching(r: float, bass: bool) -> str:
    """Strokes from lower left to upper right within the outline."""
    if bass:
        d = r * 1.25
        lines = ((-d / 2, d / 2, d / 2, -d / 2), (-3 * d / 4, d / 4, d / 4, -3 * d / 4),
                 (-d / 4, 3 * d / 4, 3 * d / 4, -d / 4))  # fmt: skip
    else:
        s = r * 0.92
        lines = ((-s, s, s, -s), (-s, 0.0, 0.0, -s), (0.0, s, s, 0.0))
    return "".join(f"M{px(a)} {px(b)}L{px(c)} {px(d)}" for a, b, c, d in lines)
