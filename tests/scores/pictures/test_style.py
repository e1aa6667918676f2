"""Colours of the pictures, by the formulas of WCAG 2.2 (W3C Recommendation).

Relative luminance and contrast ratio as its glossary defines them; 1.4.3: 4.5 to 1 for text;
1.4.11: 3 to 1 for what carries meaning without being text. Colour-blind readers: the simulation
of Viénot, Brettel and Mollon 1999 (linear RGB matrices for protan and deutan vision).
"""

from __future__ import annotations

from itertools import pairwise

import pytest

from shortway.scores.pictures import style as ink
from support.pictures import contrast, luminance

GROUNDS = (ink.PAPER, ink.SHADE)


def test_the_formula_gives_its_published_ends() -> None:
    """WCAG: 21 to 1 for black on white, 1 to 1 for like on like; #777777 just misses 4.5."""
    assert contrast("#000000", "#ffffff") == pytest.approx(21)
    assert contrast("#777777", "#777777") == 1
    assert contrast("#777777", "#ffffff") == pytest.approx(4.48, abs=0.005)


@pytest.mark.parametrize("ground", GROUNDS)
@pytest.mark.parametrize("colour", [ink.INK, ink.QUIET, ink.LEFT, ink.RIGHT])
def test_words_are_readable(colour: str, ground: str) -> None:
    assert contrast(colour, ground) >= 4.5


@pytest.mark.parametrize("ground", GROUNDS)
@pytest.mark.parametrize("level", ink.MOTION_STYLES)
def test_strokes_are_seen(level: ink.MotionStyle, ground: str) -> None:
    assert contrast(level.colour, ground) >= 3


def test_marks_show_on_black_keys_by_their_rim() -> None:
    assert contrast(ink.PAPER, ink.INK) >= 3


def test_the_farther_a_voice_moves_the_darker_and_wider_its_stroke() -> None:
    for near, far in pairwise(ink.MOTION_STYLES):
        assert luminance(far.colour) < 0.8 * luminance(near.colour)
        assert far.width >= near.width + 0.8
    assert len({level.dash for level in ink.MOTION_STYLES[2:]}) == 3


#: Viénot, Brettel and Mollon 1999, as linear RGB matrices.
BLIND = {
    "protan": ((0.11238, 0.88762, 0.0), (0.11238, 0.88762, 0.0), (0.00401, -0.00401, 1.0)),
    "deutan": ((0.29275, 0.70725, 0.0), (0.29275, 0.70725, 0.0), (-0.02234, 0.02234, 1.0)),
}


@pytest.mark.parametrize("sight", BLIND)
def test_the_order_holds_without_red_or_green(sight: str) -> None:
    seen = [_luminance_seen(level.colour, BLIND[sight]) for level in ink.MOTION_STYLES]
    assert seen == sorted(seen, reverse=True)


def _luminance_seen(colour: str, matrix: tuple[tuple[float, ...], ...]) -> float:
    linear = [luminance(f"#{'00' * k}{colour[1 + 2 * k : 3 + 2 * k]}{'00' * (2 - k)}")
              / (0.2126, 0.7152, 0.0722)[k] for k in range(3)]  # fmt: skip
    mixed = [sum(m * v for m, v in zip(row, linear, strict=True)) for row in matrix]
    return 0.2126 * mixed[0] + 0.7152 * mixed[1] + 0.0722 * mixed[2]


def test_every_distance_has_one_level() -> None:
    assert [ink.MOTION_STYLES.index(ink.motion_style(n)) for n in range(7)] == [0, 1, 2, 3, 3, 4, 4]
    assert all(ink.motion_style(-n) is ink.motion_style(n) for n in range(128))
