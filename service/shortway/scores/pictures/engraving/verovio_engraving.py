"""MusicXML engraved by Verovio: pages of SVG as element trees, and what it warned of.

Knows XML and what Verovio is to be told; Verovio itself works in a process of its own
(`engraving.engraver_process`). Fonts come with the pages; ids are the same each time.
"""

from __future__ import annotations

from dataclasses import dataclass
from importlib.util import find_spec
from pathlib import Path
from typing import Final
from xml.etree import ElementTree
from xml.etree.ElementTree import Element

from shortway.scores.leadsheet.document import xml_parser as markup
from shortway.scores.pictures.engraving.engraver_client import EngraverError, engraver_client

SVG: Final = "{http://www.w3.org/2000/svg}"
#: Verovio's own units to a px at scale 100, and the most that a page may be high.
_MOST_HEIGHT: Final = 60_000


def _verovio() -> Path:
    """Where the package lies, found without loading it."""
    spec = find_spec("verovio")
    assert spec is not None
    return Path(str(spec.origin)).parent


#: Faces of the text font that Verovio carries and reckons with, by its name.
TEXT_FACES: Final = Path(_verovio(), "data", "Liberation.css")
TEXT_FONT: Final = "Liberation"
_ROOTS: Final = ("score-partwise", "score-timewise")

_OPTIONS: Final = {
    "adjustPageHeight": True, "pageHeight": _MOST_HEIGHT, "footer": "none", "breaks": "auto",
    "svgViewBox": True, "svgRemoveXlink": True, "svgFormatRaw": True, "xmlIdSeed": 1,
    "smuflTextFont": "embedded", "pageMarginLeft": 40, "pageMarginRight": 40,
    "mnumInterval": 0,
}  # fmt: skip


class EngravingError(Exception):
    """Verovio could not read what it was given; its own words."""


@dataclass(frozen=True, slots=True)
class EngravedPages:
    """Pages in their order, and Verovio's warnings."""

    pages: tuple[Element, ...]
    warnings: tuple[str, ...]


def prepare_musicxml(musicxml: bytes) -> str:
    """A score without the chord degrees that are marked as not to be printed: Verovio prints them.

    Raises
    ------
    ChartError
        If it is no XML, or more than is read.
    EngravingError
        If it is no score.
    """
    root = markup.parse_xml(musicxml)
    if root.tag not in _ROOTS:
        raise EngravingError(f"a MusicXML score begins with {' or '.join(_ROOTS)}")
    for harmony in root.iter("harmony"):
        for degree in harmony.findall("degree[@print-object='no']"):
            harmony.remove(degree)
    return ElementTree.tostring(root, encoding="unicode")


def engrave(musicxml: str, width: float, scale: int, spacing: float) -> EngravedPages:
    """All pages, `width` px wide; `scale` in percent of Verovio's usual size.

    `spacing` is how far apart notes of like length stand: Verovio's linear spacing, usually 0.25.

    Raises
    ------
    EngravingError
    """
    room = {"pageWidth": int(width * 100 / scale), "scale": scale, "spacingLinear": spacing}
    try:
        pages, told = engraver_client().engraved(musicxml, {**_OPTIONS, **room})
    except EngraverError as error:
        raise EngravingError(str(error)) from None
    if not pages:
        raise EngravingError("; ".join(told) or "Verovio returned no page")
    return EngravedPages(tuple(map(ElementTree.fromstring, pages)), tuple(told))
