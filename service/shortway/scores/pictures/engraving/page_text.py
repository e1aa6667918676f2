"""Texts of an engraved page: chord symbols, tempo, lyrics, numbers, as any program draws them.

Knows Verovio's text elements. Music characters become paths; each other run of text has its place
and its length, so that another font with other widths moves nothing.
"""

import re
from collections.abc import Callable, Iterator, Sequence
from itertools import pairwise
from typing import Final
from xml.etree.ElementTree import Element
from xml.sax.saxutils import escape

from shortway.scores.pictures.engraving.fonts import BEARING, MUSIC_EM, TextRun
from shortway.scores.pictures.svg import Markup, clean_text, px

#: Times, or a font with its widths, wherever it is drawn.
TEXT_FONT: Final = "'Times New Roman', 'Liberation Serif', Times, serif"
#: SMuFL's accidentals for figured bass, which Verovio uses in text, its metronome note, its dot.
FLAT, SHARP, QUARTER, DOT = "\uea64", "\uea66", "\ueca5", "\uecb7"
_SIGNS: Final = {"b": FLAT, "#": SHARP}
#: Accidentals of a chord symbol's suffix or of a degree: before a number.
_ALTERATION: Final = re.compile(r"([b#])(?=[b#]*\d)")
#: A rehearsal mark that is a key, as an exercise has them.
_KEY: Final = re.compile(r"([A-G])([b#])(m?)")
#: A degree under a note, not a syllable.
_DEGREE: Final = re.compile(r"(?:bb?|#)?\d+")
#: The size of music characters by that of the text around them, as Verovio has it in a root.
_SIGN: Final = 16 / 9
#: Classes of Verovio whose text is bold or italic, as in its style sheet; chord symbols are bold
#: and a little smaller, so that they are as wide as Verovio reckons.
_BOLD: Final = frozenset({"ending", "fing", "reh", "tempo", "harm"})
_ITALIC: Final = frozenset({"dir", "dynam", "mNum"})
_HARMONY_SIZE: Final = 0.94
_DEFAULT_SIZE: Final = 405.0
#: What makes music characters as heavy as bold text, in thousandths of their size.
_STROKE: Final = 26

#: Returns the id of a music character's path.
Glyphs = Callable[[str], str]


def text_runs(node: Element, kind: str, namespace: str) -> list[TextRun]:
    """The runs of a text element of Verovio's; `kind` is the class of the group around it."""
    bold, italic = kind in _BOLD, kind in _ITALIC
    found: list[TextRun] = []
    for text, size, music in _leaves(node, _DEFAULT_SIZE, namespace):
        if kind == "harm" and not music:
            size *= _HARMONY_SIZE
        key = _KEY.fullmatch(text) if kind == "reh" else None
        if key:
            sign = TextRun(_SIGNS[key[2]], size * _SIGN, bold, False, True)
            found += [TextRun(key[1], size, bold), sign, *(TextRun(m, size, bold) for m in key[3])]
        elif not music and (kind == "harm" or (kind == "syl" and _DEGREE.fullmatch(text))):
            found += with_accidentals(text, size, bold=bold)
        else:
            found.append(TextRun(text, size, bold, italic, music))
    return found


def _leaves(node: Element, size: float, namespace: str) -> Iterator[tuple[str, float, bool]]:
    size = float(node.get("font-size", "0px").removesuffix("px")) or size
    if node.text:
        yield node.text, size, node.get("font-family") is not None
    for child in node.findall(f"{namespace}tspan"):
        yield from _leaves(child, size, namespace)
        if child.tail and child.tail.strip():
            yield child.tail, size, False


def with_accidentals(text: str, size: float, *, bold: bool) -> Iterator[TextRun]:
    """A chord symbol's suffix or a degree, its flats and sharps as music characters."""
    for place, part in enumerate(_ALTERATION.split(text)):
        if part:
            sign = place % 2 == 1
            yield TextRun(
                _SIGNS[part] if sign else part, size * _SIGN if sign else size, bold, False, sign
            )


def draw_runs(
    runs: Sequence[TextRun], x: float, y: float, anchor: str, glyphs: Glyphs
) -> tuple[Markup, float]:
    """Text from `x` on, or around or before it, on the line `y`; the x behind it."""
    width = sum([run.width for run in runs])
    x -= {"start": 0.0, "middle": width / 2, "end": width}[anchor]
    parts = []
    for run in runs:
        if not run.music:
            parts.append(_text(run, x, y))
            x += run.width
            continue
        for sign in run.text:
            left, scale = px(x + BEARING * run.size), run.size / MUSIC_EM
            at = f"translate({left} {px(y)}) scale({scale:.4f})"
            parts.append(
                f'<use href="#{glyphs(sign)}" transform="{at}" stroke-width="{_STROKE}" />'
            )
            x += run._replace(text=sign).width
    return Markup("".join(parts)), x


def _text(run: TextRun, x: float, y: float) -> str:
    """A run; blanks around it are left out, which a program might not draw."""
    bare = run._replace(text=run.text.strip())
    if not bare.text:
        return ""
    blanks = len(run.text) - len(run.text.lstrip())
    left = px(x + run._replace(text=" " * blanks).width)
    weight = ' font-weight="bold"' if run.bold else ""
    style = ' font-style="italic"' if run.italic else ""
    return (
        f'<text x="{left}" y="{px(y)}" font-size="{px(run.size)}"{weight}{style} stroke="none"'
        f' textLength="{px(bare.width)}" lengthAdjust="spacingAndGlyphs">'
        f"{escape(clean_text(bare.text))}</text>"
    )


def plain_text(runs: Sequence[TextRun]) -> str:
    """What runs say: ``F7♭9``."""
    text = "".join(run.text for run in runs)
    return text.replace(FLAT, "♭").replace(SHARP, "♯").replace(QUARTER, "♩")


def collisions(lines: dict[int, list[tuple[float, float]]], apart: float) -> int:
    """How many texts reach into the next on their line; by line the left and right ends."""
    return sum(a[1] + apart > b[0] for line in lines.values() for a, b in pairwise(sorted(line)))
