"""The sheet that keyboards and voice lines share: width, margins, title, the figures under it.

Knows svg and ink, no music.
"""

from __future__ import annotations

from typing import Final
from xml.etree.ElementTree import Element

from shortway.scores.pictures.style import QUIET
from shortway.scores.pictures.svg import figure, fitting, put, wrapped

#: Width of a picture where none is asked for, and the narrowest and widest, in px; as `music` says.
WIDTH: Final = 960.0
LEAST_WIDTH: Final = 240.0
MOST_WIDTH: Final = 4000.0
MARGIN: Final = 16.0

_TITLE: Final = 17.0
_LINE: Final = 11.0


def bounded(width: float) -> float:
    """A picture's width, brought between the narrowest and the widest."""
    return min(max(float(width), LEAST_WIDTH), MOST_WIDTH)


def head(root: Element, title: str, told: str, width: float) -> float:
    """The title and what is told beneath it; where the picture proper may begin."""
    room = width - 2 * MARGIN
    words = fitting(title, _TITLE, room, bold=True)
    put(root, "text", words, x=MARGIN, y=28, font_size=_TITLE, font_weight="bold")
    y = 32.0
    for line in wrapped(told, _LINE, room):
        y += 15
        put(root, "text", line, x=MARGIN, y=y, font_size=_LINE, fill=QUIET)
    return y + 12


def close(root: Element, height: float) -> None:
    """Set the picture's height, which is known only at its foot."""
    width = root.get("width")
    root.set("height", figure(height))
    root.set("viewBox", f"0 0 {width} {figure(height)}")
    paper = next(child for child in root if child.tag == "rect")
    paper.set("height", figure(height))
