"""The sheet that keyboards and voice lines share: width, margins, title, the figures under it.

Knows svg and ink, no music.
"""

from __future__ import annotations

from typing import Final
from xml.etree.ElementTree import Element

from shortway.scores.pictures.style import QUIET
from shortway.scores.pictures.svg import add_element, px, truncate_text, wrap_text

#: Width of a picture where none is asked for, and the narrowest and widest, in px; as `music` says.
WIDTH: Final = 960.0
MIN_WIDTH: Final = 240.0
MAX_WIDTH: Final = 4000.0
MARGIN: Final = 16.0

_TITLE: Final = 17.0
_LINE: Final = 11.0


def clamp_width(width: float) -> float:
    """A picture's width, brought between the narrowest and the widest."""
    return min(max(float(width), MIN_WIDTH), MAX_WIDTH)


def draw_heading(root: Element, title: str, told: str, width: float) -> float:
    """The title and what is told beneath it; where the picture proper may begin."""
    room = width - 2 * MARGIN
    words = truncate_text(title, _TITLE, room, bold=True)
    add_element(root, "text", words, x=MARGIN, y=28, font_size=_TITLE, font_weight="bold")
    y = 32.0
    for line in wrap_text(told, _LINE, room):
        y += 15
        add_element(root, "text", line, x=MARGIN, y=y, font_size=_LINE, fill=QUIET)
    return y + 12


def set_height(root: Element, height: float) -> None:
    """Set the picture's height, which is known only at its foot."""
    width = root.get("width")
    root.set("height", px(height))
    root.set("viewBox", f"0 0 {width} {px(height)}")
    paper = next(child for child in root if child.tag == "rect")
    paper.set("height", px(height))
