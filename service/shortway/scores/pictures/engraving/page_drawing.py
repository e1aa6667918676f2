"""Verovio's pages drawn into a picture of ours.

Shapes are kept, texts are redrawn (`engraving.page_text`); ids, classes and style sheets are
removed. All pages of a picture share their glyphs.
"""

from collections import defaultdict
from collections.abc import Iterator
from functools import lru_cache
from typing import Final, NamedTuple
from xml.etree.ElementTree import Element

from shortway.core.cancellation import checkpoint
from shortway.scores.pictures.engraving.fonts import TextRun, music_outline
from shortway.scores.pictures.engraving.page_text import (
    DOT,
    QUARTER,
    TEXT_FONT,
    collisions,
    draw_runs,
    plain_text,
    text_runs,
)
from shortway.scores.pictures.engraving.verovio_engraving import SVG
from shortway.scores.pictures.style import INK
from shortway.scores.pictures.svg import Markup, add_element, attribute

#: Tags of Verovio's elements that are kept.
_TAGS: Final = {
    f"{SVG}{tag}": tag
    for tag in (
        "g", "path", "use", "text", "ellipse", "circle", "rect", "polygon", "polyline", "line",
    )
}  # fmt: skip
_KEPT: Final = frozenset((
    "d", "transform", "x", "y", "cx", "cy", "r", "rx", "ry", "x1", "x2", "y1", "y2", "points",
    "width", "height", "stroke-width", "stroke-linecap", "stroke-linejoin", "stroke-dasharray",
    "fill", "fill-opacity", "opacity", "data-measure",
))  # fmt: skip
#: The class of what Verovio does not show, and those of texts that are drawn as chord symbols,
#: tempo and so on are.
_PLACEHOLDER: Final = "placeholder"
_KINDS: Final = frozenset((
    "harm", "tempo", "reh", "mNum", "dir", "dynam", "ending", "fing", "syl", "label", _PLACEHOLDER,
))  # fmt: skip
#: The least distance between chord symbols in the units of a page's content.
_APART: Final = 100.0
#: Sizes of a heading's texts, in staff spaces.
_TITLE: Final = 3.2
_SMALL: Final = 1.9
_NOTE: Final = 3.0


class Heading(NamedTuple):
    """What stands over a score; `tempo` in quarter notes, or `dotted` ones, a minute."""

    title: str | None = None
    composer: str | None = None
    tempo: float | None = None
    swing: bool = False
    dotted: bool = False


class PageDrawing:
    """Pages in one picture, whose root has an id."""

    def __init__(self, root: Element) -> None:
        self._root = root
        self._defs = add_element(root, "defs")
        self._ids: dict[str, str] = {}

    def glyph(self, sign: str) -> str:
        """The id of a music character."""
        name = f"{self._root.get('id')}-{ord(sign):04X}"
        if name not in self._ids.values():
            self._ids[name] = name
            glyph = add_element(self._defs, "g", id=name)
            add_element(glyph, "path", d=music_outline(sign), transform="scale(1,-1)")
        return name

    def heading(
        self, heading: Heading, y: float, width: float, space: float, side: float = 0.0
    ) -> float:
        """Draw a heading; `space` is a staff space, `side` a margin. The y below it."""
        margin = 2.0 * space + side
        parts = []
        if heading.title:
            y += (_TITLE + 1) * space
            runs = fitted(heading.title, _TITLE * space, width - 2 * margin)
            parts.append(draw_runs(runs, width / 2, y, "middle", self.glyph)[0])
        left = list(_tempo(heading, space))
        if left or heading.composer:
            y += (_SMALL + 1.2) * space
            tempo, end = draw_runs(left, margin, y, "start", self.glyph)
            parts.append(tempo)
            if heading.composer:
                runs = fitted(heading.composer, _SMALL * space, width - margin - end - space)
                parts.append(draw_runs(runs, width - margin, y, "end", self.glyph)[0])
        self._texts("".join(parts))
        return y + space

    def running_head(self, title: str | None, y: float, width: float, space: float) -> None:
        """Draw the title small, as on later pages."""
        self._line(title or "", y, width, _SMALL * space)

    def page_number(self, number: int, y: float, width: float, space: float) -> None:
        """Draw a page's number."""
        self._line(str(number), y, width, _SMALL * space)

    def _line(self, text: str, y: float, width: float, size: float) -> None:
        runs = fitted(text, size, 0.9 * width)
        self._texts(draw_runs(runs, width / 2, y, "middle", self.glyph)[0])

    def _texts(self, drawn: str) -> None:
        group = add_element(self._root, "g", font_family=TEXT_FONT, fill=INK, stroke="none")
        group.text = Markup(drawn)

    def page(self, page: Element, y: float, width: float, x: float = 0.0) -> float:
        """Draw a page at `y`; its height."""
        box = [float(part) for part in page.get("viewBox", "0 0 1 1").split()]
        height = box[3] * width / box[2]
        for glyph in page.findall(f"{SVG}defs/{SVG}g"):
            given = glyph.get("id", "")
            name = f"{self._root.get('id')}-{given.split('-')[0]}"
            if name not in self._ids.values():
                add_element(self._defs, "g", id=name).text = self._kept(glyph, "")
            self._ids[given] = name
        inside = page.findall(f"{SVG}svg")[0]
        view = add_element(
            self._root, "svg", x=x, y=y, width=width, height=height,
            viewBox=inside.get("viewBox", ""),
            color=INK, stroke="currentColor", font_family=TEXT_FONT,
        )  # fmt: skip
        view.text = self._kept(inside, "")
        return height

    def _kept(self, given: Element, kind: str) -> Markup:
        """The children of `given` that are visible, with the attributes we keep; no group without
        any."""
        parts = []
        for node in given:
            tag, own = _TAGS.get(node.tag), _kind(node.get("class", ""))
            if tag is None or own == _PLACEHOLDER:
                continue
            if tag == "text":
                parts.append(self._text(node, kind))
                continue
            named = ""
            for name, value in node.items():
                if name in _KEPT:
                    named += attribute(name, value)
            if tag == "use":
                named += f' href="#{self._ids[node.get("href", "#")[1:]]}"'
            inner = self._kept(node, own or kind) if len(node) else ""
            if tag == "g" and not named:
                parts.append(inner)
            elif inner:
                parts.append(f"<{tag}{named}>{inner}</{tag}>")
            elif tag != "g":
                parts.append(f"<{tag}{named} />")
        checkpoint()
        return Markup("".join(parts))

    def _text(self, node: Element, kind: str) -> str:
        runs = text_runs(node, kind, SVG)
        if not any(run.text.strip() for run in runs):
            return ""
        x, y = float(node.get("x", 0)), float(node.get("y", 0))
        drawn, _ = draw_runs(runs, x, y, node.get("text-anchor", "start"), self.glyph)
        return f"<g{attribute('data-text', plain_text(runs).strip())}>{drawn}</g>"


@lru_cache(maxsize=256)
def _kind(classes: str) -> str:
    """What a node of Verovio's is: one of `_KINDS`, else nothing."""
    return next((name for name in classes.split() if name in _KINDS), "")


def _tempo(heading: Heading, space: float) -> Iterator[TextRun]:
    if heading.tempo is not None:
        note = QUARTER + DOT if heading.dotted else QUARTER
        yield TextRun(note, _NOTE * space, music=True)
        yield TextRun(f" = {heading.tempo:g}", _SMALL * space, bold=True)
    if heading.swing:
        yield TextRun("   Swing" if heading.tempo else "Swing", _SMALL * space, bold=True)


def fitted(text: str, size: float, room: float) -> list[TextRun]:
    """A text of one run, smaller if it is wider than `room`."""
    run = TextRun(text, size)
    return [run._replace(size=size * min(1.0, room / max(run.width, 1e-9)))]


def colliding_symbols(page: Element) -> int:
    """How many chord symbols reach into the next on their line."""
    lines: defaultdict[int, list[tuple[float, float]]] = defaultdict(list)
    for group in page.iter(f"{SVG}g"):
        if group.get("class") == "harm":
            for node in group.iter(f"{SVG}text"):
                left = float(node.get("x", 0))
                width = sum(run.width for run in text_runs(node, "harm", SVG))
                lines[round(float(node.get("y", 0)) / 100)].append((left, left + width))
    return collisions(lines, _APART)
