"""Colours, line styles and fonts of pictures.

`tests/scores/pictures/test_style.py` checks the contrasts (WCAG 2.2, success criteria 1.4.3 and
1.4.11) and the order in grey.
"""

from __future__ import annotations

from typing import Final, NamedTuple

#: The background of pictures.
PAPER: Final = "#ffffff"
#: Bands behind lines and text.
SHADE: Final = "#f1f3f7"
#: Text and keys: contrast of at least 4.5 to 1 on `PAPER` and on `SHADE`.
INK: Final = "#1c2230"
QUIET: Final = "#565e6e"
#: Grid lines, which are labelled.
GRID: Final = "#cdd3dd"

#: The hands, at least 4.5 to 1 on `PAPER`; shape and hatching distinguish them, too.
LEFT: Final = "#0b6b66"
RIGHT: Final = "#8c2f5e"

FONT: Final = "system-ui, 'Segoe UI', 'Helvetica Neue', 'DejaVu Sans', sans-serif"


class MotionStyle(NamedTuple):
    """How a move of at most `most` semitones (None: any) is drawn; widths in px."""

    most: int | None
    colour: str
    width: float
    dash: str | None
    words: str


#: Each is darker and wider than the one before, dashed from a third on. At least 3 to 1 on `PAPER`
#: and on `SHADE`.
MOTION_STYLES: Final = (
    MotionStyle(0, "#76869a", 1.6, None, "stays"),
    MotionStyle(1, "#1f7f78", 2.5, None, "half step"),
    MotionStyle(2, "#245c9e", 3.5, None, "whole step"),
    MotionStyle(4, "#6a2486", 4.5, "7 2", "third (3, 4)"),
    MotionStyle(None, "#6b0a1e", 5.6, "3 2", "5 and more"),
)


def motion_style(semitones: int) -> MotionStyle:
    """The style of a move, up or down.

    >>> motion_style(-1).words, motion_style(3).words, motion_style(12).words
    ('half step', 'third (3, 4)', '5 and more')
    """
    size = abs(semitones)
    return next(one for one in MOTION_STYLES if one.most is None or size <= one.most)
