"""Codes: what a prefix of a path has in common with the paths found so far.

Knows no music. Where one difference is enough, a code is the first of those paths that begins so,
or their number if none does; else it counts the differences from each of them, up to enough.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np
from numpy.typing import NDArray

from shortway.core.cancellation import checkpoint
from shortway.core.shortest_path.point_problem import Integers

Index = NDArray[np.intp]
Path = tuple[int, ...]
#: The codes after each node of a layer, shape (codes, nodes), and which codes reach which nodes.
_Turn = tuple[Index, tuple[Index, Index]]


class Codes:
    """The codes of all prefixes, and how they change node by node.

    Attributes
    ----------
    count : int
        Codes are from 0, that of no node, to `count` - 1, that of a path that differs enough.
    reached : sequence of two intp arrays
        By level, the codes of prefixes and the nodes at which they end, but for the last code.
    """

    def __init__(
        self, paths: Sequence[Path], weights: Sequence[int], sizes: Sequence[int], enough: int
    ) -> None:
        self.count = len(paths) + 1 if enough == 1 else (enough + 1) ** len(paths)
        turns = _beginnings(paths, sizes) if enough == 1 else _counts(paths, weights, sizes, enough)
        self._turns, self.reached = zip(*turns, strict=True)

    def states(self, level: int, codes: Index, nodes: Index) -> Index:
        """node * codes + code of prefixes of some codes with one more node of a level each."""
        if level < len(self._turns):
            codes = np.asarray(self._turns[level][codes, nodes])
        return np.asarray(nodes * self.count + codes)

    def before(self, level: int, values: Integers) -> Integers:
        """`values` of a level's nodes by the code before they are read; shapes (codes, nodes).

        In a loop the level after all layers is not read again.
        """
        if level == len(self._turns):
            return values
        turn = self._turns[level]
        return np.asarray(values[turn, np.arange(turn.shape[1])])


def _beginnings(paths: Sequence[Path], sizes: Sequence[int]) -> Iterator[_Turn]:
    """The code after each node of each layer, where one difference is enough."""
    firsts = [0] * len(paths)
    for level, size in enumerate(sizes):
        turn = np.full((len(paths) + 1, size), len(paths), np.intp)
        known: dict[tuple[int, int], int] = {}
        for number, path in enumerate(paths):
            beginning = firsts[number], path[level]
            turn[beginning] = firsts[number] = known.setdefault(beginning, number)
        yield turn, (np.array([*known.values()]), np.array([node for _, node in known]))


def _counts(
    paths: Sequence[Path], weights: Sequence[int], sizes: Sequence[int], enough: int
) -> Iterator[_Turn]:
    """The same where differences are counted."""
    units = (enough + 1) ** np.arange(len(paths))
    digits = np.arange((enough + 1) ** len(paths))[:, None] // units % (enough + 1)
    codes = np.zeros(1, np.intp)
    for level, (size, weight) in enumerate(zip(sizes, weights, strict=True)):
        checkpoint()
        turn = np.empty((len(digits), size), np.intp)
        turn[:] = (np.minimum(digits + weight, enough) @ units)[:, None]
        for node in {path[level] for path in paths}:
            other = np.array([path[level] != node for path in paths])
            turn[:, node] = np.minimum(digits + weight * other, enough) @ units
        there = np.zeros(turn.shape, np.bool_)
        there[turn[codes], np.arange(size)] = True
        codes = np.flatnonzero(there.any(axis=1))
        code, node_of = there[:-1].nonzero()
        yield turn, (code, node_of)
