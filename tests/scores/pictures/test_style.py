"""Colours of the pictures, by the formulas of WCAG 2.2 (W3C Recommendation).

Relative luminance and contrast ratio as its glossary defines them; 1.4.3: 4.5 to 1 for text;
1.4.11: 3 to 1 for what carries meaning without being text. Colour-blind readers: the simulation
of Viénot, Brettel and Mollon 1999 (linear RGB matrices for protan and deutan vision).
"""

from __future__ import annotations

from collections.abc import Mapping
from itertools import pairwise

import pytest

from shortway.scores.pictures import style as ink
from support.pictures import contrast, luminance

THEMES = tuple(ink.THEMES.values())


@pytest.fixture(params=ink.THEMES, name="theme")
def _theme(request: pytest.FixtureRequest) -> Mapping[str, str]:
    return ink.THEMES[request.param]


def grounds(theme: Mapping[str, str]) -> list[str]:
    return [theme[ink.PAPER], theme[ink.SHADE]]


def test_the_formula_gives_its_published_ends() -> None:
    """WCAG: 21 to 1 for black on white, 1 to 1 for like on like; #777777 just misses 4.5."""
    assert contrast("#000000", "#ffffff") == pytest.approx(21)
    assert contrast("#777777", "#777777") == 1
    assert contrast("#777777", "#ffffff") == pytest.approx(4.48, abs=0.005)


def test_themes_have_the_same_colours() -> None:
    assert all(theme.keys() == THEMES[0].keys() for theme in THEMES)


@pytest.mark.parametrize("colour", [ink.INK, ink.QUIET, ink.LEFT, ink.RIGHT])
def test_words_are_readable(colour: str, theme: Mapping[str, str]) -> None:
    assert all(contrast(theme[colour], ground) >= 4.5 for ground in grounds(theme))


@pytest.mark.parametrize("level", ink.MOTION_STYLES)
def test_strokes_are_seen(level: ink.MotionStyle, theme: Mapping[str, str]) -> None:
    assert all(contrast(theme[level.colour], ground) >= 3 for ground in grounds(theme))


def test_marks_show_on_white_keys_and_on_black_keys_by_their_rim(theme: Mapping[str, str]) -> None:
    white, black = theme[ink.WHITE_KEY], theme[ink.BLACK_KEY]
    assert contrast(white, black) >= 3
    for mark in (ink.MARK_LEFT, ink.MARK_RIGHT, ink.KEY_TEXT):
        assert contrast(theme[mark], white) >= 4.5


def test_the_farther_a_voice_moves_the_more_its_stroke_differs_from_the_background(
    theme: Mapping[str, str],
) -> None:
    for near, far in pairwise(ink.MOTION_STYLES):
        seen = [contrast(theme[level.colour], theme[ink.PAPER]) for level in (near, far)]
        assert seen[1] > 1.15 * seen[0]
        assert far.width >= near.width + 0.8
    assert len({level.dash for level in ink.MOTION_STYLES[2:]}) == 3


#: Viénot, Brettel and Mollon 1999, as linear RGB matrices.
BLIND = {
    "protan": ((0.11238, 0.88762, 0.0), (0.11238, 0.88762, 0.0), (0.00401, -0.00401, 1.0)),
    "deutan": ((0.29275, 0.70725, 0.0), (0.29275, 0.70725, 0.0), (-0.02234, 0.02234, 1.0)),
}


@pytest.mark.parametrize("sight", BLIND)
def test_the_order_holds_without_red_or_green(sight: str, theme: Mapping[str, str]) -> None:
    seen = [_luminance_seen(theme[level.colour], BLIND[sight]) for level in ink.MOTION_STYLES]
    assert seen == sorted(seen, reverse=theme is ink.THEMES["light"])


def _luminance_seen(colour: str, matrix: tuple[tuple[float, ...], ...]) -> float:
    linear = [luminance(f"#{'00' * k}{colour[1 + 2 * k : 3 + 2 * k]}{'00' * (2 - k)}")
              / (0.2126, 0.7152, 0.0722)[k] for k in range(3)]  # fmt: skip
    mixed = [sum(m * v for m, v in zip(row, linear, strict=True)) for row in matrix]
    return 0.2126 * mixed[0] + 0.7152 * mixed[1] + 0.0722 * mixed[2]


def test_every_distance_has_one_level() -> None:
    assert [ink.MOTION_STYLES.index(ink.motion_style(n)) for n in range(7)] == [0, 1, 2, 3, 3, 4, 4]
    assert all(ink.motion_style(-n) is ink.motion_style(n) for n in range(128))
