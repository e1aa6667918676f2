"""A score's staff as one picture, or as pages of paper.

Knows music and how it is engraved.
"""

from collections.abc import Mapping
from dataclasses import replace
from fractions import Fraction
from operator import itemgetter
from typing import Final, NamedTuple
from xml.etree.ElementTree import Element

from shortway.core.errors import ChartError
from shortway.scores.notation.insertion.part_insertion import insert_piano_part
from shortway.scores.notation.model import Score
from shortway.scores.notation.musicxml import score_text
from shortway.scores.pictures.captions import picture_title
from shortway.scores.pictures.engraving.documents import Document, given_document
from shortway.scores.pictures.engraving.page_drawing import Heading, PageDrawing
from shortway.scores.pictures.engraving.paper_pages import SheetHeights, paper_pages
from shortway.scores.pictures.engraving.verovio_engraving import EngravingError, PageFormat
from shortway.scores.pictures.staff import draw_staff, engrave_checked, engraving_faults
from shortway.scores.pictures.svg import serialize_svg, svg_root


class Paper(NamedTuple):
    """A sheet of paper, upright, in mm."""

    width: float
    height: float


#: ISO 216 and ANSI/ASME Y14.1.
PAPERS: Final[Mapping[str, Paper]] = {"a4": Paper(210.0, 297.0), "letter": Paper(215.9, 279.4)}
#: Margins in mm: at the sides, over the music with its heading and with the title alone, below it
#: with the page's number.
_SIDE: Final = 12.0
_TOP: Final = 30.0
_LATER_TOP: Final = 22.0
_BOTTOM: Final = 16.0
#: Scales in percent at which a staff is 6.5, 5.8 and 5.2 mm high: the first that saves a page or
#: has no fault (Gould, *Behind Bars*, 2011, has 5.5 to 7.4 mm for parts and piano; from memory).
_SCALES: Final = (90.0, 80.0, 72.0)
_MM: Final = 10.0
#: A staff space in mm at 100 percent.
_SPACE: Final = 1.8


def draw_score(music: Score) -> bytes:
    """The staff as one SVG.

    Raises TooLarge if it is too large; ChartError if a lead sheet cannot be engraved.
    """
    try:
        show = music.show
        return draw_staff(_document(music), _heading(music), music.path, show.width, show.theme).svg
    except EngravingError as error:
        raise _unreadable(error) from None


def draw_pages(music: Score) -> list[bytes]:
    """The staff as SVGs, each a page of paper.

    Raises TooLarge if it is too large; ChartError if a lead sheet cannot be engraved.
    """
    paper, heading = PAPERS[music.show.paper], _heading(music)
    try:
        pages, scale = _paged(_document(music), paper)
    except EngravingError as error:
        raise _unreadable(error) from None
    return [
        _page(page, number, len(pages), heading, paper, scale)
        for number, page in enumerate(pages, 1)
    ]


def _unreadable(error: EngravingError) -> ChartError:
    detail = f"the lead sheet cannot be engraved: {error}"
    return ChartError.at("/chart", detail, expected="a MusicXML score")


def _document(music: Score) -> Document:
    if music.sheet is not None:  # swing is in the heading, not under the melody
        straight = replace(music, swing=Fraction(1))
        return given_document(insert_piano_part(straight, music.sheet))
    return lambda room: score_text(music, room, engraved=True)


def _heading(music: Score) -> Heading:
    """A lead sheet has its own tempo."""
    swing = music.swing != 1
    if music.sheet is None:
        dotted, count = music.tempo_mark
        return Heading(music.title, None, count, swing, dotted)
    composer = music.sheet.tree.findtext("identification/creator[@type='composer']")
    return Heading(music.title, (composer or "").strip() or None, swing=swing)


def _paged(document: Document, paper: Paper) -> tuple[list[Element], float]:
    """Pages and their scale: the largest without a fault, or one that saves a page."""
    tries: list[tuple[tuple[int, int], list[Element], float]] = []
    width = paper.width - 2 * _SIDE
    rooms = SheetHeights(*((paper.height - top - _BOTTOM) / width for top in (_TOP, _LATER_TOP)))
    for scale in _SCALES:
        page = PageFormat(width * _MM, scale)
        found = engrave_checked(document(page.room), page)
        pages = paper_pages(found, rooms)
        count = engraving_faults(found), len(pages)
        tries.append((count, pages, scale))
        if count <= (0, 1):
            break
    return min(tries, key=itemgetter(0))[1:]


def _page(
    page: Element, number: int, count: int, heading: Heading, paper: Paper, scale: float
) -> bytes:
    """A page of paper, in mm; the first has the heading, the others the title."""
    width, height = paper
    space = _SPACE * scale / 100
    name = picture_title(f"Grand staff, page {number} of {count}", heading.title)
    root = svg_root("page", f"{number}{paper}", name, name, width)
    root.set("viewBox", f"0 0 {width:g} {height:g}")
    root.set("width", f"{width:g}mm")
    root.set("height", f"{height:g}mm")
    drawing = PageDrawing(root)
    if number == 1:
        drawing.heading(heading, _SIDE / 2, width, space, _SIDE)
    else:
        drawing.running_head(heading.title, _SIDE, width, space)
    drawing.page(page, _TOP if number == 1 else _LATER_TOP, width - 2 * _SIDE, x=_SIDE)
    if count > 1:
        drawing.page_number(number, height - _BOTTOM / 2, width, space)
    return serialize_svg(root)
