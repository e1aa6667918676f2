"""Key distances, reaches and low interval limits against printed figures.

Octave 164 to 165 mm and the tail slots (C to E in five, F to B in seven, 21:20): piano makers'
references; centres and reaches computed from them. Hand spans: Boyle, Boyle and Booker 2015 and
paskpiano.org. Low limits: firm where three encodings agree (a music shop's glossary and two open
theory libraries).
"""

from __future__ import annotations

from math import erf, sqrt

import numpy as np
import pytest

from shortway.core.settings.keyboard import (
    KEY_MM,
    LOW_INTERVAL_LIMITS,
    OCTAVE_MM,
    REACHES,
    distance_mm,
    muddy,
    muddy_over,
)
from support.plain import CENTRES, LOW_LIMITS, pitch, pitches
from support.tables import each_row


@each_row("midi", range(128))
def test_key_centres_are_where_makers_put_them(midi: int) -> None:
    expected = 164.5 * (midi // 12) + CENTRES[midi % 12]
    assert KEY_MM[midi] == pytest.approx(expected, abs=0.006)


def test_the_octave_is_a_modern_pianos() -> None:
    assert 164 <= OCTAVE_MM <= 165
    assert 1215 <= 52 * OCTAVE_MM / 7 <= 1235  # the makers' band for 52 white keys


#: Least and greatest centre distance of an interval over the twelve roots, in mm.
SPANS = {
    12: (164.5, 164.5), 13: (172.9, 188.0), 14: (188.0, 197.4), 15: (199.8, 211.5),
    16: (211.5, 225.6), 17: (226.6, 235.0),
}  # fmt: skip


@pytest.mark.parametrize("semitones", sorted(SPANS))
def test_intervals_span_what_was_computed_from_the_slots(semitones: int) -> None:
    found = [distance_mm(low, low + semitones) for low in range(60, 72)]
    assert (round(min(found), 1), round(max(found), 1)) == SPANS[semitones]


def test_semitones_do_not_order_reach() -> None:
    assert distance_mm(62, 77) == pytest.approx(distance_mm(60, 76))  # D to F, C to E
    assert distance_mm(60, 75) == pytest.approx(202.1, abs=0.05)
    tenths = [distance_mm(low, low + 16) for low in range(60, 72)]
    assert [low for low in range(12) if tenths[low] < 212] == [0, 5, 7]  # C, F, G
    assert [low for low in range(12) if tenths[low] > 225] == [1, 11]  # Db, B


@pytest.mark.parametrize(
    ("reach", "semitones", "next_up"),
    [("octave", 12, 13), ("ninth", 14, 15), ("tenth", 16, 17), ("eleventh", 17, 18)],
)
def test_a_named_reach_takes_its_interval_from_every_key(
    reach: str, semitones: int, next_up: int
) -> None:
    """... and the next larger one from none; an eleventh's reach is F to B, too, ten whites up."""
    for low in range(21, 108 - next_up):
        assert distance_mm(low, low + semitones) <= REACHES[reach]
        if (reach, low % 12) != ("eleventh", 5):
            assert distance_mm(low, low + next_up) > REACHES[reach]


def test_reaches_agree_with_the_zones_of_measured_hands() -> None:
    """Zone edges 193, 216, 239 mm sit 4 to 5 mm above what each of these hands must span."""
    needed = {193: 188.0, 216: 211.5, 239: 235.0}
    narrowest = {193: distance_mm(60, 74), 216: distance_mm(60, 76), 239: REACHES["eleventh"]}
    for edge, distance in needed.items():
        assert narrowest[edge] == pytest.approx(distance, abs=0.1)
        assert 4 <= edge - distance <= 5


def share(mean_in: float, deviation_in: float, distance_mm_: float) -> float:
    """Share of normally distributed spans, in inches, that reach a distance and 5 mm."""
    z = ((distance_mm_ + 5) / 25.4 - mean_in) / deviation_in
    return 100 * (1 - erf(z / sqrt(2))) / 2


def test_few_women_and_most_men_take_a_tenth() -> None:
    """Reach 8.5 in: 13 % of women and 76 % of men (Boyle, Boyle and Booker; paskpiano.org)."""
    tenth = distance_mm(60, 76)
    assert share(7.9, 0.533, tenth) == pytest.approx(13, abs=2)
    assert share(8.9, 0.53, tenth) == pytest.approx(76, abs=2)
    ninth = distance_mm(60, 74)
    assert 100 - share(7.9, 0.533, ninth) == pytest.approx(100 / 3, abs=6)  # "nearly one third"


# --- low interval limits -------------------------------------------------------------------------

FIRM = {1: "E3", 2: "Eb3", 3: "C3", 9: "F2", 10: "F2", 11: "F2"}


@pytest.mark.parametrize(("semitones", "lowest"), FIRM.items())
def test_limits_that_three_sources_share(semitones: int, lowest: str) -> None:
    low = pitch(lowest)
    rows = np.array([[low, low + semitones], [low - 1, low - 1 + semitones]], np.int16)
    assert muddy(rows).tolist() == [False, True]


def test_the_table_is_that_of_the_open_library() -> None:
    """Table B of three; the others differ by a step or two outside the firm rows."""
    assert {n: pitch(name) for n, name in LOW_LIMITS.items()} == LOW_INTERVAL_LIMITS


def test_octaves_and_more_than_tenths_are_free() -> None:
    """Lowell and Pullig as quoted: no limit for unison and octave."""
    assert not muddy(np.array([[21, 33], [21, 38], [21, 45]], np.int16)).any()


@pytest.mark.parametrize(
    ("interval", "lowest"),
    [(3, "Eb3"), (4, "D3"), (10, "Eb3"), (11, "E3")],
)
def test_the_assumed_root_lifts_the_lowest_note(interval: int, lowest: str) -> None:
    """Computed from table B: the third of m7 from Eb3, of 7 from D3, the b7 from Eb3, the 7
    from E3. For any root: over all twelve, the least lowest note that is clear.
    """
    clear = [
        n for n in range(24, 60) if not muddy_over((n - interval) % 12, np.array([n], np.int16))[0]
    ]
    assert min(clear) == pitch(lowest)


PRINTED = """
    C3 E3 Bb3 D4 A4; C3 Bb3 E4 A4 D5; D3 C4 E4 F4 A4; G2 B3 E4 F4 A4; C2 E3 G3 B3 D4;
    G2 F3 A3 B3 E4; D2 F3 A3 C4 E4; Db2 B3 Eb4 F4 Bb4; F2 Eb3 A3 D4 G4; C3 F3 Bb3 D4 A4
"""


@pytest.mark.parametrize("notes", PRINTED.split(";"))
def test_printed_voicings_keep_the_limits(notes: str) -> None:
    """Hutchinson, *Music Theory for the 21st-Century Classroom*, jazz unit (GFDL), figures."""
    assert not muddy(np.array([pitches(notes)], np.int16)).any()


def test_a_quartal_stack_on_a2_is_below_them() -> None:
    """A fourth below Bb2 breaks the open theory library's table."""
    assert muddy(np.array([pitches("A2 D3 G3 C4 F4")], np.int16)).all()
