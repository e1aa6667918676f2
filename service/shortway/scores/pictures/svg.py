"""A small SVG builder: elements, short numbers, text that fits.

The writer escapes text; characters that XML cannot contain are removed. Never writes a script,
a style sheet or a URL.
"""

import re
from collections.abc import Mapping
from functools import lru_cache
from hashlib import sha256
from typing import Final
from xml.etree.ElementTree import Element, SubElement
from xml.sax.saxutils import escape

from shortway.scores.pictures.style import FONT, INK, PAPER, THEMES

Value = str | float | None

_COLOURED: Final = frozenset({"fill", "stroke", "color"})
_SPECIAL: Final = re.compile(r'[&<>"\r\n\t]')
_ENTITIES: Final = {'"': "&quot;", "\r": "&#13;", "\n": "&#10;", "\t": "&#09;"}


def px(value: float) -> str:
    """A length with at most two decimals.

    >>> px(3.0), px(2.504), px(-0.001)
    ('3', '2.5', '0')
    """
    text = f"{value:.2f}".rstrip("0").rstrip(".")
    return "0" if text == "-0" else text


def add_element(
    parent: Element, tag: str, words: str | None = None, /, **attributes: Value
) -> Element:
    """Append a child: ``_`` in names of attributes becomes ``-``, None omits an attribute."""
    named = {
        name.replace("_", "-"): value if isinstance(value, str) else px(value)
        for name, value in attributes.items()
        if value is not None
    }
    element = SubElement(parent, tag, named)
    if words is not None:
        element.text = clean_text(words)
    return element


def clean_text(words: str) -> str:
    """`words` without control characters and characters that change the text direction.

    >>> clean_text("Late\\x00 Checkout \\u202e"), clean_text("1 < 2 & ♭")
    ('Late  Checkout  ', '1 < 2 & ♭')
    """
    return "".join([sign if sign.isprintable() else " " for sign in words])


def svg_root(kind: str, about: str, title: str, desc: str, width: float) -> Element:
    """An empty picture of height 0 with its text alternative; its ids are a hash of `about`."""
    mark = f"{kind}-{sha256(about.encode('utf-8', 'replace')).hexdigest()[:10]}"
    root = Element("svg", {"xmlns": "http://www.w3.org/2000/svg"})
    attributes = {
        "viewBox": f"0 0 {px(width)} 0", "width": px(width), "height": "0", "id": mark,
        "role": "img", "aria-labelledby": f"{mark}-title {mark}-desc", "font-family": FONT,
        "fill": INK, "font-size": "10",
    }  # fmt: skip
    root.attrib.update(attributes)
    add_element(root, "title", title, id=f"{mark}-title")
    add_element(root, "desc", desc, id=f"{mark}-desc")
    add_element(root, "rect", width=width, height=0, fill=PAPER)
    return root


def serialize_svg(root: Element, theme: str = "light") -> bytes:
    """The picture as UTF-8, in the colours of a theme of `THEMES`."""
    return f"<?xml version='1.0' encoding='utf-8'?>\n{_markup(root, THEMES[theme])}".encode()


class Markup(str):
    """A text of an element that is XML already."""

    __slots__ = ()


def _markup(element: Element, colours: Mapping[str, str]) -> str:
    text = element.text or ""
    inner = text if isinstance(text, Markup) else escape(text)
    inner += "".join([_markup(child, colours) for child in element])
    named = "".join([
        attribute(name, colours.get(value, value) if name in _COLOURED else value)
        for name, value in element.items()
    ])  # fmt: skip
    end = f">{inner}</{element.tag}>" if inner else " />"
    return f"<{element.tag}{named}{end}"


def attribute(name: str, value: str) -> str:
    """An attribute after a blank."""
    if _SPECIAL.search(value):
        value = escape(value, _ENTITIES)
    return f' {name}="{value}"'


#: Advance widths of DejaVu Sans, the widest common sans serif, in hundredths of the size.
_WIDTHS: Final = {
    28: "'ijl", 30: "IJ", 32: " ,.·", 34: "/:;\\|", 36: "-f", 40: "!()[]t", 42: "r", 46: '"',
    50: "*_`♭♯", 54: "?sz", 56: "Lc", 58: "Fk", 60: "vxy", 62: "PTYaeo",
    64: "$0123456789ESbdghnpqu{}", 66: "K", 70: "ABCRVXZΔ", 74: "U", 76: "HN", 78: "&DG", 80: "OQ",
    82: "w", 84: "#+<=>^~−", 88: "M", 96: "%", 98: "m",
}  # fmt: skip
_WIDTH_OF: Final = {sign: width for width, signs in _WIDTHS.items() for sign in signs}
#: The width of bold letters in that of plain ones.
_BOLD: Final = 1.12


@lru_cache(maxsize=4096)
def text_width(words: str, size: float, *, bold: bool = False) -> float:
    """The width of `words` in px in the widest common sans serif; unknown characters are square."""
    hundredths = sum(_WIDTH_OF.get(sign, 100) for sign in words)
    return hundredths * size / 100 * (_BOLD if bold else 1)


def truncate_text(words: str, size: float, room: float, *, bold: bool = False) -> str:
    """`words`, truncated with an ellipsis if they are wider than `room`.

    >>> truncate_text("Cm7", 10, 60), truncate_text("C7(b9,#9,b13,#11)", 10, 60)
    ('Cm7', 'C7(b9,#9…')
    """
    if text_width(words, size, bold=bold) <= room:
        return words
    while words and text_width(words + "…", size, bold=bold) > room:
        words = words[:-1]
    return words + "…" if words else ""


def wrap_text(words: str, size: float, room: float) -> list[str]:
    """`words` in lines of at most `room` px; a wider word is truncated."""
    lines: list[str] = []
    for word in words.split():
        longer = f"{lines[-1]} {word}" if lines else word
        if lines and text_width(longer, size) <= room:
            lines[-1] = longer
        else:
            lines.append(truncate_text(word, size, room))
    return lines
