"""A keyboard: its range, the positions of its keys, the drawing, the marks of notes.

Lengths are px; a keyboard begins at x = 0, its far edge at y = 0.
"""

from dataclasses import dataclass
from functools import cached_property
from itertools import product
from typing import Final
from xml.etree.ElementTree import Element

from shortway.core.settings.keyboard import KEY_MM, OCTAVE_MM, is_black_key
from shortway.scores.pictures.style import BLACK_KEY, KEY_TEXT, MARK_LEFT, MARK_RIGHT, WHITE_KEY
from shortway.scores.pictures.svg import add_element, px

WHITE_MM: Final = OCTAVE_MM / 7
#: The drawn width of a black key; about 13.7 mm on modern pianos.
BLACK_MM: Final = 13.0
#: The drawn length of keys in widths of a white one; about 6.4 and 4 on pianos.
DEPTH: Final = 3.9
BLACK_DEPTH: Final = 2.35

#: Pitch classes at which a keyboard may begin and end, beside groups of black keys.
_FIRST: Final = (0, 5)
_LAST: Final = (4, 11)


@dataclass(frozen=True)
class KeyboardGeometry:
    """The keys from `first` to `last`, both white, `white` px wide each."""

    first: int
    last: int
    white: float

    @cached_property
    def scale(self) -> float:
        """Px per mm."""
        return self.white / WHITE_MM

    @property
    def width(self) -> float:
        """Width of the keyboard."""
        return self.at(self.last) + self.white / 2

    @property
    def depth(self) -> float:
        """Length of a white key."""
        return self.white * DEPTH

    @property
    def black_depth(self) -> float:
        """Length of a black key."""
        return self.white * BLACK_DEPTH

    def at(self, midi: int) -> float:
        """X of a key's centre."""
        return float(KEY_MM[midi] - KEY_MM[self.first]) * self.scale + self.white / 2

    def mark_y(self, midi: int) -> float:
        """Y of a mark's centre, near the front of its key."""
        black = is_black_key(midi)
        return self.black_depth - self.white * 0.52 if black else self.depth - self.white * 1.04

    def draw(self, parent: Element) -> None:
        """Draw the keyboard, with the names of the Cs."""
        width, depth, keys = self.width, self.depth, range(self.first, self.last + 1)
        edges = [self.at(m) - self.white / 2 for m in keys if not is_black_key(m)]
        fronts = "".join(f"M{px(x)} 0v{px(depth)}" for x in edges[1:])
        add_element(
            parent, "rect", width=width, height=depth, rx=2, fill=WHITE_KEY, stroke=KEY_TEXT
        )
        add_element(parent, "path", d=fronts, stroke=KEY_TEXT, fill="none")
        wide, deep = BLACK_MM * self.scale, self.black_depth
        tops = "".join(
            f"M{px(self.at(m) - wide / 2)} 0h{px(wide)}v{px(deep)}h{px(-wide)}z"
            for m in keys
            if is_black_key(m)
        )
        add_element(parent, "path", d=tops, fill=BLACK_KEY)
        size = min(8.0, self.white * 0.42)
        names = add_element(parent, "g", fill=KEY_TEXT, font_size=size, text_anchor="middle")
        for midi in keys:
            if midi % 12 == 0:
                name = f"C{midi // 12 - 1}"
                add_element(names, "text", name, x=self.at(midi), y=depth - size * 0.3)


def keyboard_range(lowest: int, highest: int) -> tuple[int, int]:
    """The first and last key of a keyboard that shows `lowest` to `highest`, at least an octave.

    >>> keyboard_range(51, 84), keyboard_range(60, 60)
    ((48, 88), (60, 71))
    """
    first = next(midi for midi in range(lowest, -1, -1) if midi % 12 in _FIRST)
    last = next(midi for midi in range(max(highest, first + 11), 140) if midi % 12 in _LAST)
    return first, min(last, 127)


def count_white_keys(first: int, last: int) -> int:
    """The number of white keys from `first` to `last`."""
    return sum(not is_black_key(midi) for midi in range(first, last + 1))


def marker_id(picture: str, hand: str, bass: bool, held: bool) -> str:
    """The id of the mark of a note in the picture with the id `picture`.

    >>> marker_id("x", "left", False, True), marker_id("x", "right", True, False)
    ('x-left-held', 'x-right-bass')
    """
    return f"{picture}-{hand}" + "-bass" * bass + "-held" * held


def define_markers(root: Element, keys: KeyboardGeometry) -> str:
    """Define the keyboard, as ``ID-keys``, and all marks in a picture; the picture's ID.

    Every mark has a white rim, so that it shows on a black key.
    """
    defs, picture = add_element(root, "defs"), str(root.get("id"))
    keys.draw(add_element(defs, "g", id=f"{picture}-keys"))
    radius = min(6.2, keys.white * 0.33)
    for hand, bass, held in product(("left", "right"), (False, True), (False, True)):
        group = add_element(defs, "g", id=marker_id(picture, hand, bass, held))
        _draw_mark(group, hand, radius, bass=bass, held=held)
    return picture


def _draw_mark(group: Element, hand: str, r: float, *, bass: bool, held: bool) -> None:
    r, colour = r * 1.12 if bass else r, MARK_LEFT if hand == "left" else MARK_RIGHT
    outline = _outline(hand, r, bass)
    add_element(group, "path", d=_outline(hand, r + 1.6, bass), fill=WHITE_KEY)
    fill = WHITE_KEY if held else colour
    if hand == "left" and not held:
        add_element(group, "path", d=outline, fill=WHITE_KEY)
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
