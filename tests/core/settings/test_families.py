"""The families: their table, written here once more, and that every family serves what it says."""

from __future__ import annotations

from itertools import product

import pytest

from shortway.core.settings.families import FAMILIES, SEATS, shared_voices
from shortway.core.settings.setting import resolve
from shortway.core.settings.situations import SITUATIONS
from shortway.core.symbols.parser import parse
from shortway.core.theory.qualities import CHORD_TYPES
from shortway.core.voicings.candidates import candidates
from support.charts import RECIPES, ROOTS
from support.tables import each_row

#: Hands, voices and rows of each family, written once more: common practice, no source.
CONTRACT = {
    "guide-tone": ("both", (4,), ["3 7 | 1 5", "7 3 | 5 1"]),
    "guide-tone-extended": ("both", (5,), ["3 7 | 9 5 1", "7 3 | 13 9 5"]),
    "guide-tone-full": ("both", (6,), ["3 7 9 | 13 9 5", "7 3 | 13 9 5 1", "7 3 13 | 3 13 9"]),
    "rootless-three": ("left", (3,), ["3 7 9", "7 3 13"]),
    "rootless": ("left", (4,), ["3 5 7 9", "7 9 3 5", "3 13 7 9", "7 9 3 13"]),
}

#: One symbol of every sort that its family could not complain about.
PLAIN = {
    "power": "5", "major": "", "minor": "m", "augmented": "aug", "diminished": "dim",
    "suspended": "sus", "major-sixth": "6", "minor-sixth": "m6", "major-seventh": "maj7",
    "augmented-major-seventh": "maj7#5", "minor-seventh": "m7", "minor-major-seventh": "mM7",
    "dominant": "7", "dominant-suspended": "7sus", "half-diminished": "m7b5",
    "diminished-seventh": "dim7",
}  # fmt: skip


#: Symbols with tensions that an upper structure is made of.
TENSE = PLAIN | {
    "minor-sixth": "m6/9", "major-seventh": "maj9#11", "minor-seventh": "m11",
    "minor-major-seventh": "mM11", "dominant": "13#11", "dominant-suspended": "13sus",
}  # fmt: skip


def test_the_contracts_families_in_its_order() -> None:
    assert list(FAMILIES) == [
        "guide-tone", "guide-tone-extended", "guide-tone-full", "shell", "rootless-three",
        "rootless", "close", "drop-2", "drop-3", "drop-2-4", "fourths", "guide-tone-colours",
        "upper-structure", "spread", "any-playable",
    ]  # fmt: skip


@pytest.mark.parametrize("name", CONTRACT)
def test_rows_are_the_contracts(name: str) -> None:
    hand, voices, rows = CONTRACT[name]
    family = FAMILIES[name]
    assert hand in family.hands
    assert family.voices == voices
    for row in rows:
        left, _, right = row.partition("|")
        seats = (*left.split(), *right.split())
        recipe = next(recipe for recipe in family.recipes if recipe.seats == seats)
        assert recipe.left == len(left.split())


def test_every_seat_has_its_row() -> None:
    used = {
        seat for family in FAMILIES.values() for recipe in family.recipes for seat in recipe.seats
    }
    assert used <= set(SEATS)


def test_every_sort_has_a_plain_symbol() -> None:
    assert {parse("C" + suffix).chord_type: suffix for suffix in PLAIN.values()} == PLAIN
    assert {*PLAIN, "none"} == set(CHORD_TYPES)


@each_row("name, chord_type", product(RECIPES, PLAIN), sample=60)
def test_a_family_plays_itself_what_it_says_it_serves(name: str, chord_type: str) -> None:
    """In all twelve keys, at one of its sizes at least, with a bass player."""
    family = FAMILIES[name]
    suffix = (TENSE if name == "upper-structure" else PLAIN)[chord_type]
    able = [
        all(
            any(found.family(k) == name for k in range(len(found)))
            for found in (candidates(parse(root + suffix), setting) for root in ROOTS)
        )
        for setting in (resolve({"families": [name], "notes": n}) for n in family.voices)
    ]
    assert any(able) != (chord_type in family.unserved)


@each_row("name, bass_player, suffix", product(RECIPES, [True, False], PLAIN.values()), sample=60)
def test_what_a_family_cannot_play_its_neighbour_does(
    name: str, bass_player: bool, suffix: str
) -> None:
    """Every plain chord in every key, at every size, with or without a bass player."""
    for notes in FAMILIES[name].sizes(bass_player):
        setting = resolve({"families": [name], "notes": notes, "bass_player": bass_player})
        for root in ROOTS:
            found = candidates(parse(root + suffix), setting)
            assert len(found), f"{root}{suffix} with {notes}"
            chain = neighbours(name, notes)
            assert {found.family(k) for k in range(len(found))} <= set(chain)


def neighbours(name: str, notes: int) -> list[str]:
    """The family and whoever stands in for it, and for them."""
    chain = [name]
    while (after := dict(FAMILIES[chain[-1]].neighbour).get(notes)) is not None:
        assert after not in chain
        assert notes in FAMILIES[after].voices
        chain.append(after)
    return chain


@each_row("name", [n for n in RECIPES if "left" in FAMILIES[n].hands])
@each_row("hands", ["left", "right"])
def test_a_family_for_one_hand_has_a_place_for_it_in_every_key(name: str, hands: str) -> None:
    for notes in FAMILIES[name].voices:
        setting: dict[str, object] = {"families": [name], "notes": notes, "hands": hands}
        if name.startswith("drop"):
            setting |= {"lowest": "Bb2", "highest": "C6", "reach": "eleventh"}
        for root in ROOTS:
            assert len(candidates(parse(root + "m7"), resolve(setting))), root


def test_shared_sizes() -> None:
    assert shared_voices(("spread", "rootless"), bass_player=False) == (4,)
    assert shared_voices(("guide-tone", "guide-tone-full"), bass_player=True) == ()
    assert shared_voices(("fourths",), bass_player=True) == (3, 4, 5)


def test_situations_default_to_families_that_their_hands_can_play() -> None:
    for (hands, bass_player), situation in SITUATIONS.items():
        for name in situation.families:
            assert hands == "both" or hands in FAMILIES[name].hands
            assert situation.notes in FAMILIES[name].sizes(bass_player)
