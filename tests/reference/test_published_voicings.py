"""Voicings that others published, each listed by a family that a player would name.

LEVINE: *The Jazz Theory Book* (Sher Music, 1995), by figure, notes from a third party's
re-engraving. Two handouts are named beside their rows. Low interval limits are the usual ones and
the range is as wide as the book's; the tensions are what the symbol's own theory allows.
"""

from __future__ import annotations

import pytest

from shortway.core.settings.setting import resolve
from shortway.core.symbols.parser import parse
from shortway.core.voicings.candidates import candidates
from support.plain import pitches

#: Source, symbol, notes, family; a row whose first note is the bass is a player's without one.
LISTED = [
    ("LEVINE 2-17", "Dm7", "D2 | F4 C5", "shell"),
    ("LEVINE 13-9", "Db7", "Db2 | B3 F4", "shell"),
    ("LEVINE 3-24", "G9sus", "G2 | C4 F4 A4", "rootless-three"),
    ("LEVINE 3-29", "G13sus", "G2 | C4 E4 F4 A4", "rootless"),
    ("LEVINE 3-62", "G7alt", "G2 | F3 B3 Eb4 Bb4", "spread"),
    ("LEVINE 3-62", "Cm(maj9)", "C3 | Eb3 B3 D4 G4", "spread"),
    ("LEVINE 3-109", "F9#11", "F3 | A3 Eb4 G4 B4", "spread"),
    ("LEVINE 3-109", "B7alt", "B2 | D#3 A3 D4 G4 B4", "upper-structure"),
    ("LEVINE 13-56", "Bb13#11", "Bb2 | Ab3 C4 E4 G4", "rootless"),
    ("LEVINE 13-57", "Fmaj9", "F2 | G3 A3 C4 E4", "close"),
    ("LEVINE 13-99", "Bb13b9", "Ab3 D4 G4 B4 D5 G5", "upper-structure"),
    ("LEVINE 7-23", "C6", "C2 | G3 A3 C4 E4", "close"),
    ("LEVINE 7-23", "Bdim7/G", "G2 | Ab3 B3 D4 F4", "close"),
    ("LEVINE 9-54", "Bb6/9", "D3 F3 G3 C4", "rootless"),
    ("LEVINE 13-24", "C9", "E3 Bb3 D4", "rootless-three"),
    ("LEVINE 13-24", "F#13", "E3 G#3 A#3 D#4", "rootless"),
    ("LEVINE 3-114", "Dm11b5", "D3 G3 Ab3 C4", "rootless"),
    ("LEVINE 3-114", "G7alt", "F3 Bb3 B3 Eb4", "rootless"),
    ("LEVINE 3-126", "G13b9", "F3 Ab3 B3 E4", "rootless"),
    ("LEVINE 9-47", "E7susb9", "E3 F3 A3 B3", "rootless"),
    ("LEVINE 23-9", "Dm7b5", "D3 F3 Ab3 C4", "close"),
    ("Dyas, Common Jazz Piano Voicings", "C13", "E3 A3 Bb3 D4", "rootless"),
    ("Richards, Two-handed chord voicings", "Dm9", "D3 | C4 F4 A4 E5", "spread"),
    ("Richards, Two-handed chord voicings", "G9", "G3 | B3 F4 A4 D5", "spread"),
]

#: What no family lists, and why; each would be played otherwise.
UNLISTED = [
    # No third, and seats for one: the family's would have F for its lowest upper note.
    ("LEVINE 3-62", "Dm9b5", "D3 | Ab3 C4 E4", ("rootless-three", "spread")),
    # A fourth and a major third at once; the symbol is a sus.
    ("LEVINE 23-3", "F13sus", "F3 | Bb3 Eb4 G4 A4", ("rootless", "close", "spread")),
    # A half step below E3, which the low interval limits forbid.
    ("LEVINE 9-54", "F13", "D3 Eb3 G3 A3", ("rootless", "close")),
    ("LEVINE 15-32", "Ab/D", "D3 | Eb3 Ab3 C4", ("rootless-three", "spread")),
    # No root over the fifth in the bass, where nobody else plays it.
    ("LEVINE 3-93", "Gm(maj7)/D", "D2 | Bb3 D4 F#4 A4", ("rootless", "spread")),
]


def listed(symbol: str, text: str, family: str) -> bool:
    """Whether `family` lists the notes of `text`, a bar after the bass that the player strikes."""
    bass, bar, upper = text.rpartition("|")
    notes = pitches(upper.strip())
    setting = resolve(
        {
            "families": [family],
            "notes": len(notes),
            "bass_player": not bar,
            "lowest": "A1",
            "highest": "C6",
            "low_interval_limits": "usual",
            "reach": "tenth",
        }
    )
    chord = parse(symbol)
    wanted = (*pitches(bass.strip()), *notes) if bar else notes
    found = [candidates(chord, setting, added) for added in (chord.colours, chord.content.tensions)]
    return any(of.index_of(wanted) is not None for of in found)


@pytest.mark.parametrize(("source", "symbol", "notes", "family"), LISTED)
def test_a_published_voicing_is_listed(source: str, symbol: str, notes: str, family: str) -> None:
    assert listed(symbol, notes, family), source


@pytest.mark.parametrize(("source", "symbol", "notes", "families"), UNLISTED)
def test_what_would_be_played_otherwise_is_not(
    source: str, symbol: str, notes: str, families: tuple[str, ...]
) -> None:
    assert not any(listed(symbol, notes, family) for family in families), source
