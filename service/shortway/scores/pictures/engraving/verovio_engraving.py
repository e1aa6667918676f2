"""MusicXML engraved by Verovio as pages of SVG.

Verovio runs in a process of its own (`engraving.engraver_process`). Systems are those of the
MusicXML; ids are always the same.
"""

from contextlib import suppress
from dataclasses import dataclass
from typing import Any, Final
from xml.etree import ElementTree
from xml.etree.ElementTree import Element

from shortway.core.errors import Unavailable
from shortway.scores.child_process import ProcessFailed, child_process

#: The module whose process engraves.
ENGRAVER: Final = "shortway.scores.pictures.engraving.engraver_process"
SVG: Final = "{http://www.w3.org/2000/svg}"
#: The greatest height of a page, which Verovio accepts.
_MOST_HEIGHT: Final = 60_000
#: A staff space and the margins at the sides, in units of a page's content.
STAFF_SPACE: Final = 180.0
_MARGIN: Final = 40
#: Units of a page's content in one of its size.
_CONTENT: Final = 10

_OPTIONS: Final = {
    "footer": "none", "header": "none", "minLastJustification": 0,
    "svgViewBox": True, "svgRemoveXlink": True, "svgFormatRaw": True, "xmlIdSeed": 1,
    "smuflTextFont": "none", "pageMarginLeft": _MARGIN, "pageMarginRight": _MARGIN,
    "mnumInterval": 0, "spacingSystem": 6,
}  # fmt: skip

#: Systems of a page that is not broken anywhere else; of more Verovio makes pages.
_MOST_SYSTEMS: Final = 64


class EngravingError(Exception):
    """Verovio cannot read a score; the message is its own."""


@dataclass(frozen=True, slots=True)
class EngravedPages:
    """Pages in order, and Verovio's warnings."""

    pages: tuple[Element, ...]
    warnings: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class PageFormat:
    """Width of a page in any unit, which is as high as its content; `scale` in percent.

    At 100 percent a staff space is 1.8 of that unit for pictures, whose unit is px.
    """

    width: float
    scale: float
    spacing: float = 0.25

    @property
    def room(self) -> float:
        """The width of a system in staff spaces."""
        return (self._units - 2 * _MARGIN) * _CONTENT / STAFF_SPACE

    @property
    def _units(self) -> int:
        return int(self.width * 100 / self.scale)

    @property
    def options(self) -> dict[str, Any]:
        """Verovio's options; `spacing` is its linear spacing."""
        return {
            **_OPTIONS,
            "pageWidth": self._units, "pageHeight": _MOST_HEIGHT, "scale": self.scale,
            "adjustPageHeight": True, "spacingLinear": self.spacing,
        }  # fmt: skip


def engrave(musicxml: str, page: PageFormat) -> EngravedPages:
    """A score as pages.

    Raises EngravingError if Verovio cannot read the score; Unavailable if its process ends twice.
    """
    pages, warnings = _call([musicxml, {**page.options, "breaks": _breaks(musicxml)}])
    if not pages:
        raise EngravingError("; ".join(warnings) or "Verovio returned no page")
    return EngravedPages(tuple(map(ElementTree.fromstring, pages)), tuple(warnings))


def _breaks(musicxml: str) -> str:
    """Which of the breaks in a score Verovio takes: all, those of lines, or, without any, its own.

    Where it takes all, it lays a line out once, with room for a tie from the line before.
    """
    systems = musicxml.count('new-system="yes"')
    if 'new-page="yes"' in musicxml or 0 < systems < _MOST_SYSTEMS:
        return "encoded"
    return "line" if systems else "auto"


def _call(request: list[object]) -> tuple[list[str], list[str]]:
    """Pages and warnings from the engraver; whoever killed it, the chart need not be the reason."""
    for _ in range(2):
        with suppress(ProcessFailed):
            pages, warnings = child_process(ENGRAVER).call(request)
            return pages, warnings
    raise Unavailable("the engraver's process ended; try again")
