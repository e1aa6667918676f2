"""Charts and settings for tests: symbols of many kinds, random charts, the situations."""

from __future__ import annotations

import re
from typing import Any

from hypothesis import strategies as st

from shortway.core.settings.families import FAMILIES
from shortway.page import example_charts

ROOTS = ("C", "Db", "D", "Eb", "E", "F", "Gb", "G", "Ab", "A", "Bb", "B")

#: Suffixes of every sort, from plain triads to stacks.
SUFFIXES = (
    "", "m", "dim", "aug", "5", "sus", "sus2", "add9", "madd9", "add11", "(no5)", "2", "mb6",
    "6", "m6", "6/9", "m6/9", "maj7", "maj9", "maj13", "maj7#11", "maj7#5", "maj7b5",
    "m7", "m9", "m11", "m13", "m7#5", "m7(no5)", "mM7", "mM9",
    "7", "9", "13", "11", "7b9", "7#9", "7#11", "7b5", "7#5", "7b13", "7b9b13", "7#9#5", "13b9",
    "13#11", "7alt", "7b5#9", "7b9#11", "9#5", "9b5", "7(no3)",
    "7sus", "9sus", "13sus", "7susb9", "m7b5", "m9b5", "m11b5", "dim7", "dim9",
)  # fmt: skip

SITUATIONS: tuple[dict[str, object], ...] = tuple(
    {"bass_player": bass_player, "hands": hands}
    for bass_player in (True, False)
    for hands in ("both", "left", "right")
)

#: Settings that differ in kind.
#: Families that have a recipe: all but the one that has none.
RECIPES = [name for name, family in FAMILIES.items() if family.built != "every"]

SETTINGS: tuple[dict[str, object], ...] = (
    *SITUATIONS,
    {"families": ["guide-tone"]},
    {"families": ["guide-tone-full"]},
    {"families": ["guide-tone", "guide-tone-extended"], "notes_vary": True},
    {"families": ["close", "drop-2"], "notes": 4, "lowest": "C4", "highest": "C6"},
    {"families": ["spread"], "notes": 4, "bass_player": False},
    {"families": ["shell", "rootless-three"], "notes_vary": True, "split_cost": 2},
    {"repeats": "change"},
    {"bass_player": False, "repeats": "change"},
)


def demo_charts() -> dict[str, str]:
    """The texts of the demo charts by file name."""
    return dict(example_charts())


def symbols() -> st.SearchStrategy[str]:
    """Chord symbols; some over a slash bass, few N.C."""
    plain = st.builds("".join, st.tuples(st.sampled_from(ROOTS), st.sampled_from(SUFFIXES)))
    slashed = st.builds("{}/{}".format, plain, st.sampled_from(ROOTS))
    return st.one_of(plain, plain, plain, slashed, st.just("N.C."))


@st.composite
def charts(draw: st.DrawFn, most: int = 7, least: int = 1) -> str:
    """A chart of `least` to `most` measures out of a few symbols, so that chords come back."""
    pool = draw(st.lists(symbols(), min_size=1, max_size=4, unique=True))
    steps = draw(st.lists(st.sampled_from(pool), min_size=least, max_size=most))
    return "| " + " | ".join(steps) + " |"


def transposed(text: str, by: int) -> str:
    """A chart whose roots and basses are the twelve of `ROOTS`, moved up."""
    return re.sub(
        r"(?<=[ /])([A-G]b?)(?=[^.])", lambda m: ROOTS[(ROOTS.index(m[1]) + by) % 12], text
    )


def placeless(answer: Any) -> Any:
    """An answer without the places of its symbols in a text, which other forms of a chart lack."""
    if isinstance(answer, dict):
        shown = answer.keys() - {"line", "column", "length"}
        return {name: placeless(answer[name]) for name in shown}
    return [placeless(item) for item in answer] if isinstance(answer, list) else answer
