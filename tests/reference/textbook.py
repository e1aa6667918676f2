"""Voicings as a textbook prints them, chord by chord.

Hutchinson, *Music Theory for the 21st-Century Classroom*, jazz unit (GFDL), read from its
figures.
"""

from __future__ import annotations

from support.plain import pitches

Line = list[tuple[str, tuple[int, ...]]]


def line(text: str) -> Line:
    """``Dm9 D3 C4 E4; G13 ...`` as symbols and notes."""
    rows = [row.strip().partition(" ") for row in text.split(";")]
    return [(symbol, pitches(notes)) for symbol, _, notes in rows]


HUTCHINSON = {
    "ii V I close": "Dm9 D3 C4 E4 F4 A4; G13 G2 B3 E4 F4 A4; Cmaj9 C3 B3 D4 E4 G4",
    "ii V I spread": "Dm9 D2 F3 A3 C4 E4; G13 G2 F3 A3 B3 E4; Cmaj7 C2 E3 G3 B3 D4",
    "ii V i close": "Dm9(b5) D3 C4 E4 F4 Ab4; G7#9#5 G2 B3 Eb4 F4 Bb4; Cm6/9 C3 A3 D4 Eb4 G4",
    "tritone substitute": "Dm9 D2 C4 E4 F4 A4; Db13 Db2 B3 Eb4 F4 Bb4; Cmaj9 C2 B3 D4 E4 G4",
    "iii vi ii V": "Em7 E3 D4 E4 G4 B4; Am9 A2 C4 E4 G4 B4; Dm9 D3 C4 E4 F4 A4; G13 G2 B3 E4 F4 A4",
    "blues spread": "C6/9 C3 E3 A3 D4 G4; F13 F2 Eb3 A3 D4 G4; C13 C3 E3 Bb3 D4 A4;"
    "C7#9#5 C3 E3 Bb3 Eb4 Ab4; F13 F2 Eb3 A3 D4 G4; F13sus F2 Eb3 Bb3 D4 G4; F13 F2 Eb3 A3 D4 G4",
    "blues close": "C6/9 C3 A3 D4 E4 G4; F13 F3 A3 D4 Eb4 G4; C13 C3 Bb3 D4 E4 A4;"
    "C7#9#5 C3 Bb3 Eb4 E4 Ab4; F13 F2 A3 D4 Eb4 G4; F13sus F2 Bb3 D4 Eb4 G4; F13 F2 A3 D4 Eb4 G4",
}

#: Voicings that stand alone.
SINGLE = """
    C13 C3 E3 Bb3 D4 A4; C13 C3 Bb3 E4 A4 D5; C13 C3 Bb3 D4 E4 A4; C13 C3 E4 A4 Bb4 D5;
    C6/9 C3 E3 A3 D4 G4; C6/9 C3 A3 E4 G4 D5; C6/9 C3 A3 D4 E4 G4; C6/9 C3 E4 G4 A4 D5;
    C13sus C3 F3 Bb3 D4 A4; C13sus C3 Bb3 F4 A4 D5; C13sus C3 Bb3 D4 F4 A4; C13sus C3 F4 A4 Bb4 D5
"""
