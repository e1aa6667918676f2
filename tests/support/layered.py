"""The layered graph of a chart, built from what is listed, and solved without our kernel.

Only the public door is used: `voicings` lists each step's candidates, `unroll` the steps. Rules
between steps (hold, change, pins) and all costs are worked out here in plain Python; networkx
finds the least cost, a dynamic program over tuples the whole order of preference, and, where the
chart is small, trying everything does.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from itertools import product
from typing import Any

import networkx as nx

from shortway.core import charts
from shortway.core.charts import Step
from shortway.core.harmony.context import Context
from shortway.core.harmony.functions import contexts, suspended_dominants
from shortway.core.settings.families import FAMILIES
from shortway.core.settings.prices import PRICES
from shortway.core.settings.setting import Setting
from shortway.core.solver.request import resolved_setting
from shortway.core.solver.solve import voicings
from shortway.core.symbols.parser import parse
from shortway.core.theory.chord import Chord
from shortway.core.theory.pitch import pitch_name
from shortway.core.voicings.available_tones import AvailableTones
from shortway.core.voicings.candidates import candidates
from shortway.core.voicings.model import Note, Voicing
from support.plain import motion
from support.prices import move_counts, place, voicing_counts

#: Cost, motion, colours that are lacking, bass motion, squares, top voice, distance from home.
Cost = tuple[int, int, int, int, int, int, int]
Key = tuple[Cost, tuple[tuple[int, ...], ...], tuple[tuple[int, int], ...]]
NOTHING: Cost = (0, 0, 0, 0, 0, 0, 0)


def plus(*costs: Cost) -> Cost:
    """Costs added limb by limb."""
    return tuple(map(sum, zip(*costs, strict=True)))  # type: ignore[return-value]


def upper(voicing: Voicing) -> tuple[int, ...]:
    """MIDI numbers without the bass."""
    return tuple(n.midi for n in voicing.left + voicing.right if not n.is_bass)


def bass(voicing: Voicing) -> int | None:
    """The marked bass note."""
    return next((n.midi for n in voicing.left + voicing.right if n.is_bass), None)


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
    chords: list[Chord]
    facts: list[AvailableTones]
    contexts: list[Context | None]
    sounded: Chord | None = None
    _edges: dict[tuple[int, int, int, int], Cost] = field(default_factory=dict)
    _owned: dict[tuple[int, int], tuple[int, int]] = field(default_factory=dict)

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
            return before.midi_notes != after.midi_notes
        return self.indices[b] in self.pinned or before == after

    def joins(self, k: int) -> bool:
        """Whether a layer holds the voicing of the one before, which is then paid for already."""
        before = k - 1 if k or not self.loop else len(self.layers) - 1
        if before < 0 or before == k or self.setting.repeats == "change":
            return False
        follows = (self.indices[before] + 1) % self.length == self.indices[k]
        return (
            follows and self.names[before] == self.names[k] and self.indices[k] not in self.pinned
        )

    def paid(self, k: int) -> bool:
        """Whether the voicing of a layer is paid for there."""
        return not self.joins(k) or (k == 0 and all(map(self.joins, range(len(self.layers)))))

    # --- costs ---

    def price(self, counts: Mapping[str, int]) -> int:
        """Semitones of prices by name."""
        if self.setting.pricing == "none":
            return 0
        return sum(self._prices[name] * count for name, count in counts.items())

    @cached_property
    def _prices(self) -> dict[str, int]:
        return dict(zip(PRICES, self.setting.prices, strict=True))

    @cached_property
    def _keys(self) -> list[list[tuple[tuple[int, ...], int | None]]]:
        """Upper notes and bass of every candidate."""
        return [[(upper(voicing), bass(voicing)) for voicing in layer] for layer in self.layers]

    @cached_property
    def alike(self) -> list[int]:
        """For each layer the first with the same chord, context and candidates."""
        kinds = list(zip(self.names, self.layers, strict=True))
        return [kinds.index(kind) for kind in kinds]

    def edge(self, a: int, i: int, b: int, j: int) -> Cost:
        """Cost, motion, bass motion, squares, top movement from one candidate to another."""
        key = self.alike[a], i, self.alike[b], j
        if key not in self._edges:
            self._edges[key] = self._edge(*key)
        return self._edges[key]

    def _edge(self, a: int, i: int, b: int, j: int) -> Cost:
        (before, low), (after, high) = self._keys[a][i], self._keys[b][j]
        old = self.chords[a], self.facts[a], self.layers[a][i]
        new = self.chords[b], self.facts[b], self.layers[b][j]
        due = self.price(move_counts(old, new))
        return plus(self._moved(before, after, low, high), (due, 0, 0, 0, 0, 0, 0))

    def _moved(
        self, before: tuple[int, ...], after: tuple[int, ...], low: int | None, high: int | None
    ) -> Cost:
        size, squares = motion(before, after, self.setting.split_cost)
        apart = 0 if low is None or high is None else abs(low - high)
        return size, size, 0, apart, squares, abs(before[-1] - after[-1]), 0

    def node(self, k: int, i: int) -> Cost:
        """Price, colours, distance from home, and what leads in from the notes that sounded."""
        notes, bass_note = self._keys[k][i]
        price, lacking = self.own(k, i) if self.paid(k) else (0, 0)
        far = abs(sum(notes) - len(notes) * self.setting.home)
        here: Cost = (price, 0, lacking, 0, 0, 0, far)
        if k or self.start is None:
            return here
        has_bass = not self.setting.bass_player and len(self.start) > 1
        low = self.start[0] if has_bass else None
        before = self.start[1:] if has_bass else self.start
        due: Cost = (self._due_after_start(i), 0, 0, 0, 0, 0, 0)
        return plus(here, due, self._moved(before, notes, low, bass_note))

    def _due_after_start(self, i: int) -> int:
        """The prices of the first move, where it is known over which chord the start sounded."""
        if self.sounded is None or self.start is None:
            return 0
        old = self.sounded, _facts(self.sounded, self.setting, None), played_notes(self.start)
        return self.price(move_counts(old, (self.chords[0], self.facts[0], self.layers[0][i])))

    def own(self, k: int, i: int) -> tuple[int, int]:
        """The price of a voicing, and the colours of its context that it lacks."""
        key = self.alike[k], i
        if key not in self._owned:
            self._owned[key] = self._own(*key)
        return self._owned[key]

    def _own(self, k: int, i: int) -> tuple[int, int]:
        context, chord, voicing = self.contexts[k], self.chords[k], self.layers[k][i]
        wants = context.wants if context else ()
        colours = context.colours if context else ()
        if context is None and self.setting.tensions != "written":
            colours = chord.colours
        added = {place(d) for d in chord.content.added(colours)}
        heard = {place(n.degree) for n in voicing.notes if not n.is_bass}
        counts = voicing_counts(voicing, self.facts[k], wants, self.setting.home)
        return self.price(counts), len(added - heard)

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
            tuple(self.layers[k][i].midi_notes for k, i in enumerate(way)),
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
        own = (self.node(last, i), (self.layers[last][i].midi_notes,), (self.rank(last, i),))
        if first is None or last == 0:
            return own
        if not self.allowed(last, i, 0, first):
            return None
        return plus(own[0], self.edge(last, i, 0, first)), own[1], own[2]

    def _best(self, k: int, i: int, values: list[Key | None]) -> Key | None:
        here, midi, rank = self.node(k, i), self.layers[k][i].midi_notes, self.rank(k, i)
        return min(
            (
                (plus(here, self.edge(k, i, k + 1, j), v[0]), (midi, *v[1]), (rank, *v[2]))
                for j, v in enumerate(values)
                if v is not None and self.allowed(k, i, k + 1, j)
            ),
            default=None,
        )

    def by_networkx(self) -> int | None:
        """The least cost: networkx's Dijkstra, in a loop once for every first candidate."""
        if not self.loop:
            return self._dijkstra(range(len(self.layers[0])), None)
        totals = (self._dijkstra([i], i) for i in range(len(self.layers[0])))
        return min((total for total in totals if total is not None), default=None)

    def _dijkstra(self, firsts: Sequence[int], home: int | None) -> int | None:
        graph = self._graph
        graph.remove_nodes_from(["begin", "end"])
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

    @cached_property
    def _graph(self) -> nx.DiGraph:
        graph = nx.DiGraph()
        for k in range(len(self.layers) - 1):
            for j in range(len(self.layers[k + 1])):
                price = self.node(k + 1, j)[0]
                for i in range(len(self.layers[k])):
                    if self.allowed(k, i, k + 1, j):
                        weight = self.edge(k, i, k + 1, j)[0] + price
                        graph.add_edge((k, i), (k + 1, j), weight=weight)
        return graph


def layered(
    chart: str | Mapping[str, object],
    setting: Mapping[str, object] | Setting | None = None,
    *,
    loop: bool = False,
    pins: Sequence[Mapping[str, object]] = (),
    start_from: Sequence[int] | None = None,
    sounded: str | None = None,
) -> Layered:
    """The layers of a chart with the arguments that `solve` takes.

    `sounded` is the chord over which `start_from` was played, without a bass.
    """
    read = charts.parse_chart(chart)
    steps = charts.unroll(read)
    resolved = resolved_setting(setting, [step.chord for step in steps])
    hear = {"in-context": contexts, "written": suspended_dominants}.get(resolved.tensions)
    heard = hear(read, steps, loop=loop) if hear else []
    context = dict(enumerate(heard)) or defaultdict(lambda: None)
    sounding = [k for k, step in enumerate(steps) if step.chord.root is not None]
    layers = [
        [
            ranked.voicing
            for ranked in voicings(
                steps[k].symbol, resolved, context=context[k], **_under(steps[k])
            ).voicings
            if all(_meets(ranked.voicing, pin) for pin in pins if pin["step"] == k)
        ]
        for k in sounding
    ]
    return Layered(
        resolved,
        loop,
        sounding,
        [
            f"{steps[k].chord.name} {context[k] and (context[k].colours, context[k].wants)}"
            for k in sounding
        ],
        layers,
        {int(str(pin["step"])) for pin in pins},
        len(steps),
        None if start_from is None else tuple(sorted(start_from)),
        [steps[k].chord for k in sounding],
        [
            _facts(_voiced(steps[k], layer, resolved), resolved, context[k])
            for k, layer in zip(sounding, layers, strict=True)
        ],
        [context[k] for k in sounding],
        None if sounded is None else parse(sounded),
    )


def played_notes(midi: Sequence[int], root: int = 0) -> Voicing:
    """Notes that somebody's left hand played over a root, each named by its distance from it."""
    names = ("1", "b9", "9", "b3", "3", "4", "b5", "5", "b13", "13", "b7", "7")
    notes = tuple(Note(n, "", names[(n - root) % 12]) for n in sorted(midi))
    return Voicing("", None, notes, (), (None, None))


def _under(step: Step) -> dict[str, Any]:
    """The melody, ceiling and top of a step, as `voicings` takes them."""
    one = {"ceiling": step.ceiling, "top": step.top}
    found: dict[str, Any] = {name: pitch_name(n) for name, n in one.items() if n is not None}
    found["melody"] = [pitch_name(n) for n in step.melody] or None
    return {name: value for name, value in found.items() if value is not None}


def _voiced(step: Step, layer: Sequence[Voicing], setting: Setting) -> Chord:
    """The chord, or the sixth chord that stands for a major seventh under its root in a melody."""
    if "7" not in step.chord.degrees or not step.melody:
        return step.chord
    plain = {ranked.voicing.midi_notes for ranked in voicings(step.chord, setting).voicings}
    if plain.issuperset(voicing.midi_notes for voicing in layer):
        return step.chord
    minor = "m" if "b3" in step.chord.degrees else ""
    return parse(f"{step.chord.root}{minor}{'6/9' if '9' in step.chord.degrees else '6'}")


def _facts(chord: Chord, setting: Setting, context: Context | None) -> AvailableTones:
    return candidates(chord, setting, None if context is None else context.colours).available


def _meets(voicing: Voicing, pin: Mapping[str, object]) -> bool:
    return (
        ("midi_notes" not in pin or list(voicing.midi_notes) == pin["midi_notes"])
        and ("family" not in pin or voicing.family == pin["family"])
        and ("form" not in pin or voicing.form == pin["form"])
        and ("top" not in pin or (voicing.left + voicing.right)[-1].note == pin["top"])
    )
