"""A picture of a score: the grand staff, engraved by Verovio, all pages as one SVG.

A measure is a `g` with `data-measure`, its number from 0 in the order of the score; a text is a `g`
with `data-text`.
"""

from itertools import chain
from operator import itemgetter
from typing import Final, NamedTuple
from xml.etree.ElementTree import Element

from shortway.core.errors import TooLarge
from shortway.core.solver.solve import Path
from shortway.scores.display import DEFAULT_WIDTH
from shortway.scores.pictures.captions import path_summary, picture_title
from shortway.scores.pictures.engraving.documents import Document
from shortway.scores.pictures.engraving.page_drawing import Heading, PageDrawing, colliding_symbols
from shortway.scores.pictures.engraving.verovio_engraving import (
    SVG,
    EngravedPages,
    PageFormat,
    engrave,
)
from shortway.scores.pictures.engraving.verovio_engraving import EngravingError as EngravingError
from shortway.scores.pictures.page_layout import clamp_width, set_height
from shortway.scores.pictures.svg import serialize_svg, svg_root

#: Verovio's scale in percent, its spacing, and how much of a system's room is used. The first try
#: without warnings and colliding chord symbols is used.
_TRIES: Final = (
    (40, 0.25, 1.0), (40, 0.25, 0.6), (34, 0.35, 0.6), (28, 0.5, 0.5), (28, 0.8, 0.4),
    (22, 0.8, 0.4),
)  # fmt: skip
#: Characters of a score for which fewer tries are made; each takes about a second.
_LONG: Final = 500_000
#: The most characters of a score; a try takes about six seconds.
MAX_ENGRAVED: Final = 4_000_000
#: Staff spaces in px at 100 percent.
_SPACE: Final = 18.0


class StaffDrawing(NamedTuple):
    """The picture, and Verovio's warnings."""

    svg: bytes
    warnings: tuple[str, ...]


def draw_staff(
    document: Document,
    heading: Heading = Heading(),  # noqa: B008
    path: Path | None = None,
    width: float = DEFAULT_WIDTH,
    theme: str = "light",
) -> StaffDrawing:
    """A score as a picture.

    The figures of `path` are for the text alternative; `width` is in px, limited to 240 to 4,000;
    `theme` is one of `THEMES`.

    Raises TooLarge if the score has more than `MAX_ENGRAVED` characters; EngravingError if Verovio
    cannot read it.
    """
    width = clamp_width(width)
    best, scale, text = _best_engraving(document, width)
    counts = number_measures(best)
    figures = path_summary(path) if path else counts
    desc = f"A grand staff with a hand on each stave: {figures}."
    name = picture_title("Grand staff", heading.title)
    root = svg_root("staff", f"{width}{heading}{text}", name, desc, width)
    drawing = PageDrawing(root)
    y = drawing.heading(heading, 0.0, width, _SPACE * scale / 100)
    for page in best.pages:
        y += drawing.page(page, y, width)
    set_height(root, y)
    return StaffDrawing(serialize_svg(root, theme), best.warnings)


def number_measures(found: EngravedPages) -> str:
    """Give each measure its number; the counts of measures and notes."""
    measures = _of_class(found, "measure")
    for number, measure in enumerate(measures):
        measure.set("data-measure", str(number))
    return f"{len(measures)} measures, {len(_of_class(found, 'note'))} notes"


def _best_engraving(document: Document, width: float) -> tuple[EngravedPages, float, str]:
    """The first try without a fault, else the one with the fewest; its scale and MusicXML."""
    tries: list[tuple[int, EngravedPages, float, str]] = []
    for scale, spacing, part in _TRIES:
        page = PageFormat(width, scale, spacing)
        text = document(page.room * part)
        engraved = engrave_checked(text, page)
        faults = engraving_faults(engraved)
        tries.append((faults, engraved, scale, text))
        if not faults or (len(text) > _LONG and scale < _TRIES[0][0]):
            break
    return min(tries, key=itemgetter(0))[1:]


def engrave_checked(text: str, page: PageFormat) -> EngravedPages:
    """A score as pages. Raises EngravingError, and TooLarge over `MAX_ENGRAVED` characters."""
    if len(text) > MAX_ENGRAVED:
        detail = f"the staff has {len(text):,} characters of MusicXML"
        expected = f"at most {MAX_ENGRAVED:,}: fewer measures or parts"
        raise TooLarge.at("/chart", detail, expected=expected)
    return engrave(text, page)


def engraving_faults(found: EngravedPages) -> int:
    """Warnings, and chord symbols that reach into the next."""
    return len(found.warnings) + sum(map(colliding_symbols, found.pages))


def _of_class(found: EngravedPages, name: str) -> list[Element]:
    groups = chain.from_iterable(page.iter(f"{SVG}g") for page in found.pages)
    return [group for group in groups if group.get("class") == name]
