"""The one door: a chart and a setting in, the path with the least motion out.

Knows every other module of the core and does the work of none: steps are grouped into nodes, each
node gets its candidates, each transition its costs in the order of preference, the kernel finds
the way, and the way is told step by step.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Final

import numpy as np
from numpy.typing import NDArray

from shortway.core import chart as charts
from shortway.core.answers import Listing, Path, PathStep, Ranked, Size
from shortway.core.chart import Chart, Step
from shortway.core.chord import Chord
from shortway.core.errors import Fault, NoVoicing, PinError, ShortwayError, TooLarge
from shortway.core.motion import Moves, moves_between
from shortway.core.nodes import Layer, Node, group, layer
from shortway.core.path import Way, shortest, shortest_loop
from shortway.core.pins import Pin, read_notes, read_pins
from shortway.core.preference import Array, Packing, forbid, from_home, packing
from shortway.core.remarks import Move
from shortway.core.setting import Setting, resolve
from shortway.core.symbols import parse
from shortway.core.telling import Trip, told
from shortway.core.voicing import Candidates, candidates, sounding

__all__ = [
    "Listing", "Move", "Path", "PathStep", "Pin", "Ranked", "Size", "solve", "voicings",
]  # fmt: skip

#: Most transitions of one request: 32 million of 8 bytes are 256 MB.
MAX_TRANSITIONS: Final = 32_000_000


def voicings(
    symbol: str | Chord,
    setting: Mapping[str, object] | Setting | None = None,
    *,
    after: Sequence[int] | None = None,
    limit: int | None = None,
    offset: int = 0,
) -> Listing:
    """Every voicing of a chord, in the stable order or nearest first.

    Parameters
    ----------
    symbol : str or Chord
    setting : mapping or Setting, optional
    after : sequence of int, optional
        MIDI numbers of the notes that sound, the bass among them where nobody else plays it. Then
        voicings are ranked as a path would rank them: motion, bass motion, squared moves, top
        voice, distance from home.
    limit, offset : int, optional
        The page; everything where not given.

    Raises
    ------
    SymbolError, SettingError

    >>> listing = voicings("F7", {"families": ["guide-tone"]}, after=[52, 58, 60, 67])
    >>> listing.voicings[0].motion, listing.voicings[0].voicing.midi
    (4, (51, 57, 60, 65))
    """
    chord = parse(symbol) if isinstance(symbol, str) else symbol
    resolved = _resolved(setting)
    if chord.root is None:
        return Listing(chord, resolved, 0, ())
    found = candidates(chord, resolved)
    order = np.arange(len(found))
    motion: list[int] | None = None
    if after is not None:
        before = sounding(read_notes(after, "/after"), has_bass=found.has_bass)
        order, motion = _nearest_first(before, found, resolved)
    page = order[offset : None if limit is None else offset + limit].tolist()
    listed = (Ranked(found.voicing(k, chord), motion[k] if motion else None) for k in page)
    return Listing(chord, resolved, len(found), tuple(listed))


def _resolved(setting: Mapping[str, object] | Setting | None) -> Setting:
    try:
        return resolve(setting)
    except ShortwayError as error:
        raise error.under("/setting") from None


def _nearest_first(
    before: Candidates, found: Candidates, setting: Setting
) -> tuple[NDArray[np.intp], list[int]]:
    step = moves_between(before, found, setting.split_cost)
    home = from_home(found, setting.home)
    bass = np.zeros(len(found), np.int32) if step.bass is None else step.bass[0]
    order = np.lexsort((home, step.top[0], step.squares[0], bass, step.motion[0]))
    return order, step.motion[0].tolist()


def solve(
    chart: Chart | str | Mapping[str, object],
    setting: Mapping[str, object] | Setting | None = None,
    *,
    loop: bool = False,
    pins: Sequence[Pin | Mapping[str, object]] = (),
    start_from: Sequence[int] | None = None,
) -> Path:
    """The path with the least motion: the global optimum over every candidate of every step.

    Parameters
    ----------
    chart : Chart, str or mapping
        A chart, its text, or its JSON form.
    setting : mapping or Setting, optional
    loop : bool
        Whether the form is played round and round; the way from the last step to the first then
        counts, and the whole loop is solved exactly.
    pins : sequence of Pin or mapping
        What given steps must be.
    start_from : sequence of int, optional
        MIDI numbers of the notes already sounding, the bass among them where nobody else plays it.

    Raises
    ------
    ChartError, SymbolError, SettingError, PinError
        With pointers below ``/chart``, ``/setting``, ``/pins`` and ``/start_from``.
    NoVoicing
        If a step has no voicing, with what each rule threw out.
    TooLarge
        If the request is too large to be solved exactly.

    >>> path = solve("| Dm7 | G7 | Cmaj7 | % |", {"families": ["guide-tone-extended"]})
    >>> path.total, [step.motion for step in path.steps]
    (6, [0, 5, 1, 0])
    """
    resolved = _resolved(setting)
    steps = charts.unroll(_chart(chart))
    fixed = _pins(pins, steps)
    nodes = group(steps, fixed, hold=resolved.repeats == "hold", loop=loop)
    layers = [layer(node, steps, fixed, resolved) for node in nodes]
    before = None if start_from is None else _before(start_from, resolved)
    search = _Search(steps, nodes, layers, resolved, before, loop)
    return told(search.trip(search.indices()))


def _chart(chart: Chart | str | Mapping[str, object]) -> Chart:
    if isinstance(chart, Chart):
        return chart
    try:
        return charts.read(chart)
    except ShortwayError as error:
        raise error.under("/chart") from None


def _pins(given: Sequence[Pin | Mapping[str, object]], steps: Sequence[Step]) -> tuple[Pin, ...]:
    try:
        pins = read_pins(given)
    except ShortwayError as error:
        raise error.under("/pins") from None
    for number, pin in enumerate(pins):
        pointer = f"/pins/{number}/step"
        if not 0 <= pin.step < len(steps):
            expected = f"0 to {len(steps) - 1}"
            raise PinError.at(pointer, f"the chart has no step {pin.step}", expected=expected)
        if steps[pin.step].chord.root is None:
            expected = "a step with a chord"
            raise PinError.at(pointer, f"step {pin.step} is N.C.", expected=expected)
    return pins


def _before(start_from: Sequence[int], setting: Setting) -> Candidates:
    notes = read_notes(start_from, "/start_from")
    return sounding(notes, has_bass=not setting.bass_player)


# --- the search ----------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class _Search:
    """One request, laid out for the kernel."""

    steps: Sequence[Step]
    nodes: Sequence[Node]
    layers: Sequence[Layer]
    setting: Setting
    before: Candidates | None
    loop: bool

    @property
    def seams(self) -> list[tuple[int, int]]:
        """Nodes that follow each other; in a loop the last and the first, too."""
        order = range(len(self.nodes))
        return [*pairwise(order), *([(order[-1], 0)] if self.loop and len(order) > 1 else [])]

    def moves(self, a: int, b: int) -> Moves:
        """The matrices from node `a` to node `b`, over all candidates."""
        pair = self.layers[a].candidates, self.layers[b].candidates
        return moves_between(*pair, self.setting.split_cost)

    def entry(self) -> Moves | None:
        """The matrices from the notes that sound into the first node."""
        if self.before is None or not self.layers:
            return None
        return moves_between(self.before, self.layers[0].candidates, self.setting.split_cost)

    def size(self) -> Size:
        """The counts of the search."""
        counts = [len(of) for of in self.layers]
        transitions = sum(counts[a] * counts[b] for a, b in self.seams)
        return Size(len(self.steps), sum(counts), transitions)

    def indices(self) -> tuple[int, ...]:
        """The candidate of each node on the best path."""
        if not self.layers:
            return ()
        self._refuse_too_large()
        way = self._way()
        if way is None:
            detail = "a chord that is repeated has no other voicing to change to"
            expected = 'more families, a wider range, or "repeats": "hold"'
            raise NoVoicing(detail, Fault("/setting/repeats", detail, expected=expected))
        return tuple(of.index(at) for of, at in zip(self.layers, way.nodes, strict=True))

    def trip(self, indices: Sequence[int]) -> Trip:
        """The way over the candidates `indices`, one a node, with its figures."""
        moved = [self.moves(a, b) for a, b in self.seams]
        ends = [(indices[a], indices[b]) for a, b in self.seams]
        entry = self.entry()
        if entry is not None:
            moved, ends = [*moved, entry], [*ends, (0, indices[0])]
        motion = [int(m.motion[at]) for m, at in zip(moved, ends, strict=True)]
        bass = [int(m.bass[at]) for m, at in zip(moved, ends, strict=True) if m.bass is not None]
        played = [
            of.candidates.voicing(at, node.chord)
            for of, at, node in zip(self.layers, indices, self.nodes, strict=True)
        ]
        return Trip(
            steps=self.steps,
            nodes=self.nodes,
            played=played,
            motion=dict(zip(self.seams, motion, strict=False)),
            before=() if self.before is None else self.before.midi(0)[int(self.before.has_bass) :],
            start=None if entry is None else motion[-1],
            bass=sum(bass),
            loop=self.loop,
            setting=self.setting,
            size=self.size(),
        )

    def _refuse_too_large(self) -> None:
        transitions = self.size().transitions
        if transitions > MAX_TRANSITIONS:
            raise TooLarge.at(
                "",
                f"the search has {transitions:,} transitions between voicings",
                expected=f"at most {MAX_TRANSITIONS:,}: fewer families, or a shorter chart",
            )

    def _way(self) -> Way | None:
        entry, seams = self.entry(), self.seams
        between = [self.moves(a, b) for a, b in seams]
        far = [from_home(of.candidates, self.setting.home) for of in self.layers]
        far = [cost * len(node.steps) for cost, node in zip(far, self.nodes, strict=True)]
        places = packing([*between, *([entry] if entry else [])], far)
        costs = [_kept(places.nodes(cost), of) for cost, of in zip(far, self.layers, strict=True)]
        if entry is not None:
            costs[0] = costs[0] + _kept(places.edges(entry)[:, 0], self.layers[0])
        edges = self._edges(places, between)
        return (shortest_loop if len(seams) == len(self.nodes) else shortest)(costs, edges)

    def _edges(self, places: Packing, between: Sequence[Moves]) -> list[Array]:
        """Costs of every seam; seams between the same candidates share one array."""
        packed: dict[int, Array] = {}
        edges = []
        for (a, b), step in zip(self.seams, between, strict=True):
            if id(step) not in packed:
                packed[id(step)] = places.edges(step)
            whole = self._changed(a, b, packed[id(step)])
            edges.append(_kept(_kept(whole, self.layers[a], axis=1), self.layers[b]))
        return edges

    def _changed(self, a: int, b: int, edges: Array) -> Array:
        """Under ``change``, no way from a voicing to itself where the chord is repeated."""
        last, first = self.nodes[a].steps[-1], self.nodes[b].steps[0]
        follows = (last + 1) % len(self.steps) == first
        same = self.nodes[a].chord.name == self.nodes[b].chord.name
        if not (self.setting.repeats == "change" and follows and same):
            return edges
        notes = self.layers[a].candidates.notes
        return forbid(edges, (notes[:, None, :] == notes[None, :, :]).all(axis=2))


def _kept(costs: Array, of: Layer, axis: int = -1) -> Array:
    return costs if of.kept is None else np.ascontiguousarray(costs.take(of.kept, axis=axis))
