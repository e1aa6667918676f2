"""Folding: a problem of several keys as one of the length of a key.

Knows path problems, the order of preference and the kernel; no chart. A node stands for a voicing
and its copies in all keys, an edge for the move in all keys, and the edges from the last layer back
to the first for the joins from key to key.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from shortway.core.cancellation import checkpoint
from shortway.core.exercises.folded_costs import FoldedCosts, FoldedMove, OctaveWindow
from shortway.core.exercises.key_copies import KeyCopies
from shortway.core.shortest_path.least_cost import NEVER_64
from shortway.core.solver.problem import PathProblem

Index = NDArray[np.intp]


class Folded:
    """A problem of several keys with as many layers each, folded to the layers of one.

    Parameters
    ----------
    semitones : sequence of int
        Of each key above the first one, in any octave.
    range_ : (int, int)
        The lowest and the highest note of a voicing.
    """

    def __init__(
        self, problem: PathProblem, semitones: Sequence[int], range_: tuple[int, int]
    ) -> None:
        self.problem, self.semitones, self.range = problem, semitones, range_
        self.keys = len(semitones)
        self.length = len(problem.layers) // self.keys
        self.closed = problem.closed or self.keys > 1

    def best(self, octaves: Sequence[Sequence[int]]) -> tuple[int, ...] | None:
        """The candidate of each layer on the best path, the first of equals.

        Parameters
        ----------
        octaves : sequence of sequence of int
            The shifts of all keys that may be chosen, in semitones as `semitones`.
        """
        windows = self._windows(octaves)
        if not windows:
            return None
        moves = [self._inner(layer) for layer in range(self.length - 1)]
        costs = FoldedCosts(self.problem, moves, windows, closed=self.closed)
        bounds = sorted((costs.bound(window), k) for k, window in enumerate(windows))
        best: tuple[tuple[int, ...], int, list[Index]] | None = None
        for bound, k in bounds:
            checkpoint()
            if bound >= NEVER_64 or (best is not None and bound > best[0][0]):
                break
            path = costs.folded(windows[k]).best()
            if path is not None and (best is None or (path.sums, k) < best[:2]):
                picked = zip(windows[k].rows, path.nodes, strict=True)
                best = path.sums, k, [rows[:, node] for rows, node in picked]
        return None if best is None else tuple(np.array(best[2]).T.ravel().tolist())

    def _inner(self, layer: int) -> Counter[FoldedMove]:
        """The moves out of a layer to the next one of the same key."""
        return Counter(self._move(key, layer, key, layer + 1) for key in range(self.keys))

    def _windows(self, octaves: Sequence[Sequence[int]]) -> list[OctaveWindow]:
        """The ways to lay the keys that leave every layer a voicing."""
        higher = [
            [(own - by - shifts[0] + self.semitones[0]) // 12
             for own, by in zip(shifts, self.semitones, strict=True)]
            for shifts in octaves
        ]  # fmt: skip
        most = max(abs(by) for each in higher for by in each)
        copies: dict[tuple[int, ...], KeyCopies] = {}
        layers = []
        for layer in range(self.length):
            of = self.problem.candidates[layer :: self.length]
            key = tuple(map(id, of))
            if key not in copies:
                copies[key] = KeyCopies(of, self.semitones, self.range, most)
            layers.append(copies[key])
        found = []
        for shifts, by in zip(octaves, higher, strict=True):
            common = {id(layer): layer.common(by) for layer in copies.values()}
            if all(rows.shape[1] for rows in common.values()):
                found.append(
                    OctaveWindow([common[id(layer)] for layer in layers], self._joins(shifts))
                )
        return found

    def _joins(self, shifts: Sequence[int]) -> Counter[FoldedMove]:
        """The moves from key to key where they lie so far above the first."""
        return Counter(
            move._replace(by=shifts[to] - shifts[key]) for (key, to), move in self._pairs.items()
        )

    @cached_property
    def _pairs(self) -> dict[tuple[int, int], FoldedMove]:
        """The move from each key to the next."""
        pairs = [(key, (key + 1) % self.keys) for key in range(self.keys)]
        last = self.length - 1
        return {
            (key, to): self._move(key, last, to, 0)
            for key, to in (pairs if self.problem.loop else pairs[:-1])
        }

    def _move(self, key: int, layer: int, to: int, after: int) -> FoldedMove:
        """The move from a layer of one key to one of the same or the next."""
        a, b, problem = key * self.length + layer, to * self.length + after, self.problem
        change = problem.change(a, b)
        if change.fourth is not None:
            higher = self.semitones[key] - self.semitones[0]
            change = change._replace(fourth=(change.fourth - higher) % 12)
        return FoldedMove(0, change, problem.begins_anew(b), problem.must_change(a, b))
