"""The layered graph of a chart, built from what is listed, and solved without our kernel.

Only the public door is used: `voicings` lists each step's candidates, `unroll` the steps. Rules
between steps (hold, change, pins) and all costs are worked out here in plain Python; networkx
finds the least motion, a dynamic program over tuples the whole order of preference, and, where the
chart is small, trying everything does.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from itertools import product

import networkx as nx

from shortway.core import charts
from shortway.core.harmony.functions import contexts
from shortway.core.settings.families import FAMILIES
from shortway.core.settings.setting import Setting, resolve
from shortway.core.solver.solve import voicings
from shortway.core.voicings.model import Voicing
from support.plain import motion

Cost = tuple[int, int, int, int, int]
Key = tuple[Cost, tuple[tuple[int, ...], ...], tuple[tuple[int, int], ...]]
NOTHING: Cost = (0, 0, 0, 0, 0)


def plus(*costs: Cost) -> Cost:
    """Costs added limb by limb."""
    motion_, bass, squares, top, home = (sum(parts) for parts in zip(*costs, strict=True))
    return motion_, bass, squares, top, home


def upper(voicing: Voicing) -> tuple[int, ...]:
    """MIDI numbers without the bass."""
    return tuple(n.midi for n in voicing.left + voicing.right if not n.bass)


def bass(voicing: Voicing) -> int | None:
    """The marked bass note."""
    return next((n.midi for n in voicing.left + voicing.right if n.bass), None)


@dataclass
class Layered:
    """A chart's sounding steps, each with the voicings that are listed and pinned."""

    setting: Setting
    loop: bool
    indices: list[int]
    names: list[str]
    layers: list[list[Voicing]]
    pinned: set[int]
    length: int
    start: tuple[int, ...] | None
    _costs: dict[tuple[int, int, int], Cost] = field(default_factory=dict)

    # --- rules ---

    def seams(self) -> list[tuple[int, int]]:
        """Layers that follow each other."""
        pairs = [(k, k + 1) for k in range(len(self.layers) - 1)]
        return [*pairs, (len(self.layers) - 1, 0)] if self.loop and len(self.layers) > 1 else pairs

    def allowed(self, a: int, i: int, b: int, j: int) -> bool:
        """Whether candidate `j` of layer `b` may follow candidate `i` of layer `a`."""
        if (self.indices[a] + 1) % self.length != self.indices[b] or self.names[a] != self.names[b]:
            return True
        before, after = self.layers[a][i], self.layers[b][j]
        if self.setting.repeats == "change":
            return before.midi != after.midi
        return self.indices[b] in self.pinned or before == after

    # --- costs ---

    def edge(self, a: int, i: int, b: int, j: int) -> Cost:
        """Motion, bass motion, squares, top movement from one candidate to another."""
        before, after = self.layers[a][i], self.layers[b][j]
        low, high = bass(before), bass(after)
        return self._moved(upper(before), upper(after), low, high)

    def _moved(
        self, before: tuple[int, ...], after: tuple[int, ...], low: int | None, high: int | None
    ) -> Cost:
        size, squares = motion(before, after, self.setting.split_cost)
        apart = 0 if low is None or high is None else abs(low - high)
        return size, apart, squares, abs(before[-1] - after[-1]), 0

    def node(self, k: int, i: int) -> Cost:
        """Distance from home, and what leads in from the notes that sounded."""
        notes = upper(self.layers[k][i])
        here: Cost = (0, 0, 0, 0, abs(sum(notes) - len(notes) * self.setting.home))
        if k or self.start is None:
            return here
        has_bass = not self.setting.bass_player and len(self.start) > 1
        low = self.start[0] if has_bass else None
        before = self.start[1:] if has_bass else self.start
        return plus(here, self._moved(before, notes, low, bass(self.layers[k][i])))

    def rank(self, k: int, i: int) -> tuple[int, int]:
        """Family order, then hand split."""
        voicing = self.layers[k][i]
        order = [*self.setting.families, *(f for f in FAMILIES if f not in self.setting.families)]
        return order.index(voicing.family), len(voicing.left)

    def key(self, way: Sequence[int]) -> Key:
        """The whole order of preference, to be compared as it is."""
        nodes = [self.node(k, i) for k, i in enumerate(way)]
        edges = [self.edge(a, way[a], b, way[b]) for a, b in self.seams()]
        return (
            plus(NOTHING, *nodes, *edges),
            tuple(self.layers[k][i].midi for k, i in enumerate(way)),
            tuple(self.rank(k, i) for k, i in enumerate(way)),
        )

    # --- solvers ---

    def every_way(self) -> Iterator[tuple[int, ...]]:
        """All ways that the rules allow."""
        for way in product(*(range(len(layer)) for layer in self.layers)):
            if all(self.allowed(a, way[a], b, way[b]) for a, b in self.seams()):
                yield way

    def ways(self) -> int:
        """How many there would be without rules."""
        count = 1
        for layer in self.layers:
            count *= len(layer)
        return count

    def by_trying(self) -> tuple[int, ...] | None:
        """The best way of all, by trying every one."""
        return min(self.every_way(), key=self.key, default=None)

    def by_tuples(self) -> Key | None:
        """The key of the best way by dynamic programming over tuples."""
        firsts = range(len(self.layers[0])) if self.loop else [None]
        return min((k for k in map(self._from, firsts) if k is not None), default=None)

    def _from(self, first: int | None) -> Key | None:
        last = len(self.layers) - 1
        values: list[Key | None] = [self._ending(i, first) for i in range(len(self.layers[last]))]
        for k in range(last - 1, -1, -1):
            values = [self._best(k, i, values) for i in range(len(self.layers[k]))]
        chosen = values if first is None else [values[first]]
        return min((v for v in chosen if v is not None), default=None)

    def _ending(self, i: int, first: int | None) -> Key | None:
        last = len(self.layers) - 1
        own = (self.node(last, i), (self.layers[last][i].midi,), (self.rank(last, i),))
        if first is None or last == 0:
            return own
        if not self.allowed(last, i, 0, first):
            return None
        return plus(own[0], self.edge(last, i, 0, first)), own[1], own[2]

    def _best(self, k: int, i: int, values: list[Key | None]) -> Key | None:
        here, midi, rank = self.node(k, i), self.layers[k][i].midi, self.rank(k, i)
        return min(
            (
                (plus(here, self.edge(k, i, k + 1, j), v[0]), (midi, *v[1]), (rank, *v[2]))
                for j, v in enumerate(values)
                if v is not None and self.allowed(k, i, k + 1, j)
            ),
            default=None,
        )

    def by_networkx(self) -> int | None:
        """The least motion: networkx's Dijkstra, in a loop once for every first candidate."""
        if not self.loop:
            return self._dijkstra(range(len(self.layers[0])), None)
        totals = (self._dijkstra([i], i) for i in range(len(self.layers[0])))
        return min((total for total in totals if total is not None), default=None)

    def _dijkstra(self, firsts: Sequence[int], home: int | None) -> int | None:
        graph = self._graph()
        last = len(self.layers) - 1
        for i in firsts:
            graph.add_edge("begin", (0, i), weight=self.node(0, i)[0])
        for i in range(len(self.layers[last])):
            if home is None or last == 0:
                graph.add_edge((last, i), "end", weight=0)
            elif self.allowed(last, i, 0, home):
                graph.add_edge((last, i), "end", weight=self.edge(last, i, 0, home)[0])
        try:
            return int(nx.dijkstra_path_length(graph, "begin", "end"))
        except (nx.NetworkXNoPath, nx.NodeNotFound):
            return None

    def _graph(self) -> nx.DiGraph:
        graph = nx.DiGraph()
        for k in range(len(self.layers) - 1):
            for i in range(len(self.layers[k])):
                for j in range(len(self.layers[k + 1])):
                    if self.allowed(k, i, k + 1, j):
                        graph.add_edge((k, i), (k + 1, j), weight=self.edge(k, i, k + 1, j)[0])
        return graph


def layered(
    chart: str | Mapping[str, object],
    setting: Mapping[str, object] | Setting | None = None,
    *,
    loop: bool = False,
    pins: Sequence[Mapping[str, object]] = (),
    start_from: Sequence[int] | None = None,
) -> Layered:
    """The layers of a chart with the arguments that `solve` takes."""
    resolved = resolve(setting)
    read = charts.parse_chart(chart)
    steps = charts.unroll(read)
    heard = contexts(read, steps, loop=loop) if resolved.tensions == "in-context" else []
    colours = dict(enumerate(c.colours if c else None for c in heard)) or defaultdict(lambda: None)
    sounding = [k for k, step in enumerate(steps) if step.chord.root is not None]
    layers = [
        [
            ranked.voicing
            for ranked in voicings(steps[k].symbol, resolved, colours=colours[k]).voicings
            if all(_meets(ranked.voicing, pin) for pin in pins if pin["step"] == k)
        ]
        for k in sounding
    ]
    return Layered(
        resolved,
        loop,
        sounding,
        [f"{steps[k].chord.name} {colours[k]}" for k in sounding],
        layers,
        {int(str(pin["step"])) for pin in pins},
        len(steps),
        None if start_from is None else tuple(sorted(start_from)),
    )


def _meets(voicing: Voicing, pin: Mapping[str, object]) -> bool:
    return (
        ("midi" not in pin or list(voicing.midi) == pin["midi"])
        and ("family" not in pin or voicing.family == pin["family"])
        and ("form" not in pin or voicing.form == pin["form"])
        and ("top" not in pin or (voicing.left + voicing.right)[-1].note == pin["top"])
    )
