"""Alignment: which steps of an edited chart are which of the chart before.

Pure: knows neither the wire nor what a symbol means. The rule is in the manual, under Paths.
"""

from __future__ import annotations

from collections.abc import Hashable, Sequence
from itertools import pairwise
from typing import NamedTuple

#: More comparisons than this are not made between two stretches.
MOST_PAIRS = 1_000_000

Pairs = list[tuple[int, int]]


class StepKey(NamedTuple):
    """What a step is aligned by; measures as written, beats from 1."""

    measure: int
    beat: float
    symbol: str


def align_steps(old: Sequence[StepKey], new: Sequence[StepKey]) -> Pairs:
    """Indices into `old` and `new` of the steps that are the same one, both ascending."""
    before, after = _measures(old), _measures(new)
    contents = [
        [tuple(steps[k][1:] for k in measure) for measure in measures]
        for steps, measures in ((old, before), (new, after))
    ]
    same = common(*contents)
    pairs: Pairs = []
    ends = [(-1, -1), *same, (len(before), len(after))]
    for (a, b), (i, j) in pairwise(ends):
        pairs += _edited(old, new, before[a + 1 : i], after[b + 1 : j])
        if i < len(before):
            pairs += zip(before[i], after[j], strict=True)
    return pairs


def _measures(steps: Sequence[StepKey]) -> list[list[int]]:
    """The steps of each measure as played: one begins where the beat does not increase, too."""
    found: list[list[int]] = []
    for k, step in enumerate(steps):
        last = steps[k - 1] if k else None
        if last and step.measure == last.measure and step.beat > last.beat:
            found[-1].append(k)
        else:
            found.append([k])
    return found


def _edited(
    old: Sequence[StepKey],
    new: Sequence[StepKey],
    before: Sequence[Sequence[int]],
    after: Sequence[Sequence[int]],
) -> Pairs:
    """The pairs of a stretch without measures that are the same."""
    if len(before) == len(after):
        places = [{old[k].beat: k for k in measure} for measure in before]
        return [
            (at[new[k].beat], k)
            for at, measure in zip(places, after, strict=True)
            for k in measure
            if new[k].beat in at
        ]
    a, b = ([k for measure in measures for k in measure] for measures in (before, after))
    symbols = [old[k].symbol for k in a], [new[k].symbol for k in b]
    return [(a[i], b[j]) for i, j in common(*symbols)]


def common(a: Sequence[Hashable], b: Sequence[Hashable]) -> Pairs:
    """A longest common subsequence, as indices; of several the one that pairs the first of `a`.

    >>> common("abcd", "axcd")
    [(0, 0), (2, 2), (3, 3)]
    """
    shorter = min(len(a), len(b))
    head = next((k for k in range(shorter) if a[k] != b[k]), shorter)
    tail = next((k for k in range(shorter - head) if a[-1 - k] != b[-1 - k]), shorter - head)
    n, m = len(a) - head - tail, len(b) - head - tail
    inner = _longest(a[head : head + n], b[head : head + m]) if n * m <= MOST_PAIRS else []
    pairs = [(k, k) for k in range(head)] + [(head + i, head + j) for i, j in inner]
    return pairs + [(head + n + k, head + m + k) for k in range(tail)]


def _longest(a: Sequence[Hashable], b: Sequence[Hashable]) -> Pairs:
    ahead = [[0] * (len(b) + 1) for _ in range(len(a) + 1)]  # the longest of a[i:] and b[j:]
    for i in range(len(a) - 1, -1, -1):
        row, below = ahead[i], ahead[i + 1]
        for j in range(len(b) - 1, -1, -1):
            row[j] = below[j + 1] + 1 if a[i] == b[j] else max(below[j], row[j + 1])
    pairs, i, j = [], 0, 0
    while i < len(a) and j < len(b):
        if a[i] == b[j]:
            pairs.append((i, j))
            i, j = i + 1, j + 1
        elif ahead[i + 1][j] > ahead[i][j + 1]:
            i += 1
        else:
            j += 1
    return pairs
