"""Note values: they fill what they write, and stand as textbooks write them.

Sources: MusicXML 4.0 (W3C), note-type-value and time-modification, for what a value lasts; common
practice (as in Gould, *Behind Bars*) for where a value is cut, from memory.
"""

from __future__ import annotations

import itertools
import random
from fractions import Fraction

import pytest

from shortway.core.errors import SettingError
from shortway.scores.notation.durations import (
    NoteValue,
    Segment,
    meter_tree,
    split_into_note_values,
)
from support.tables import each_row

#: Quarter notes of a note type (MusicXML 4.0 reference, note-type-value).
LASTS = {
    name: Fraction(8) / 2**k
    for k, name in enumerate(
        ("breve", "whole", "half", "quarter", "eighth", "16th", "32nd", "64th", "128th", "256th",
         "512th", "1024th")
    )
} | {"long": Fraction(16), "maxima": Fraction(32)}  # fmt: skip


def cut(meter: tuple[int, int], *ends: str | int) -> list[NoteValue]:
    times = [Fraction(0), *map(Fraction, ends)]
    cuts = [Segment(a, b, k) for k, (a, b) in enumerate(itertools.pairwise(times))]
    return split_into_note_values(meter_tree(meter), cuts)


def told(found: list[NoteValue]) -> str:
    """``half+8th.``: pieces by spans, tied pieces joined by a plus, tuplets in brackets."""
    words: list[str] = []
    for k, piece in enumerate(found):
        word = "(" * piece.opens + piece.type + "." * piece.dots + ")" * piece.closes
        tied = k and found[k - 1].span == piece.span is not None
        words.append(("+" if tied else " ") + word)
    return "".join(words).strip()


@each_row(
    "meter, ends, expected",
    [
        ((4, 4), (4,), "whole"),
        ((4, 4), (3, 4), "half. quarter"),
        ((4, 4), (1, 4), "quarter quarter+half"),
        ((4, 4), (1, 3, 4), "quarter half quarter"),
        ((4, 4), ("3/2", "5/2", 4), "quarter. eighth+eighth quarter."),
        ((4, 4), ("1/2", "3/2", 4), "eighth quarter eighth+half"),
        ((4, 4), ("4/3", "8/3", 4), "(half half half)"),
        ((4, 4), ("1/3", "2/3", 1, 4), "(eighth eighth eighth) quarter+half"),
        ((3, 4), (3,), "half."),
        ((3, 4), ("3/2", 3), "quarter. eighth+quarter"),
        ((6, 8), (3,), "half."),
        ((6, 8), (2, 3), "quarter.+eighth quarter"),
        ((6, 8), (1, 3), "quarter eighth+quarter."),
        ((9, 8), ("9/2",), "half.+quarter."),
        ((12, 8), (6,), "whole."),
        ((5, 4), (5,), "half.+half"),
        ((7, 8), ("7/2",), "half+quarter."),
        ((2, 2), (4,), "whole"),
        ((3, 8), ("3/2",), "quarter."),
    ],
)
def test_values_stand_as_books_write_them(
    meter: tuple[int, int], ends: tuple[str | int, ...], expected: str
) -> None:
    assert told(cut(meter, *ends)) == expected


def lasts(piece: NoteValue) -> Fraction:
    """What the printed value lasts by the standard."""
    value = LASTS[piece.type] * (Fraction(3, 2) if piece.dots else 1)
    actual, normal = piece.ratio or (1, 1)
    return value * normal / actual


METERS = [(4, 4), (3, 4), (6, 8), (5, 4), (7, 8), (12, 8), (2, 2), (9, 8), (11, 8), (3, 2), (6, 4)]


@each_row("seed", range(150))
def test_values_fill_what_they_write(seed: int) -> None:
    chance = random.Random(seed)
    meter = chance.choice(METERS)
    full, unit = meter_tree(meter).end, Fraction(4, meter[1])
    parts = chance.choice([1, 2, 3, 4, 5, 6, 7, 8, 9, 12, 16, 24, 32])
    grid = [unit * k / parts for k in range(1, int(full / unit * parts))]
    ends = [*sorted(chance.sample(grid, min(len(grid), chance.randint(0, 5)))), full]
    cuts = [
        Segment(a, b, chance.choice([k, None]))
        for k, (a, b) in enumerate(zip([Fraction(0), *ends], ends, strict=False))
    ]
    found = split_into_note_values(meter_tree(meter), cuts)
    assert all(lasts(piece) == piece.end - piece.begin for piece in found)
    assert [p.begin for p in found] == [Fraction(0), *(p.end for p in found[:-1])]
    assert found[-1].end == full
    for k, each in enumerate(cuts):
        inside = [p for p in found if each.begin <= p.begin < each.end]
        assert (inside[0].begin, inside[-1].end) == each[:2], k
        assert {p.span for p in inside} == {each.span}
    opened = [p for p in found if p.ratio]
    assert sum(p.opens for p in opened) == sum(p.closes for p in opened)


def test_what_no_value_can_write_is_refused() -> None:
    with pytest.raises(SettingError, match="1024th"):
        cut((4, 32), "1/512", "1/2")
