"""What requests share changes no answer: each is the same with every cache empty."""

from __future__ import annotations

from shortway.core import cache
from shortway.core.solver import solve

#: Chords of few tones, whose candidates are the same whatever their function, and chords that stand
#: in several functions: in each chart with other colours, or spelled otherwise.
CHARTS = (
    "| Dm7 | G7 | Cmaj7 | Am7 |",
    "| Dm7 | Cmaj7 | Dm7 G7 | Cmaj7 |",
    "| Bb | Am7b5 D7 | Gm6 | Dm7 |",
    "| C5 | G5 | C5 | G7 |",
    "| F | C5 | G5 | Bb7 |",
    "| G5 | C5 | Eb | Bb |",
    "| Gsus | Csus | F#m7b5 B7 | Em |",
    "| Gsus | C | Gsus G7 | Cm |",
    "| C#m7 | F#7 | Bmaj7 | D#m7 |",
    "| Dbm7 | Gb7 | Cbmaj7 | Ebm7 |",
    "| Dm7 | G7sus | G7 | C6 |",
    "| Dm7 | G7 | Cm6 | C6 |",
    "| Ab7 | G7 | Cm7 | F7 |",
)
SETTINGS: tuple[dict[str, object], ...] = (
    {}, {"hands": "left"}, {"bass_player": False},
)  # fmt: skip


def test_what_was_asked_before_changes_no_answer() -> None:
    asked = [(chart, setting) for setting in SETTINGS for chart in CHARTS]
    first = [solve.solve(*of, alternatives=1) for of in asked]
    assert [solve.solve(*of, alternatives=1) for of in reversed(asked)] == first[::-1]
    for of, warm in zip(asked, first, strict=True):
        for one in cache._CACHES:
            one.clear()
        assert solve.solve(*of, alternatives=1) == warm, of
