"""MusicXML engraved by Verovio as pages of SVG.

Verovio runs in a process of its own (`engraving.engraver_process`). Fonts are embedded in the
pages; ids are always the same.
"""

from __future__ import annotations

from contextlib import suppress
from dataclasses import dataclass
from importlib.util import find_spec
from pathlib import Path
from typing import Final
from xml.etree import ElementTree
from xml.etree.ElementTree import Element

from shortway.core.errors import Unavailable
from shortway.scores.child_process import ProcessFailed, child_process

#: The module whose process engraves.
ENGRAVER: Final = "shortway.scores.pictures.engraving.engraver_process"
SVG: Final = "{http://www.w3.org/2000/svg}"
#: The greatest height of a page, which Verovio accepts.
_MOST_HEIGHT: Final = 60_000


_SPEC: Final = find_spec("verovio")  # does not load it
assert _SPEC is not None
#: The text font that Verovio measures text with.
TEXT_FACES: Final = Path(str(_SPEC.origin)).parent / "data" / "Liberation.css"
TEXT_FONT: Final = "Liberation"
_ROOTS: Final = ("score-partwise", "score-timewise")

_OPTIONS: Final = {
    "adjustPageHeight": True, "pageHeight": _MOST_HEIGHT, "footer": "none", "breaks": "auto",
    "svgViewBox": True, "svgRemoveXlink": True, "svgFormatRaw": True, "xmlIdSeed": 1,
    "smuflTextFont": "embedded", "pageMarginLeft": 40, "pageMarginRight": 40,
    "mnumInterval": 0,
}  # fmt: skip


class EngravingError(Exception):
    """Verovio cannot read a score; the message is its own."""


@dataclass(frozen=True, slots=True)
class EngravedPages:
    """Pages in order, and Verovio's warnings."""

    pages: tuple[Element, ...]
    warnings: tuple[str, ...]


def prepare_musicxml(musicxml: bytes) -> str:
    """A score of our own without the degrees that are not to be printed: Verovio prints them.

    Raises EngravingError if it is not a score.
    """
    root = ElementTree.fromstring(musicxml)
    if root.tag not in _ROOTS:
        raise EngravingError(f"a MusicXML score begins with {' or '.join(_ROOTS)}")
    for harmony in root.iter("harmony"):
        for degree in harmony.findall("degree[@print-object='no']"):
            harmony.remove(degree)
    return ElementTree.tostring(root, encoding="unicode")


def engrave(musicxml: str, width: float, scale: int, spacing: float) -> EngravedPages:
    """A score as pages `width` px wide.

    `scale` is in percent of Verovio's default size, `spacing` its linear spacing (default 0.25).

    Raises EngravingError if Verovio cannot read the score; Unavailable if its process ends twice.
    """
    room = {"pageWidth": int(width * 100 / scale), "scale": scale, "spacingLinear": spacing}
    pages, warnings = _call([musicxml, {**_OPTIONS, **room}])
    if not pages:
        raise EngravingError("; ".join(warnings) or "Verovio returned no page")
    return EngravedPages(tuple(map(ElementTree.fromstring, pages)), tuple(warnings))


def _call(request: list[object]) -> tuple[list[str], list[str]]:
    """Pages and warnings from the engraver; whoever killed it, the chart need not be the reason."""
    for _ in range(2):
        with suppress(ProcessFailed):
            pages, warnings = child_process(ENGRAVER).call(request)
            return pages, warnings
    raise Unavailable("the engraver's process ended; try again")
