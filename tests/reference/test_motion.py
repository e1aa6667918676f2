"""Voice-leading sizes against published figures, scipy, and the least edge cover of graph theory.

Published values have their source in the row. scipy's
assignment solver judges bijections; for doublings the least edge cover of a bipartite graph is
found by the textbook reduction to a matching (Schrijver, *Combinatorial Optimization*, section
19.3; from memory): cheapest edge at every note, less what a matching saves.
"""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.optimize import linear_sum_assignment

from shortway.core.voice_leading.distance import least_assignment, least_class_assignment
from support.tables import each_row

TYMOCZKO = "Tymoczko, Science 313:72-74 (2006), supporting text, figure S12"
COHN = "Cohn, Journal of Music Theory 41 (1997): P and L one semitone, R a whole tone"
PACKAGE = "tests of an open R and C++ package for minimal voice leadings"
MUSICMCT = "musicMCT (CRAN), tests and documentation"
COMPUTED = "computed with scipy, which reproduces the published rows"

SHAPES = {
    "": (0, 4, 7), "m": (0, 3, 7), "aug": (0, 4, 8), "maj7": (0, 4, 7, 11), "7": (0, 4, 7, 10),
    "m7": (0, 3, 7, 10), "ø7": (0, 3, 6, 10), "o7": (0, 3, 6, 9), "m(maj7)": (0, 3, 7, 11),
}  # fmt: skip
ROOTS = {
    "C": 0, "Db": 1, "D": 2, "Eb": 3, "E": 4, "F": 5, "F#": 6, "G": 7, "Ab": 8, "A": 9, "B": 11,
}  # fmt: skip


def classes(name: str) -> tuple[int, ...]:
    """Pitch classes of a plain chord name."""
    root = name[:2] if name[:2] in ROOTS else name[:1]
    return tuple((ROOTS[root] + n) % 12 for n in SHAPES[name[len(root) :]])


PUBLISHED = [
    ("C", "Cm", 1, COHN),
    ("Em", "C", 1, COHN),
    ("C", "Em", 1, COHN),
    ("C", "Am", 2, COHN),
    ("C", "F", 3, PACKAGE),
    ("C", "F", 3, MUSICMCT),
    ("C", "Ab", 2, PACKAGE),
    ("C", "F#", 6, PACKAGE),
    ("C", "D", 6, MUSICMCT),
    ("C7", "A7", 2, MUSICMCT),
    ("C7", "Eb7", 2, PACKAGE),
    ("Ebm", "C", 4, PACKAGE),
    ("C", "G", 3, PACKAGE),
]

COMPUTED_SIZES = {
    1: "Cmaj7 C7, C7 Cm7, Cm7 Cø7, Co7 B7, C7 Dbo7, C Caug",
    2: "C7 F#7, C7 Eb7, C7 A7, C7 Cø7, Bø7 E7, Dø7 G7, C7 Eø7, C Fm, C E, C Ab, C Dbm, Cm Caug",
    3: "Dm7 G7, G7 Cmaj7, Db7 Cmaj7, C F, C G, C A, C Eb, C Db, C Abm",
    4: "C7 F7, G7 Cm(maj7)",
    6: "C D, C F#",
}
COMPUTED_ROWS = [
    (*pair.split(), size, COMPUTED)
    for size, row in COMPUTED_SIZES.items()
    for pair in row.split(", ")
]


@each_row("a, b, size, source", [*PUBLISHED, *COMPUTED_ROWS])
def test_chords_lie_as_far_apart_as_others_found(a: str, b: str, size: int, source: str) -> None:
    found = least_class_assignment(classes(a), classes(b), doublings=False)
    assert found.size == size, source
    assert least_class_assignment(classes(b), classes(a), doublings=False).size == size


def test_a_doubling_shortens_the_way_from_cmaj7_to_emaj7() -> None:
    found = least_class_assignment(classes("Cmaj7"), classes("Emaj7"))
    assert found.size == 3, TYMOCZKO
    assert least_class_assignment(classes("Cmaj7"), classes("Emaj7"), doublings=False).size == 4


@pytest.mark.parametrize(
    ("a", "b", "size"),
    [((50, 60, 65), (48, 62, 67), 6), ((40, 60, 65), (50, 60), 15)],
)
def test_pitches_as_in_the_open_package(a: tuple[int, ...], b: tuple[int, ...], size: int) -> None:
    assert least_assignment(a, b).size == size, PACKAGE


def test_a_whole_step_up_ties_with_a_walk_round_the_circle() -> None:
    """C to D: (2, 2, 2) and (-3, -2, -1) both make 6 (musicMCT's tie case)."""
    ways = {(2, 2, 2), (-3, -2, -1)}
    assert {sum(map(abs, way)) for way in ways} == {6}
    pairs = least_class_assignment(classes("C"), classes("D"), doublings=False).pairs
    moved = tuple((b - a + 6) % 12 - 6 for a, b in pairs)
    assert tuple(sorted(moved)) in {tuple(sorted(way)) for way in ways}


# --- solvers that are not ours -------------------------------------------------------------------

Notes = tuple[int, ...]
PITCHES = st.lists(st.integers(21, 108), min_size=1, max_size=7, unique=True).map(tuple)
CLASSES = st.lists(st.integers(0, 11), min_size=1, max_size=7, unique=True).map(tuple)


def equal_sized(notes: st.SearchStrategy[Notes]) -> st.SearchStrategy[tuple[Notes, Notes]]:
    """Pairs with as many notes on either side."""
    return st.tuples(notes, notes).map(
        lambda pair: (pair[0][: len(pair[1])], pair[1][: len(pair[0])])
    )


def distances(a: Notes, b: Notes, circle: bool) -> np.ndarray:
    """Semitones between all notes, over pitches or round the circle."""
    apart = np.abs(np.subtract.outer(np.array(a), np.array(b)))
    return np.minimum(apart % 12, -apart % 12) if circle else apart


def least_bijection(cost: np.ndarray) -> int:
    """scipy's answer."""
    return int(cost[linear_sum_assignment(cost)].sum())


def least_edge_cover(cost: np.ndarray) -> int:
    """Least sum of edges that touch every note of both sides."""
    rows, columns = cost.min(axis=1), cost.min(axis=0)
    saved = np.minimum(cost - rows[:, None] - columns[None, :], 0)
    return int(rows.sum() + columns.sum() + saved[linear_sum_assignment(saved)].sum())


def test_the_edge_cover_itself_is_right_on_figure_s12() -> None:
    assert least_edge_cover(distances(classes("Cmaj7"), classes("Emaj7"), circle=True)) == 3


@given(equal_sized(PITCHES))
def test_pitches_of_one_size_move_by_scipys_assignment(pair: tuple[Notes, Notes]) -> None:
    """Voice by voice is the least bijection of sorted voicings."""
    expected = least_bijection(distances(*pair, circle=False))
    assert least_assignment(*pair).size == expected
    assert (
        sum(abs(x - y) for x, y in zip(sorted(pair[0]), sorted(pair[1]), strict=True)) == expected
    )


@given(equal_sized(CLASSES))
def test_pitch_classes_of_one_size_move_by_scipys_assignment(pair: tuple[Notes, Notes]) -> None:
    found = least_class_assignment(*pair, doublings=False)
    assert found.size == least_bijection(distances(*pair, circle=True))


@given(PITCHES, PITCHES)
def test_pitches_of_unlike_sizes_move_by_the_least_edge_cover(a: Notes, b: Notes) -> None:
    expected = distances(a, b, circle=False)
    if len(a) == len(b):
        assert least_assignment(a, b).size >= least_edge_cover(expected)
    else:
        assert least_assignment(a, b).size == least_edge_cover(expected)


@given(CLASSES, CLASSES)
def test_pitch_classes_with_doublings_move_by_the_least_edge_cover(a: Notes, b: Notes) -> None:
    assert least_class_assignment(a, b).size == least_edge_cover(distances(a, b, circle=True))


@given(PITCHES, PITCHES)
def test_every_note_of_both_sides_has_a_part_and_none_cross(a: Notes, b: Notes) -> None:
    found = least_assignment(a, b)
    assert {x for x, _ in found.pairs} == set(a)
    assert {y for _, y in found.pairs} == set(b)
    assert list(found.pairs) == sorted(found.pairs)
    assert [y for _, y in found.pairs] == sorted(y for _, y in found.pairs)
    assert found.size == sum(abs(x - y) for x, y in found.pairs)


@given(CLASSES, CLASSES, st.booleans())
def test_pairs_of_pitch_classes_cover_both_sides(a: Notes, b: Notes, doublings: bool) -> None:
    if not doublings and len(a) != len(b):
        a = b = a[: len(b)]
    found = least_class_assignment(a, b, doublings=doublings)
    assert {x for x, _ in found.pairs} == set(a)
    assert {y for _, y in found.pairs} == set(b)
    assert found.size == sum(min((x - y) % 12, (y - x) % 12) for x, y in found.pairs)
