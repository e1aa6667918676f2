"""Moves that others published, and how high they rank among everything that could follow.

After a published voicing every playable voicing of the next chord is ranked, by motion alone and
by cost; the published next voicing should come early. LEVINE: *The Jazz Theory Book* (Sher Music,
1995), by figure, notes from a third party's re-engraving. Others are named beside their chains.
"""

from __future__ import annotations

from functools import cache
from itertools import pairwise
from typing import NamedTuple

import numpy as np
import pytest

from reference.textbook import HUTCHINSON, Line, line
from shortway.core.solver.problem import PathProblem
from shortway.core.solver.request import as_chart, build_problem
from shortway.core.voice_leading.distance import moves_between
from shortway.core.voice_leading.move_costs import move_costs
from shortway.core.voicings.candidate_arrays import sounding

#: Key and chain by source. Practice sheets that are engraved in the treble staff stand an octave
#: lower here; where no octave is given, it is the left hand's.
ROOTLESS = {
    "LEVINE 3-114": ("Cm", "Dm11b5 D3 G3 Ab3 C4; G7alt F3 Bb3 B3 Eb4"),
    "LEVINE 9-54": ("Bb", "Cm9 Eb3 G3 Bb3 D4; F13 D3 Eb3 G3 A3; Bb6/9 D3 F3 G3 C4"),
    "LEVINE 23-9": ("Cm", "Dm7b5 D3 F3 Ab3 C4; G13b9 F3 Ab3 B3 E4; Cm(maj9) Eb3 G3 B3 D4"),
    "G. Loose, ii-v-i.ly": ("C", "Dm9 C4 E4 F4 A4; G13 B3 E4 F4 A4; Cmaj9 B3 D4 E4 G4"),
    "G. Loose, ii-v-i-alt.ly": (
        "Ab",
        "Bbm9 Ab3 C4 Db4 F4; Eb7#5#9 G3 B3 Db4 F#4; Abmaj9 G3 Bb3 C4 Eb4",
    ),
    "learnjazzpiano.com, B form": (
        "G",
        "Am7 G3 B3 C4 E4; D7 F#3 B3 C4 E4; Gmaj7 E3 A3 B3 D4",
    ),
}
KEYS = {"ii V i close": "Cm"}
OVER_A_ROOT = {
    **{f"HUTCHINSON {name}": (KEYS.get(name, "C"), text) for name, text in HUTCHINSON.items()},
    "LEVINE 3-24": (None, "G9sus G2 C4 F4 A4; G9 G2 B3 F4 A4"),
    "LEVINE 3-62": ("Cm", "G7alt G2 F3 B3 Eb4 Bb4; Cm(maj9) C3 Eb3 B3 D4 G4"),
    "LEVINE 13-56": ("A", "Bb13#11 Bb2 Ab3 C4 E4 G4; Amaj9 A2 G#3 B3 C#4 E4"),
    "Richards, Two-handed chord voicings": (
        "C",
        "Dm9 D3 C4 F4 A4 E5; G9 G3 B3 F4 A4 D5; Cmaj9 C3 B3 E4 G4 D5",
    ),
}
SETTING = {
    "families": ["any-playable"],
    "lowest": "A1",
    "highest": "C6",
    "reach": "tenth",
    "low_interval_limits": "usual",
}


class Shares(NamedTuple):
    """Of so many moves how many end in the first place, and how many in the first three."""

    moves: int
    first: int
    three: int


def ranks(key: str | None, chain: Line, pricing: str, *, bass: bool) -> list[int | None]:
    """The place of each published next voicing, from 0; None where it is not listed."""
    symbols = " | ".join(symbol for symbol, _ in chain)
    hands: dict[str, object] = {"bass_player": False} if bass else {"hands": "left"}
    setting = {**SETTING, **hands, "notes": len(chain[0][1]) - bass, "pricing": pricing}
    text = (f"key: {key}\n" if key else "") + f"| {symbols} |"
    problem = build_problem(as_chart(text), setting)
    return [
        place(problem, k, before, after)
        for k, ((_, before), (_, after)) in enumerate(pairwise(chain))
    ]


def place(
    problem: PathProblem, k: int, before: tuple[int, ...], after: tuple[int, ...]
) -> int | None:
    """The place of `after` among the voicings over its bass that may follow `before`."""
    listed, own = problem.candidates[k + 1], problem.costs[k + 1]
    played = sounding(before, has_bass=listed.has_bass)
    moves = moves_between(played, listed, problem.setting.split_cost)
    change = problem.change(k, k + 1)
    cost = move_costs(played, listed, problem.setting.split_cost, change)[0] + own.price
    keys = (own.home, moves.top[0], moves.squares[0], own.lacking, moves.motion[0], cost)
    ordered = [listed.midi(int(row)) for row in np.lexsort(keys)]
    over = [midi for midi in ordered if not listed.has_bass or midi[0] == after[0]]
    return over.index(after) if after in over else None


@cache
def shares(kind: str, pricing: str) -> Shares:
    """The shares of all chains of a kind."""
    bass = kind == "over a root"
    places = [
        place
        for key, text in (OVER_A_ROOT if bass else ROOTLESS).values()
        for place in ranks(key, line(text), pricing, bass=bass)
    ]
    found = [place for place in places if place is not None]
    return Shares(len(places), sum(p == 0 for p in found), sum(p < 3 for p in found))


#: As measured: no change of a rule or a price may rank these chains lower.
FLOOR = {"rootless": Shares(11, 5, 8), "over a root": Shares(28, 19, 26)}


@pytest.mark.parametrize("kind", FLOOR)
def test_published_moves_rank_as_high_as_measured(kind: str) -> None:
    found, floor = shares(kind, "comfort"), FLOOR[kind]
    assert found.moves == floor.moves
    assert found.first >= floor.first
    assert found.three >= floor.three


@pytest.mark.parametrize("kind", FLOOR)
def test_prices_rank_published_moves_higher_than_motion_alone(kind: str) -> None:
    by_cost, by_motion = shares(kind, "comfort"), shares(kind, "none")
    assert by_cost.first > by_motion.first
    assert by_cost.three > by_motion.three
