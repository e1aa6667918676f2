"""The grand staff: a score's pages as one picture.

Knows engraving, svg and ink, and the core's answers for the text alternative. Of Verovio's pages
shapes and words are kept, and its styles turned into attributes; ids, classes and style sheets
are left out, but for the fonts that accidentals in chord symbols and lyrics need. A measure is a
`g` with `data-measure`, its number from 0 in the order in which they stand.
"""

from __future__ import annotations

import re
from collections import defaultdict
from collections.abc import Iterator
from itertools import pairwise
from typing import Final, NamedTuple
from xml.etree.ElementTree import Element

from shortway.core.cancellation import checkpoint
from shortway.core.errors import TooLarge
from shortway.core.solver.solve import Path
from shortway.scores.pictures.captions import path_summary, picture_title
from shortway.scores.pictures.engraving.verovio_engraving import (
    SVG,
    TEXT_FACES,
    TEXT_FONT,
    EngravedPages,
    engrave,
    prepare_musicxml,
)  # fmt: skip
from shortway.scores.pictures.engraving.verovio_engraving import EngravingError as EngravingError
from shortway.scores.pictures.page_layout import WIDTH, clamp_width, set_height
from shortway.scores.pictures.style import INK
from shortway.scores.pictures.svg import add_element, serialize_svg, svg_root, text_width

#: Verovio's scale in percent and its spacing, the first that warns of nothing and in which no chord
#: symbol meets the next is taken; narrow pictures get smaller notes.
_TRIES: Final = (
    (40, 0.25), (40, 0.35), (40, 0.5), (34, 0.35), (34, 0.6), (28, 0.5), (28, 0.8), (22, 0.8),
)  # fmt: skip
#: Characters from which a score is begun at the spacing that mostly serves: a try takes a second.
_LONG: Final = 500_000
#: Characters of a score that is engraved: a try of these takes about six seconds.
MAX_ENGRAVED: Final = 4_000_000
_TEXT_FONT: Final = f"{TEXT_FONT}, 'Times New Roman', Times, 'Liberation Serif', serif"
#: A letter that is no flat: no degree has one.
_SYLLABLE: Final = re.compile(r"(?!b)[^\W\d_]")
#: What Verovio's own style sheet says of each class.
_STYLE: Final = {
    "ending": ("font-weight", "bold"), "fing": ("font-weight", "bold"),
    "reh": ("font-weight", "bold"), "tempo": ("font-weight", "bold"),
    "dir": ("font-style", "italic"), "dynam": ("font-style", "italic"),
    "mNum": ("font-style", "italic"),
}  # fmt: skip
_KEPT_TAGS: Final = frozenset((
    "g", "path", "use", "text", "tspan", "ellipse", "circle", "rect", "polygon", "polyline", "line",
))  # fmt: skip
#: Verovio's units between a chord symbol and the next, at the least.
_APART: Final = 100.0
_KEPT: Final = frozenset((
    "d", "transform", "x", "y", "cx", "cy", "r", "rx", "ry", "x1", "x2", "y1", "y2", "points",
    "width", "height", "stroke-width", "stroke-linecap", "stroke-linejoin", "stroke-dasharray",
    "fill", "fill-opacity", "text-anchor", "font-size", "font-family", "font-style",
    "font-weight", "opacity", "data-measure",
))  # fmt: skip


class StaffDrawing(NamedTuple):
    """The picture, and what Verovio warned of while it was made."""

    svg: bytes
    warnings: tuple[str, ...]


def draw_staff(
    musicxml: bytes, title: str | None = None, path: Path | None = None, width: float = WIDTH
) -> bytes:
    """A score as a picture; see `draw_staff_with_warnings`."""
    return draw_staff_with_warnings(musicxml, title, path, width).svg


def draw_staff_with_warnings(
    musicxml: bytes, title: str | None = None, path: Path | None = None, width: float = WIDTH
) -> StaffDrawing:
    """A score as a picture.

    Parameters
    ----------
    musicxml : bytes
        An uncompressed score, such as `shortway.scores.notation.musicxml.write_musicxml` makes.
    title : str, optional
        Of the tune, for the text alternative.
    path : Path, optional
        Whose figures the text alternative tells.
    width : float, optional
        Of the picture, px, 240 to 4,000; what lies outside is brought inside.

    Raises
    ------
    ChartError
        If it is no XML.
    TooLarge
        If it has more than `MAX_ENGRAVED` characters.
    EngravingError
        If Verovio can read no score in it.
    """
    width, score = clamp_width(width), prepare_musicxml(musicxml)
    if len(score) > MAX_ENGRAVED:
        detail = f"the staff has {len(score):,} characters of MusicXML"
        expected = f"at most {MAX_ENGRAVED:,}: fewer measures or parts"
        raise TooLarge.at("/chart", detail, expected=expected)
    best = _best(score, width)
    for number, measure in enumerate(_of_class(best, "measure")):
        measure.set("data-measure", str(number))
    told = path_summary(path) if path else _counts(best)
    desc = f"A grand staff with a hand on each stave: {told}."
    root = svg_root("staff", f"{width}{score}", picture_title("Grand staff", title), desc, width)
    _font(root, best)
    defs = add_element(root, "defs")
    glyphs: dict[str, str] = {}
    y = 0.0
    for page in best.pages:
        y += _page(root, defs, page, glyphs, y, width)
    set_height(root, y)
    return StaffDrawing(serialize_svg(root), best.warnings)


def _best(score: str, width: float) -> EngravedPages:
    """The first try without a fault, else the one with the fewest."""
    ways = _TRIES[2:5] if len(score) > _LONG else _TRIES
    tries = (engrave(score, width, scale, spacing) for scale, spacing in ways)
    best: tuple[int, EngravedPages] | None = None
    for one in tries:
        faults = len(one.warnings) + sum(map(_meetings, one.pages))
        if best is None or faults < best[0]:
            best = faults, one
        if not faults:
            break
    assert best is not None
    return best[1]


def _meetings(page: Element) -> int:
    """How many chord symbols reach into the next on their line."""
    lines: defaultdict[int, list[tuple[float, float]]] = defaultdict(list)
    for group in page.iter(f"{SVG}g"):
        if group.get("class") == "harm":
            for text in group.iter(f"{SVG}text"):
                left = float(text.get("x", 0))
                lines[round(float(text.get("y", 0)) / 100)].append((left, left + _wide(text)))
    return sum(a[1] + _APART > b[0] for line in lines.values() for a, b in pairwise(sorted(line)))


def _wide(text: Element) -> float:
    """About how wide a line of words is; accidentals are narrower than their font's size says."""
    return sum(map(_breadth, text.iter(f"{SVG}tspan")))


def _breadth(span: Element) -> float:
    if not span.text:
        return 0.0
    return 0.2 * _size(span) if span.get("font-family") else text_width(span.text, _size(span))


def _size(span: Element) -> float:
    return float(span.get("font-size", "405px").removesuffix("px"))


def _of_class(found: EngravedPages, name: str) -> list[Element]:
    groups = (group for page in found.pages for group in page.iter(f"{SVG}g"))
    return [group for group in groups if group.get("class") == name]


def _counts(found: EngravedPages) -> str:
    counts = (len(_of_class(found, name)) for name in ("measure", "note"))
    return "{} measures, {} notes".format(*counts)


def _font(root: Element, found: EngravedPages) -> None:
    """The fonts of what would be drawn wrongly without: accidentals within words, and lyrics."""
    faces = (s.text or "" for page in found.pages for s in page.iter(f"{SVG}style"))
    face = next((text for text in faces if text.lstrip().startswith("@font-face")), "")
    if any(map(_sung, found.pages)):
        face += TEXT_FACES.read_text("utf-8")
    if face:
        add_element(root, "style").text = face


def _sung(page: Element) -> bool:
    """Whether there are lyrics, which stand too near each other for any wider font."""
    groups = (group for group in page.iter(f"{SVG}g") if group.get("class") == "syl")
    return any(_SYLLABLE.search("".join(group.itertext())) for group in groups)


def _page(
    root: Element, defs: Element, page: Element, glyphs: dict[str, str], y: float, width: float
) -> float:  # fmt: skip
    """Put a page under those before it; its height."""
    box = [float(part) for part in page.get("viewBox", "0 0 1 1").split()]
    height = box[3] * width / box[2]
    for glyph in page.findall(f"{SVG}defs/{SVG}g"):
        _glyph(defs, glyph, glyphs, str(root.get("id")))
    inside = page.findall(f"{SVG}svg")[0]
    view = add_element(
        root, "svg", y=y, width=width, height=height, viewBox=inside.get("viewBox", ""),
        color=INK, stroke="currentColor", font_family=_TEXT_FONT,
    )  # fmt: skip
    for child in inside:
        # lists: an element makes a TypeError of what a generator raises
        view.extend([*_kept(child, glyphs)])
    return height


def _glyph(defs: Element, glyph: Element, glyphs: dict[str, str], mark: str) -> None:
    """A glyph of the music font, once for all pages."""
    given = glyph.get("id", "")
    name = f"{mark}-{given.split('-')[0]}"
    if name not in glyphs.values():
        group = add_element(defs, "g", id=name)
        for child in glyph:
            group.extend([*_kept(child, glyphs)])
    glyphs[given] = name


def _kept(node: Element, glyphs: dict[str, str]) -> Iterator[Element]:
    """`node` as we keep it; nothing of what is only there to be pointed at."""
    checkpoint()
    tag, classes = node.tag.removeprefix(SVG), node.get("class", "").split()
    if tag not in _KEPT_TAGS or "placeholder" in classes:
        return
    kept = Element(tag, {name: value for name, value in node.items() if name in _KEPT})
    if tag == "use":
        kept.set("href", "#" + glyphs[node.get("href", "").removeprefix("#")])
    if tag == "text":
        kept.set("stroke", "none")
    for name, value in (_STYLE[one] for one in classes if one in _STYLE):
        kept.set(name, value)
    kept.text, kept.tail = node.text, node.tail
    for child in node:
        kept.extend([*_kept(child, glyphs)])
    if tag != "g" or len(kept):
        yield kept
