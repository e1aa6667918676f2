"""Colours, line styles and fonts of pictures.

`tests/scores/pictures/test_style.py` checks the contrasts (WCAG 2.2, success criteria 1.4.3 and
1.4.11) and the order in grey.
"""

from collections.abc import Mapping
from typing import Final, NamedTuple

#: Names of colours, which `THEMES` resolves. The background of pictures, and bands behind lines.
PAPER: Final = "@paper"
SHADE: Final = "@shade"
#: Text and lines: contrast of at least 4.5 to 1 on `PAPER` and on `SHADE`.
INK: Final = "@ink"
QUIET: Final = "@quiet"
#: Grid lines, which are labelled.
GRID: Final = "@grid"
#: The hands, at least 4.5 to 1 on `PAPER`; shape and hatching distinguish them, too.
LEFT: Final = "@left"
RIGHT: Final = "@right"
#: Keys, light and dark in both themes, and the hands' marks on them, at least 4.5 to 1 on white
#: keys; a rim of that colour shows them on black keys.
WHITE_KEY: Final = "@white-key"
BLACK_KEY: Final = "@black-key"
KEY_TEXT: Final = "@key-text"
MARK_LEFT: Final = "@mark-left"
MARK_RIGHT: Final = "@mark-right"

_KEYS: Final = {MARK_LEFT: "#0e5160", MARK_RIGHT: "#51488f"}

#: The colours of each theme.
THEMES: Final[Mapping[str, Mapping[str, str]]] = {
    "light": {
        PAPER: "#ffffff", SHADE: "#efeff2", INK: "#22212a", QUIET: "#5b5965", GRID: "#d9d8df",
        LEFT: "#0e5160", RIGHT: "#625a9e", **_KEYS,
        WHITE_KEY: "#ffffff", BLACK_KEY: "#33313c", KEY_TEXT: "#5b5965",
        "@stays": "#85828f", "@half": "#c2571f", "@whole": "#a8410f", "@third": "#7f2f08",
        "@far": "#561d03",
    },
    "dark": {
        PAPER: "#1c1b21", SHADE: "#26252d", INK: "#eeedf2", QUIET: "#b3b0bd", GRID: "#44424d",
        LEFT: "#74c3cd", RIGHT: "#bcb4ee", **_KEYS,
        WHITE_KEY: "#c9c7d0", BLACK_KEY: "#1a191e", KEY_TEXT: "#3d3a45",
        "@stays": "#85818f", "@half": "#d07a45", "@whole": "#ff9f6b", "@third": "#ffc09c",
        "@far": "#ffe4d5",
    },
}  # fmt: skip

FONT: Final = "system-ui, 'Segoe UI', 'Helvetica Neue', 'DejaVu Sans', sans-serif"


class MotionStyle(NamedTuple):
    """How a move of at most `most` semitones (None: any) is drawn; widths in px."""

    most: int | None
    colour: str
    width: float
    dash: str | None
    words: str


#: Copper, which nothing else has; each further from `PAPER` in lightness and wider than the one
#: before, dashed from a third on. At least 3 to 1 on `PAPER` and on `SHADE`.
MOTION_STYLES: Final = (
    MotionStyle(0, "@stays", 1.6, None, "stays"),
    MotionStyle(1, "@half", 2.5, None, "half step"),
    MotionStyle(2, "@whole", 3.5, None, "whole step"),
    MotionStyle(4, "@third", 4.5, "7 2", "third (3, 4)"),
    MotionStyle(None, "@far", 5.6, "3 2", "5 and more"),
)


def motion_style(semitones: int) -> MotionStyle:
    """The style of a move, up or down.

    >>> motion_style(-1).words, motion_style(3).words, motion_style(12).words
    ('half step', 'third (3, 4)', '5 and more')
    """
    size = abs(semitones)
    return next(one for one in MOTION_STYLES if one.most is None or size <= one.most)
