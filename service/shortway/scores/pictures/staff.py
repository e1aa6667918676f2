"""A picture of a score: the grand staff, engraved by Verovio, all pages as one SVG.

Shapes and text of Verovio's pages are kept, its style sheets become attributes; ids, classes and
styles are removed, except the fonts that accidentals in chord symbols and lyrics need. A measure is
a `g` with `data-measure`, its number from 0 in the order of the score.
"""

from __future__ import annotations

import re
from collections import defaultdict
from itertools import chain, pairwise
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

#: Verovio's scale in percent and its spacing. The first try without warnings and colliding chord
#: symbols is used.
_TRIES: Final = (
    (40, 0.25), (40, 0.35), (40, 0.5), (34, 0.35), (34, 0.6), (28, 0.5), (28, 0.8), (22, 0.8),
)  # fmt: skip
#: Characters of a score for which fewer tries are made; each takes about a second.
_LONG: Final = 500_000
#: The most characters of a score; a try takes about six seconds.
MAX_ENGRAVED: Final = 4_000_000
_TEXT_FONT: Final = f"{TEXT_FONT}, 'Times New Roman', Times, 'Liberation Serif', serif"
#: A letter but a flat sign, which distinguishes lyrics from degrees.
_SYLLABLE: Final = re.compile(r"(?!b)[^\W\d_]")
#: Verovio's style sheet by class.
_STYLE: Final = {
    "ending": ("font-weight", "bold"), "fing": ("font-weight", "bold"),
    "reh": ("font-weight", "bold"), "tempo": ("font-weight", "bold"),
    "dir": ("font-style", "italic"), "dynam": ("font-style", "italic"),
    "mNum": ("font-style", "italic"),
}  # fmt: skip
_KEPT_TAGS: Final = frozenset((
    "g", "path", "use", "text", "tspan", "ellipse", "circle", "rect", "polygon", "polyline", "line",
))  # fmt: skip
#: The least distance between chord symbols in Verovio's units.
_APART: Final = 100.0
_KEPT: Final = frozenset((
    "d", "transform", "x", "y", "cx", "cy", "r", "rx", "ry", "x1", "x2", "y1", "y2", "points",
    "width", "height", "stroke-width", "stroke-linecap", "stroke-linejoin", "stroke-dasharray",
    "fill", "fill-opacity", "text-anchor", "font-size", "font-family", "font-style",
    "font-weight", "opacity", "data-measure",
))  # fmt: skip


class StaffDrawing(NamedTuple):
    """The picture, and Verovio's warnings."""

    svg: bytes
    warnings: tuple[str, ...]


def draw_staff(
    musicxml: bytes, title: str | None = None, path: Path | None = None, width: float = WIDTH
) -> StaffDrawing:
    """A score as a picture.

    `title`, of the tune, and the figures of `path` are for the text alternative; `width` is in px,
    limited to 240 to 4,000.

    Raises TooLarge if the score has more than `MAX_ENGRAVED` characters; EngravingError if Verovio
    cannot read it.
    """
    if len(musicxml) > MAX_ENGRAVED:
        detail = f"the staff has {len(musicxml):,} characters of MusicXML"
        expected = f"at most {MAX_ENGRAVED:,}: fewer measures or parts"
        raise TooLarge.at("/chart", detail, expected=expected)
    width, score = clamp_width(width), prepare_musicxml(musicxml)
    best = _best_engraving(score, width)
    measures = _of_class(best, "measure")
    for number, measure in enumerate(measures):
        measure.set("data-measure", str(number))
    counts = f"{len(measures)} measures, {len(_of_class(best, 'note'))} notes"
    figures = path_summary(path) if path else counts
    desc = f"A grand staff with a hand on each stave: {figures}."
    root = svg_root("staff", f"{width}{score}", picture_title("Grand staff", title), desc, width)
    _add_fonts(root, best)
    defs = add_element(root, "defs")
    glyphs: dict[str, str] = {}
    y = 0.0
    for page in best.pages:
        y += _page(root, defs, page, glyphs, y, width)
    set_height(root, y)
    return StaffDrawing(serialize_svg(root), best.warnings)


def _best_engraving(score: str, width: float) -> EngravedPages:
    """The first try without a fault, else the one with the fewest."""
    best: EngravedPages | None = None
    fewest = 0
    for scale, spacing in _TRIES[2:5] if len(score) > _LONG else _TRIES:
        engraved = engrave(score, width, scale, spacing)
        faults = len(engraved.warnings) + sum(map(_collisions, engraved.pages))
        if best is None or faults < fewest:
            best, fewest = engraved, faults
        if not faults:
            break
    assert best is not None
    return best


def _collisions(page: Element) -> int:
    """How many chord symbols reach into the next on their line."""
    lines: defaultdict[int, list[tuple[float, float]]] = defaultdict(list)
    for group in page.iter(f"{SVG}g"):
        if group.get("class") == "harm":
            for text in group.iter(f"{SVG}text"):
                left = float(text.get("x", 0))
                right = left + sum(map(_width, text.iter(f"{SVG}tspan")))
                lines[round(float(text.get("y", 0)) / 100)].append((left, right))
    return sum(a[1] + _APART > b[0] for line in lines.values() for a, b in pairwise(sorted(line)))


def _width(span: Element) -> float:
    """The approximate width of a text; accidentals are narrower than their font size suggests."""
    if not span.text:
        return 0.0
    size = float(span.get("font-size", "405px").removesuffix("px"))
    return 0.2 * size if span.get("font-family") else text_width(span.text, size)


def _of_class(found: EngravedPages, name: str) -> list[Element]:
    groups = chain.from_iterable(page.iter(f"{SVG}g") for page in found.pages)
    return [group for group in groups if group.get("class") == name]


def _add_fonts(root: Element, found: EngravedPages) -> None:
    """Embed the fonts of accidentals within text, and of lyrics, for which others are too wide."""
    faces = (s.text or "" for page in found.pages for s in page.iter(f"{SVG}style"))
    face = next((text for text in faces if text.lstrip().startswith("@font-face")), "")
    if any(_SYLLABLE.search("".join(syl.itertext())) for syl in _of_class(found, "syl")):
        face += TEXT_FACES.read_text("utf-8")
    if face:
        add_element(root, "style").text = face


def _page(
    root: Element, defs: Element, page: Element, glyphs: dict[str, str], y: float, width: float
) -> float:  # fmt: skip
    """Add a page at `y`; its height."""
    box = [float(part) for part in page.get("viewBox", "0 0 1 1").split()]
    height = box[3] * width / box[2]
    for glyph in page.findall(f"{SVG}defs/{SVG}g"):
        given = glyph.get("id", "")
        name = f"{root.get('id')}-{given.split('-')[0]}"  # all pages share their glyphs
        if name not in glyphs.values():
            _add_kept(add_element(defs, "g", id=name), glyph, glyphs)
        glyphs[given] = name
    inside = page.findall(f"{SVG}svg")[0]
    view = add_element(
        root, "svg", y=y, width=width, height=height, viewBox=inside.get("viewBox", ""),
        color=INK, stroke="currentColor", font_family=_TEXT_FONT,
    )  # fmt: skip
    _add_kept(view, inside, glyphs)
    return height


def _add_kept(parent: Element, given: Element, glyphs: dict[str, str]) -> None:
    """Add to `parent` the children of `given` that are visible, with the attributes we keep."""
    for node in given:
        checkpoint()
        tag, classes = node.tag.removeprefix(SVG), node.get("class", "").split()
        if tag not in _KEPT_TAGS or "placeholder" in classes:
            continue
        kept = Element(tag, {name: value for name, value in node.items() if name in _KEPT})
        if tag == "use":
            kept.set("href", "#" + glyphs[node.get("href", "").removeprefix("#")])
        if tag == "text":
            kept.set("stroke", "none")
        for name, value in (_STYLE[one] for one in classes if one in _STYLE):
            kept.set(name, value)
        kept.text, kept.tail = node.text, node.tail
        _add_kept(kept, node, glyphs)
        if tag != "g" or len(kept):
            parent.append(kept)
