"""Note values: the sounds of a measure split into notes and rests that can be notated.

Knows meters and fractions, no music. A measure is a tree: groups of beats, beats, halves of them.
A note value hides a strong beat only as far as common practice allows (Gould, *Behind Bars*, on
syncopation and rests). Times that no halving reaches become tuplets, over the node of the tree
where they need the fewest values. All times are in quarter notes.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from itertools import pairwise
from math import lcm
from typing import Final, NamedTuple

from shortway.core.errors import SettingError

Ratio = tuple[int, int]

#: Note values from 32 quarter notes down, each half of the one before (MusicXML 4.0,
#: note-type-value).
NOTE_TYPES: Final = (
    "maxima", "long", "breve", "whole", "half", "quarter", "eighth", "16th", "32nd", "64th",
    "128th", "256th", "512th", "1024th",
)  # fmt: skip
_FINEST: Final = 256
#: The shortest node, in quarter notes, that has tuplets within it.
_SHORTEST: Final = Fraction(1, 64)
#: Type and dots by length.
_VALUES: Final = {Fraction(32, 1 << k): (name, 0) for k, name in enumerate(NOTE_TYPES)} | {
    Fraction(48, 1 << k): (name, 1) for k, name in enumerate(NOTE_TYPES[:-1])
}
#: The longest nodes, in quarter notes, that end with a dotted value, or have a value across their
#: middle.
_MOST_DOTTED: Final = 2
_MOST_ACROSS: Final = 4


class Segment(NamedTuple):
    """A part of a measure, and the index of the span that sounds; None: silence."""

    begin: Fraction
    end: Fraction
    span: int | None


@dataclass(frozen=True, slots=True)
class NoteValue:
    """A note or rest as notated; `begin` and `end` as it sounds, `type` MusicXML's.

    `span` is the index of the span that it is a part of, None for a rest; `ratio` are actual and
    normal notes of its tuplet, which it `opens` or `closes`.
    """

    begin: Fraction
    end: Fraction
    span: int | None
    type: str
    dots: int
    ratio: Ratio | None = None
    opens: bool = False
    closes: bool = False


@dataclass(frozen=True, slots=True)
class MeterNode:
    """A node of a measure's tree; if `strict`, a value that crosses a cut ends on another."""

    begin: Fraction
    end: Fraction
    cuts: tuple[Fraction, ...]
    strict: bool = False

    def children(self) -> Iterator[MeterNode]:
        """The nodes between the cuts."""
        return (meter_node(a, b) for a, b in pairwise((self.begin, *self.cuts, self.end)))


def meter_node(begin: Fraction, end: Fraction) -> MeterNode:
    """The node from `begin` to `end`, cut into as many parts as its odd factor, else into two.

    >>> [str(cut) for cut in meter_node(Fraction(0), Fraction(3, 2)).cuts]
    ['1/2', '1']
    """
    length = end - begin
    count = length.numerator // (length.numerator & -length.numerator)
    parts = count if count > 1 else 2
    return MeterNode(begin, end, tuple(begin + length * k / parts for k in range(1, parts)))


def meter_tree(meter: Ratio) -> MeterNode:
    """The tree of a measure: 4/4 is 2 + 2, 6/8 is 3 + 3, 5/4 is 3 + 2, 7/8 is 2 + 2 + 3.

    >>> [str(cut) for cut in meter_tree((6, 8)).cuts], [str(cut) for cut in meter_tree((5, 4)).cuts]
    (['3/2'], ['3'])
    """
    count, unit = meter[0], Fraction(4, meter[1])
    end = count * unit
    if count & (count - 1) == 0 or count == 3:
        return meter_node(Fraction(0), end)
    cuts, at = [], Fraction(0)
    for group in _groups(count)[:-1]:
        at += group * unit
        cuts.append(at)
    return MeterNode(Fraction(0), end, tuple(cuts), True)


def _groups(count: int) -> list[int]:
    if count % 3 == 0:
        return [3] * (count // 3)
    if count == 5:
        return [3, 2]
    return [2] * (count // 2) if count % 2 == 0 else [2] * ((count - 3) // 2) + [3]


def split_into_note_values(tree: MeterNode, cuts: Sequence[Segment]) -> list[NoteValue]:
    """The note values of `cuts`, which follow one another without a gap.

    Raises SettingError if a time is too fine for any note value.
    """
    found = _notated(tree, [cut for cut in cuts if cut.end > cut.begin])
    if found is None:
        detail = "cannot notate chords this short; the shortest note is a 1024th"
        raise SettingError.at("/chart", detail, expected="beats that note values can write")
    return found


def _notated(tree: MeterNode, cuts: Sequence[Segment]) -> list[NoteValue] | None:
    """The fewest values: plain, as one tuplet, or node by node; None: too fine."""
    odd = _odd_part(tree, cuts)
    if odd == 1:
        return _in_plain(tree, cuts)
    choices = [_in_tuplet(tree, cuts, odd), _in_children(tree, cuts)]
    return min((c for c in choices if c is not None), key=_weight, default=None)


def _odd_part(tree: MeterNode, cuts: Sequence[Segment]) -> int:
    inside = {t for cut in cuts for t in cut[:2] if tree.begin < t < tree.end}
    denominators = [(t - tree.begin).denominator for t in inside]
    return lcm(*(d // (d & -d) for d in denominators)) if denominators else 1


def _weight(found: Sequence[NoteValue]) -> float:
    """The number of values, plus a cost of tuplets by number, ratio and length."""
    tuplets = sum(0.5 + p.ratio[0] / 10 for p in found if p.opens and p.ratio)
    inside = sum((p.end - p.begin for p in found if p.ratio), Fraction(0))
    return len(found) + tuplets + float(inside) / 2


def _in_plain(tree: MeterNode, cuts: Sequence[Segment]) -> list[NoteValue] | None:
    if any(t.denominator > _FINEST for cut in cuts for t in cut[:2]):
        return None
    return [piece for cut in cuts for piece in _plain(tree, cut)]


def _in_children(tree: MeterNode, cuts: Sequence[Segment]) -> list[NoteValue] | None:
    if tree.end - tree.begin <= _SHORTEST:
        return None
    found: list[NoteValue] = []
    for child in tree.children():
        inside = [Segment(max(a, child.begin), min(b, child.end), span) for a, b, span in cuts]
        below = _notated(child, [cut for cut in inside if cut.end > cut.begin])
        if below is None:
            return None
        found += below
    return found


def _in_tuplet(tree: MeterNode, cuts: Sequence[Segment], odd: int) -> list[NoteValue] | None:
    """`odd` notes in the time of the next lower power of two, over the whole of `tree`."""
    normal = 1 << (odd.bit_length() - 1)
    scale, length = Fraction(odd, normal), tree.end - tree.begin
    part = length / normal
    inner = MeterNode(Fraction(0), length * scale, tuple(part * k for k in range(1, odd)))
    scaled = [Segment((a - tree.begin) * scale, (b - tree.begin) * scale, k) for a, b, k in cuts]
    found = _in_plain(inner, scaled)
    if found is None:
        return None
    back = [
        replace(p, begin=tree.begin + p.begin / scale, end=tree.begin + p.end / scale,
                ratio=(odd, normal))
        for p in found
    ]  # fmt: skip
    back[0] = replace(back[0], opens=True)
    back[-1] = replace(back[-1], closes=True)
    return back


def _plain(tree: MeterNode, cut: Segment) -> Iterator[NoteValue]:
    inner = [t for t in tree.cuts if cut.begin < t < cut.end]
    whole = cut.begin == tree.begin and cut.end == tree.end
    value = _VALUES.get(cut.end - cut.begin)
    if value and (whole or (inner and _fits(tree, cut, inner, value[1]))):
        yield NoteValue(cut.begin, cut.end, cut.span, *value)
    elif not inner:
        yield from _plain(next(c for c in tree.children() if cut.begin < c.end), cut)
    else:
        at = _split(tree, cut, inner)
        yield from _plain(tree, Segment(cut.begin, at, cut.span))
        yield from _plain(tree, Segment(at, cut.end, cut.span))


def _fits(tree: MeterNode, cut: Segment, inner: Sequence[Fraction], dots: int) -> bool:
    """Whether one value may cross the cuts of `inner`."""
    edges = {tree.begin, tree.end, *tree.cuts}
    on_edges = cut.begin in edges and cut.end in edges
    if tree.strict:
        return on_edges and cut.span is not None
    if cut.span is None:
        return on_edges and cut.begin == tree.begin and not dots
    length = tree.end - tree.begin
    if cut.begin == tree.begin:
        return True
    if cut.end == tree.end:
        return not dots or length <= _MOST_DOTTED
    half = length / (len(tree.cuts) + 1) / 2
    across = len(inner) == 1 and inner[0] - cut.begin == cut.end - inner[0] == half
    return across and not dots and length <= _MOST_ACROSS


def _split(tree: MeterNode, cut: Segment, inner: Sequence[Fraction]) -> Fraction:
    """The cut at which a segment is split: the last one that a single value reaches."""
    if cut.begin in (tree.begin, *tree.cuts):
        for at in reversed(inner):
            value = _VALUES.get(at - cut.begin)
            if value and _fits(tree, Segment(cut.begin, at, cut.span), (at,), value[1]):
                return at
    return inner[0]
