"""The page that keyboards and voice lines share: width, margins, heading, legend."""

from collections.abc import Callable, Iterable
from typing import Final
from xml.etree.ElementTree import Element

from shortway.core.solver.solve import Path
from shortway.scores.display import WIDTH
from shortway.scores.pictures.captions import path_summary, picture_fingerprint
from shortway.scores.pictures.style import QUIET
from shortway.scores.pictures.svg import (
    add_element,
    px,
    serialize_svg,
    svg_root,
    text_width,
    truncate_text,
    wrap_text,
)

MARGIN: Final = 16.0

_TITLE: Final = 17.0
_LINE: Final = 11.0


def clamp_width(width: float) -> float:
    """A picture's width within its limits."""
    return min(max(float(width), WIDTH[0]), WIDTH[1])


def begin_picture(kind: str, name: str, about: str, path: Path, width: float) -> Element:
    """An empty picture of a path, described as `about`, with the figures of the path."""
    figures = f"{about}: {path_summary(path)}."
    return svg_root(kind, picture_fingerprint(path, width), name, figures, width)


def draw_heading(root: Element, name: str, path: Path, width: float) -> float:
    """Draw the picture's name and the figures of the path; the y below them."""
    room = width - 2 * MARGIN
    words = truncate_text(name, _TITLE, room, bold=True)
    add_element(root, "text", words, x=MARGIN, y=28, font_size=_TITLE, font_weight="bold")
    y = 32.0
    for line in wrap_text(f"{path_summary(path)}.", _LINE, room):
        y += 15
        add_element(root, "text", line, x=MARGIN, y=y, font_size=_LINE, fill=QUIET)
    return y + 12


#: Width of a mark, x of its words, the words, and a function that draws the mark at (x, y).
LegendEntry = tuple[float, float, str, Callable[[Element, float, float], None]]


def finish_picture(
    root: Element, top: float, width: float, legend: Iterable[LegendEntry], theme: str
) -> bytes:
    """The picture with a legend at `top`, in as many lines as it needs, in its colours."""
    foot = add_element(root, "g", fill=QUIET, transform=f"translate({px(MARGIN)} {px(top)})")
    x = y = 0.0
    for mark, words_x, words, draw_mark in legend:
        wide = mark + text_width(words, 10)
        if x and x + wide > width - 2 * MARGIN:
            x, y = 0.0, y + 18
        draw_mark(foot, x, y)
        add_element(foot, "text", words, x=x + words_x, y=y + 3.5)
        x += wide + 14
    set_height(root, top + y + 18)
    return serialize_svg(root, theme)


def set_height(root: Element, height: float) -> None:
    """Set the height of a picture."""
    root.set("height", px(height))
    root.set("viewBox", f"0 0 {root.get('width')} {px(height)}")
    background = next(child for child in root if child.tag == "rect")
    background.set("height", px(height))
