"""Systems on pages of paper.

Knows Verovio's pages, which are as high as their content, and divides them between systems. Pages
have about as many systems each, and where there are several pages the systems are moved apart to
fill them (common practice, no source).
"""

import re
from collections.abc import Iterator, Sequence
from itertools import accumulate, pairwise
from typing import Final, NamedTuple
from xml.etree.ElementTree import Element, SubElement

from shortway.scores.pictures.engraving.verovio_engraving import SVG, EngravedPages

_PAIR: Final = re.compile(r"(-?[\d.]+)[ ,]+(-?[\d.]+)")
#: What texts, clefs and heads need over the highest and under the lowest place of a system, and the
#: most that systems are moved apart, in units of a page's content.
_OVER: Final = 400.0
_UNDER: Final = 250.0
_MOST_APART: Final = 1800.0


class EngravedSystem(NamedTuple):
    """A system, the page that has it, and the upper and lower end in units of its content."""

    page: Element
    group: Element
    top: float
    bottom: float


class SheetHeights(NamedTuple):
    """The room for music on the first page and on each later one, in its width."""

    first: float
    later: float


def paper_pages(found: EngravedPages, heights: SheetHeights) -> list[Element]:
    """The systems on pages of paper; each page of Verovio's begins a page."""
    sheets: list[Sequence[EngravedSystem]] = []
    for page in found.pages:
        sheets += _sheets([*_systems(page)], heights, begun=bool(sheets))
    apart = _apart(sheets, heights) if len(sheets) > 1 else 0.0
    return [_page(sheet, apart) for sheet in sheets]


def _apart(sheets: Sequence[Sequence[EngravedSystem]], heights: SheetHeights) -> float:
    """How far the systems of every page can be moved apart."""
    free = [
        ((heights.later if number else heights.first) * _width(sheet[0].page) - _height(sheet))
        / (len(sheet) - 1)
        for number, sheet in enumerate(sheets)
        if len(sheet) > 1
    ]
    return max(0.0, min([_MOST_APART, *free]))


def _systems(page: Element) -> Iterator[EngravedSystem]:
    for group in page.iter(f"{SVG}g"):
        if group.get("class") == "system":
            places = [y for node in group.iter() for y in _places(node)]
            yield EngravedSystem(page, group, min(places) - _OVER, max(places) + _UNDER)


def _places(node: Element) -> Iterator[float]:
    """Heights at which a shape or a text stands."""
    yield from (float(y) for _, y in _PAIR.findall(node.get("d", "")))
    moved = _PAIR.search(node.get("transform", "")) if node.tag == f"{SVG}use" else None
    if moved:
        yield float(moved[2])
    if stands := node.get("y"):
        yield float(stands)


def _sheets(
    systems: Sequence[EngravedSystem], heights: SheetHeights, *, begun: bool
) -> list[Sequence[EngravedSystem]]:
    """As few sheets as hold the systems, each with as many as any other, if that fits."""
    rooms = [heights.later if begun else heights.first]
    full: list[list[EngravedSystem]] = [[]]
    for system in systems:
        if full[-1] and not _fits([*full[-1], system], rooms[-1]):
            full.append([])
            rooms.append(heights.later)
        full[-1].append(system)
    count, more = divmod(len(systems), len(full))
    sizes = [count + (number >= len(full) - more) for number in range(len(full))]
    even = [systems[a:b] for a, b in pairwise([0, *accumulate(sizes)])]
    return even if all(map(_fits, even, rooms)) else [*full]


def _fits(sheet: Sequence[EngravedSystem], room: float) -> bool:
    return _height(sheet) <= room * _width(sheet[0].page)


def _height(sheet: Sequence[EngravedSystem]) -> float:
    return sheet[-1].bottom - sheet[0].top


def _width(page: Element) -> float:
    return float(page.findall(f"{SVG}svg")[0].get("viewBox", "0 0 1 1").split()[2])


def _page(sheet: Sequence[EngravedSystem], apart: float) -> Element:
    """A page as Verovio would write it, with these systems alone."""
    height = _height(sheet) + apart * (len(sheet) - 1)
    box = f"0 0 {_width(sheet[0].page):g} {height:g}"
    page = Element(f"{SVG}svg", viewBox=box)
    for own in {id(system.page): system.page for system in sheet}.values():
        page.extend(own.findall(f"{SVG}defs"))
    inside = SubElement(page, f"{SVG}svg", viewBox=box)
    groups = sheet[0].page.iter(f"{SVG}g")
    given = next(group for group in groups if group.get("class") == "page-margin")
    left = _PAIR.search(given.get("transform", ""))
    margin = SubElement(inside, f"{SVG}g", transform=f"translate({left[1] if left else 0} 0)")
    for number, system in enumerate(sheet):
        down = apart * number - sheet[0].top
        SubElement(margin, f"{SVG}g", transform=f"translate(0 {down:g})").append(system.group)
    return page
