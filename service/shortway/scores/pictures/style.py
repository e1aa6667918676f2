"""Colours, line styles and type of our pictures.

Knows nothing. Tables, with what each must satisfy beside it; `tests/scores/pictures/test_style.py`
computes the contrasts (WCAG 2.2, success criteria 1.4.3 and 1.4.11) and the order in grey.
"""

from __future__ import annotations

from typing import Final, NamedTuple

#: What pictures are drawn on, whatever the page around them looks like.
PAPER: Final = "#ffffff"
#: Bands and cards behind lines and words.
SHADE: Final = "#f1f3f7"
#: Words, keys: at least 4.5 to 1 on `PAPER` and on `SHADE`.
INK: Final = "#1c2230"
QUIET: Final = "#565e6e"
#: Helping lines, which carry no meaning that a word beside them does not.
GRID: Final = "#cdd3dd"

#: The hands, at least 4.5 to 1 on `PAPER`; told apart by shape and hatching as well.
LEFT: Final = "#0b6b66"
RIGHT: Final = "#8c2f5e"

FONT: Final = "system-ui, 'Segoe UI', 'Helvetica Neue', 'DejaVu Sans', sans-serif"


class MotionStyle(NamedTuple):
    """How a move is drawn: up to `most` semitones (None: any more), in px."""

    most: int | None
    colour: str
    width: float
    dash: str | None
    words: str


#: From calm to striking: each darker, wider and, from a third on, dashed. At least 3 to 1 on
#: `PAPER` and on `SHADE`.
MOTION_STYLES: Final = (
    MotionStyle(0, "#76869a", 1.6, None, "stays"),
    MotionStyle(1, "#1f7f78", 2.5, None, "half step"),
    MotionStyle(2, "#245c9e", 3.5, None, "whole step"),
    MotionStyle(4, "#6a2486", 4.5, "7 2", "third (3, 4)"),
    MotionStyle(None, "#6b0a1e", 5.6, "3 2", "5 and more"),
)


def motion_style(semitones: int) -> MotionStyle:
    """The level of a move, up or down.

    >>> motion_style(-1).words, motion_style(3).words, motion_style(12).words
    ('half step', 'third (3, 4)', '5 and more')
    """
    size = abs(semitones)
    return next(one for one in MOTION_STYLES if one.most is None or size <= one.most)
