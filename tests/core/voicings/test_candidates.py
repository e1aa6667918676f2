"""Voicings: the hard rules over every family, chord type, key and situation.

The judge is `support.rules`, which shares no code with the core.
"""

from __future__ import annotations

import random
from itertools import product

import pytest
from hypothesis import given
from hypothesis import strategies as st

from shortway.core.settings.families import FAMILIES
from shortway.core.settings.setting import resolve
from shortway.core.solver.solve import Listing, solve, voicings
from shortway.core.symbols.parser import parse
from shortway.core.theory.qualities import CHORD_TYPES
from shortway.core.voicings.candidates import candidates
from shortway.core.voicings.templates.rules import minor_ninth
from support.charts import RECIPES, ROOTS, SITUATIONS, SUFFIXES, symbols
from support.rules import broken
from support.tables import each_row

ALONE = [
    {"families": [family], "bass_player": bass}
    | ({"notes": 4} if family == "any-playable" else {"notes_vary": True})
    for family in FAMILIES
    for bass in (True, False)
]
#: Every suffix over every root, over four roots, and over every root with three basses: some drawn
#: for each, always the same.
SYMBOLS = [root + suffix for root in ROOTS for suffix in SUFFIXES]
FEWER = [root + suffix for suffix in SUFFIXES for root in random.Random(suffix).sample(ROOTS, 4)]
SLASHED = [
    f"{symbol}/{bass}" for symbol in SYMBOLS for bass in random.Random(symbol).sample(ROOTS, 3)
]


def faults(listing: Listing) -> list[str]:
    """What is wrong with a listing, voicing by voicing and as a whole."""
    found = [
        f"{listing.chord.symbol} {ranked.voicing.family} {ranked.voicing.midi_notes}: {fault}"
        for ranked in listing.voicings
        for fault in broken(listing.chord, ranked.voicing, listing.setting)
    ]
    order = [ranked.voicing.midi_notes for ranked in listing.voicings]
    if order != sorted(order):
        found.append(f"{listing.chord.symbol}: not lowest first")
    keys = {(ranked.voicing.family, ranked.voicing.midi_notes) for ranked in listing.voicings}
    if len(keys) < len(order):
        found.append(f"{listing.chord.symbol}: one voicing twice")
    if {len(ranked.voicing.upper) for ranked in listing.voicings} - set(listing.setting.sizes):
        found.append(f"{listing.chord.symbol}: another number of notes")
    return found


def test_the_suffixes_are_of_every_sort() -> None:
    assert {parse("C" + suffix).chord_type for suffix in SUFFIXES} | {"none"} == set(CHORD_TYPES)
    assert len(SUFFIXES) >= 50


@each_row("setting, symbol", [*product(SITUATIONS, SYMBOLS), *product(ALONE, FEWER)], sample=300)
def test_no_voicing_breaks_a_hard_rule(setting: dict[str, object], symbol: str) -> None:
    assert not faults(voicings(symbol, setting))


@each_row("setting, symbol", product(SITUATIONS, SLASHED), sample=100)
def test_nor_does_one_over_a_slash_bass(setting: dict[str, object], symbol: str) -> None:
    assert not faults(voicings(symbol, setting))


ODD = st.fixed_dictionaries(
    {},
    optional={
        "bass_player": st.booleans(),
        "tensions": st.sampled_from(["written", "available"]),
        "reach": st.sampled_from(["octave", "ninth", "tenth", "eleventh"]),
        "low_interval_limits": st.sampled_from(["assumed-root", "usual", "off"]),
        "lowest": st.sampled_from(["A1", "E2", "C3"]),
        "highest": st.sampled_from(["G4", "C7"]),
        "families": st.lists(st.sampled_from(RECIPES), min_size=1, max_size=4, unique=True),
    },
)


@given(symbols(), ODD)
def test_nor_under_settings_of_any_kind(symbol: str, setting: dict[str, object]) -> None:
    listing = voicings(symbol, {**setting, "notes_vary": True})
    assert not faults(listing)
    assert listing.total == len(listing.voicings)


@each_row("setting, symbol", product(SITUATIONS, [*SYMBOLS, *SLASHED]), sample=1000)
def test_every_chord_has_a_voicing_in_every_key(setting: dict[str, object], symbol: str) -> None:
    assert len(candidates(parse(symbol), resolve(setting)))


MINOR_NINTHS = [
    (("3", "4"), (4, 17), True),
    (("3", "4"), (4, 29), True),
    (("7", "1"), (11, 24), True),
    (("5", "b13"), (7, 20), True),
    (("1", "b9"), (0, 13), False),
    (("1", "b9"), (0, 25), False),
    (("7", "1"), (11, 12), False),
    (("3", "5"), (4, 19), False),
]


@pytest.mark.parametrize(("degrees", "offsets", "found"), MINOR_NINTHS)
def test_minor_ninths_and_their_compounds(
    degrees: tuple[str, ...], offsets: tuple[int, ...], found: bool
) -> None:
    """Half steps are none; over the root of a chord with b9 they are excused."""
    assert minor_ninth(degrees, offsets) is found


def test_the_flat_nine_may_lie_above_the_root() -> None:
    setting = {"families": ["drop-3"], "reach": "eleventh"}
    pairs = [
        {note.degree: note.midi for note in ranked.voicing.notes}
        for ranked in voicings("C7b9", setting).voicings
    ]
    assert any("1" in at and at.get("b9") == at["1"] + 13 for at in pairs)


@pytest.mark.parametrize("symbol", ["C", "F#", "Bb"])
def test_a_plain_triad_is_not_voiced_as_its_relative_minor(symbol: str) -> None:
    """Recorded: upper triads took the 6 for a tension and played A minor for C."""
    for ranked in voicings(symbol).voicings:
        degrees = {note.degree for note in ranked.voicing.notes}
        assert degrees - {"1", "3", "6"}, ranked.voicing.midi_notes


# --- the major seventh ---------------------------------------------------------------------------


@each_row("root", ROOTS)
@each_row("family", RECIPES)
@each_row("bass_player", [True, False])
def test_a_two_five_one_ends_on_a_good_one(family: str, root: str, bass_player: bool) -> None:
    """The third, the seventh or a sixth, no fourth; no root above a major seventh in a row."""
    at = ROOTS.index(root)
    text = f"| {ROOTS[(at + 2) % 12]}m7 | {ROOTS[(at + 7) % 12]}7 | {root}maj7 |"
    setting: dict[str, object] = {"families": [family], "bass_player": bass_player}
    setting["notes"] = FAMILIES[family].sizes(bass_player)[-1]
    resolved = resolve(setting)
    symbols_ = text.replace("|", "").split()
    if not all(len(candidates(parse(symbol), resolved)) for symbol in symbols_):
        assert not bass_player
        assert family in ("guide-tone-full", "guide-tone-extended", "upper-structure")
        return
    last = solve(text, resolved).steps[-1].voicing
    assert last is not None
    degrees = [note.degree for note in last.upper]
    assert "3" in degrees
    assert {"7", "6"} & set(degrees)
    assert not {"4", "11", "b7"} & set(degrees)
    if family not in ("close", "drop-2", "drop-3", "drop-2-4"):
        assert not ("7" in degrees and "1" in degrees[degrees.index("7") :])


# --- the listing ---------------------------------------------------------------------------------


@pytest.mark.parametrize("setting", SITUATIONS, ids=str)
def test_pages_make_the_whole(setting: dict[str, object]) -> None:
    whole = voicings("G13", setting)
    pages = [voicings("G13", setting, limit=3, offset=k) for k in range(0, whole.total, 3)]
    assert [v for page in pages for v in page.voicings] == list(whole.voicings)
    assert {page.total for page in pages} == {whole.total}
    assert voicings("G13", setting, offset=whole.total).voicings == ()


@given(symbols(), st.lists(st.integers(36, 84), min_size=1, max_size=7, unique=True))
def test_after_sounding_notes_the_least_costly_come_first(symbol: str, notes: list[int]) -> None:
    listing = voicings(symbol, after=notes)
    costs = [ranked.cost or 0 for ranked in listing.voicings]
    assert costs == sorted(costs)
    plain = voicings(symbol)
    assert {v.voicing for v in listing.voicings} == {v.voicing for v in plain.voicings}
    assert all(ranked.motion is None for ranked in plain.voicings)


def test_no_chord_has_no_voicing() -> None:
    assert voicings("N.C.").total == 0
    assert voicings("N.C.", after=[60]).voicings == ()


def test_spelling_is_the_chords() -> None:
    flat = {note.note[:-1] for r in voicings("Gb7").voicings for note in r.voicing.notes}
    sharp = {note.note[:-1] for r in voicings("F#7").voicings for note in r.voicing.notes}
    assert {"Bb", "Fb"} <= flat
    assert {"A#", "E"} <= sharp
    assert not flat & {"A#", "E"}


@pytest.mark.parametrize("symbol", ["C7", "Abm7b5", "F#maj9"])
def test_enharmonic_spelling_changes_no_key(symbol: str) -> None:
    other = {"C7": "B#7", "Abm7b5": "G#m7b5", "F#maj9": "Gbmaj9"}[symbol]
    a, b = voicings(symbol), voicings(other)
    assert [r.voicing.midi_notes for r in a.voicings] == [r.voicing.midi_notes for r in b.voicings]


def test_waived_rules_only_add() -> None:
    setting = {"families": ["close", "drop-2"]}
    strict = {r.voicing.midi_notes for r in voicings("Cmaj7", setting).voicings}
    for rule in ("guide-tones", "colours", "minor-ninths"):
        waived = {
            r.voicing.midi_notes for r in voicings("Cmaj7", {**setting, "waive": [rule]}).voicings
        }
        assert strict <= waived
    everything = {**setting, "waive": ["guide-tones", "minor-ninths"]}
    assert strict < {r.voicing.midi_notes for r in voicings("Cmaj7", everything).voicings}
