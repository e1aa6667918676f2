"""Verovio's fonts: widths of its text font, outlines of its music font.

Knows the files that Verovio is installed with. Text is measured as Verovio measures it, in Times,
which has the widths of Liberation Serif; music characters are drawn as paths, since no other
program has the font.
"""

import re
from functools import lru_cache
from importlib.util import find_spec
from pathlib import Path
from typing import Final, NamedTuple
from xml.etree import ElementTree

_SPEC: Final = find_spec("verovio")  # does not load it
assert _SPEC is not None
FONTS: Final = Path(str(_SPEC.origin)).parent / "data"
MUSIC_FONT: Final = "Leipzig"
#: Music characters are drawn in thousandths of their size.
MUSIC_EM: Final = 1000
_TEXT_FILES: Final = {
    (False, False): "Times", (True, False): "Times-bold", (False, True): "Times-italic",
    (True, True): "Times-bold-italic",
}  # fmt: skip
#: The room on either side of a music character in a text, in its size.
BEARING: Final = 0.05
#: The width of a character that Verovio does not know, in the size of its font.
_UNKNOWN: Final = 1.0
_PATH: Final = re.compile(r' d="([^"]*)"')


class TextRun(NamedTuple):
    """Text of one font and size; `music`: of the music font."""

    text: str
    size: float
    bold: bool = False
    italic: bool = False
    music: bool = False

    @property
    def width(self) -> float:
        """Its advance width, in the unit of its size."""
        return _width(self)


@lru_cache(maxsize=4096)
def _width(run: TextRun) -> float:
    widths = _widths(MUSIC_FONT if run.music else f"text/{_TEXT_FILES[run.bold, run.italic]}")
    apart = 2 * BEARING if run.music else 0.0
    return run.size * sum(widths.get(sign, _UNKNOWN) + apart for sign in run.text)


@lru_cache(maxsize=8)
def _widths(name: str) -> dict[str, float]:
    """The advance widths of a font by character, in its size."""
    root = ElementTree.parse(FONTS / f"{name}.xml").getroot()
    em = float(root.get("units-per-em", MUSIC_EM))
    return {
        chr(int(glyph.get("c", "0"), 16)): float(glyph.get("h-a-x") or glyph.get("w") or 0) / em
        for glyph in root.iter("g")
    }


@lru_cache(maxsize=64)
def music_outline(sign: str) -> str:
    """The path of a music character, y upwards, in thousandths of its size; empty if unknown."""
    file = FONTS / MUSIC_FONT / f"{ord(sign):04X}.xml"
    match = _PATH.search(file.read_text("utf-8")) if file.is_file() else None
    return match[1] if match else ""
