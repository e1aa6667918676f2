"""Melody and top line against plain Python, music21 and networkx.

What a melody leaves of a chord's voicings is judged by music21's names of intervals (m2, m9 and
its octave compounds), the rule being that no minor ninth sounds; paths with a top
line are judged by trying every way through the listed voicings, paths under a melody by networkx,
both with prices counted in plain Python (`support.layered`).
That the sixth takes the seventh's place under a root, and that nobody can avoid the tune's own
dissonance, is common practice, no source.
"""

from __future__ import annotations

import random
from collections.abc import Mapping, Sequence
from itertools import pairwise, product
from pathlib import Path as Path_
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from music21 import corpus, interval

from shortway.core.solver import solve as core
from shortway.core.solver.solve import Path
from shortway.core.theory.pitch import pitch_name
from shortway.services.read_chart import read_lead_sheet
from support import plain
from support.layered import Layered, layered
from support.tables import each_row

ROOTS = ("C", "Db", "D", "Eb", "E", "F", "Gb", "G", "Ab", "A", "Bb", "B")
SETTINGS: tuple[Mapping[str, object], ...] = (
    {},
    {"hands": "left"},
    {"bass_player": False},
    {"families": ["close", "drop-2"], "notes": 4},
    {"hands": "left", "families": ["shell"]},
)
NAMES = {n: interval.ChromaticInterval(n).getDiatonic().name for n in range(1, 88)}
HARSH = {n for n, name in NAMES.items() if name in ("m2", "m9", "m16", "m23", "m30", "m37", "m44")}


def solve(chart_: Any, setting: Mapping[str, object] | None = None, **options: Any) -> Path:
    """With the tensions that a symbol has wherever it stands."""
    return core.solve(chart_, {"tensions": "available", **(setting or {})}, **options)


def test_music21_names_the_harsh_intervals() -> None:
    assert sorted(HARSH)[:4] == [1, 13, 25, 37]


#: Nine qualities over every root.
SUNG_OVER = [
    r + q for r in ROOTS for q in ("", "7", "7b9", "m7", "m7b5", "6", "7sus", "dim7", "m6")
]


# --- what is left of a chord's voicings ----------------------------------------------------------


def listed(symbol: str, setting: Mapping[str, object], **over: Any) -> list[tuple[int, ...]]:
    found = core.voicings(symbol, setting, **named(over)).voicings
    return [ranked.voicing.midi_notes for ranked in found]


def named(over: Mapping[str, Any]) -> dict[str, Any]:
    """What lies over a chord, with MIDI numbers as the names that a chart has."""

    def name(value: Any) -> Any:
        if isinstance(value, list):
            return [name(one) for one in value]
        return pitch_name(value) if isinstance(value, int) else value

    return {field: name(value) for field, value in over.items()}


def harsh(notes: Sequence[int], sung: int, root: int, has_bass: bool, own_b9: bool) -> int:
    """How many notes of a voicing clash with a note that is sung."""
    found = 0
    for place, note in enumerate(notes):
        apart = abs(note - sung)
        excused = (place == 0 and has_bass) or (own_b9 and min(note, sung) % 12 == root)
        found += apart in HARSH and (apart == 1 or not excused)
    return found


def expected(
    symbol: str, setting: Mapping[str, object], melody: Sequence[int], how: str
) -> list[tuple[int, ...]]:
    """What the melody leaves of a chord's voicings."""
    return left(listed(symbol, setting), symbol, setting, melody, how)


def left(
    every: list[tuple[int, ...]],
    symbol: str,
    setting: Mapping[str, object],
    melody: Sequence[int],
    how: str,
) -> list[tuple[int, ...]]:
    """What the melody leaves of them, by the rules as they are told."""
    if how == "ignore":
        return every
    name, chord_type = symbol[: (wide := 1 + (symbol[1:2] == "b"))], symbol[wide:]
    root = plain.pitch_class(name)
    alone = setting.get("bass_player") is False
    if how == "below":
        every = [v for v in every if v[-1] < min(melody)]
    if how == "carry":
        every = [v for v in every if v[-1] == max(melody)]
    if not every:  # one chord that cannot do as it is asked avoids the melody
        return expected(symbol, setting, melody, "avoid")

    def bad(notes: Sequence[int], sung: int) -> int:
        return harsh(notes[:-1] if how == "carry" else notes, sung, root, alone, "b9" in chord_type)

    clashes = [[bad(v, n) for n in melody] for v in every]
    others = [k for k in range(len(melody)) if any(not of[k] for of in clashes)]
    keys = [(sum(of[k] > 0 for k in others), sum(of)) for of in clashes]
    few, least = max(2, len(melody) // 4), min(keys)
    clear = [
        v
        for v, key, of in zip(every, keys, clashes, strict=True)
        if key == least and sum(count > 0 for count in of) <= few
    ]
    under = [v for v in clear if v[-1] < min(melody)]
    if how == "avoid":
        return under or clear
    return clear or expected(symbol, setting, melody, "avoid")


@each_row("setting, symbol", product(SETTINGS, SUNG_OVER), sample=60)
def test_a_melody_leaves_what_does_not_clash(setting: Mapping[str, object], symbol: str) -> None:
    """Eight notes of two octaves, drawn for each symbol."""
    every = listed(symbol, setting)
    for sung in random.Random(symbol).sample(range(57, 82), 8):
        found = listed(symbol, setting, melody=[sung])
        assert found == left(every, symbol, setting, [sung], "avoid")


@given(
    st.sampled_from(ROOTS),
    st.sampled_from(["7", "13", "7b9", "m9", "m7b5", "6", "m6", "9sus", "dim7", "aug"]),
    st.lists(st.integers(50, 90), min_size=1, max_size=6, unique=True),
    st.sampled_from(["avoid", "below", "carry", "ignore"]),
    st.sampled_from(SETTINGS),
)
def test_several_notes_and_every_way_to_take_them(
    root: str, chord_type: str, melody: list[int], how: str, setting: Mapping[str, object]
) -> None:
    symbol, given_ = root + chord_type, {**setting, "melody": how}
    assert listed(symbol, given_, melody=melody) == expected(symbol, setting, melody, how)


@each_row("root", ROOTS)
def test_a_ceiling_and_a_top(root: str) -> None:
    every = listed(f"{root}13", {})
    highest = sorted({v[-1] for v in every})
    middle = highest[len(highest) // 2]
    assert listed(f"{root}13", {}, ceiling=middle) == [v for v in every if v[-1] < middle]
    assert listed(f"{root}13", {}, top=middle) == [v for v in every if v[-1] == middle]
    assert listed(f"{root}13", {}, top=highest[-1], ceiling=highest[-1]) == []


@each_row("root", ROOTS)
def test_the_sixth_is_played_under_a_root_that_is_sung(root: str) -> None:
    """A major seventh a half step, or a minor ninth, below the tonic that is sung."""
    sung = 72 + plain.pitch_class(root)
    for symbol in (f"{root}maj7", f"{root}maj9", f"{root}mM7"):
        found = core.voicings(symbol, {"hands": "left"}, melody=[pitch_name(sung)]).voicings
        assert found
        for ranked in found:
            degrees = {note.degree for note in ranked.voicing.notes}
            assert "7" not in degrees
            assert degrees & {"6", "13"}
            assert not any(abs(note - sung) in HARSH for note in ranked.voicing.midi_notes)


def test_a_dissonance_of_the_tunes_own_is_kept_to_itself() -> None:
    """A fourth over a dominant: its third, which every voicing has, is a minor ninth below."""
    every = listed("C7", {"hands": "left"})
    assert listed("C7", {"hands": "left"}, melody=["F5"]) == every
    assert listed("C7", {"hands": "left"}, melody=["F5", "D5"]) == listed(
        "C7", {"hands": "left"}, melody=["D5"]
    )


@pytest.mark.parametrize("name", ["fosterBrownHair", "berlinAlexandersRagtime"])
@pytest.mark.parametrize("setting", SETTINGS[:3], ids=str)
def test_real_lead_sheets_are_not_refused(name: str, setting: Mapping[str, object]) -> None:
    """Of music21's corpus; a remark tells of every clash that there was no way round."""
    path_to = corpus.getWork(f"leadSheet/{name}.mxl")
    sheet = read_lead_sheet(Path_(path_to).read_bytes(), "mxl")
    path = solve(sheet.chart, setting)
    sung = [step for step in path.steps if step.voicing is not None and step.step.melody]
    assert len(sung) > 50
    clashing = 0
    for step in sung:
        assert step.voicing is not None
        notes, chord = step.voicing.midi_notes, step.step.chord
        root, alone = plain.pitch_class(str(chord.root)), setting.get("bass_player") is False
        own = "b9" in chord.degrees
        bad = [n for n in step.step.melody if harsh(notes, n, root, alone, own)]
        assert ("against the melody's" in step.remark) == bool(bad), step
        clashing += bool(bad)
    assert clashing < len(sung) / 3


# --- paths ---------------------------------------------------------------------------------------

Entry = dict[str, Any]
#: Most ways that are tried one by one.
MOST_WAYS = 20_000


def chart(*entries: Entry) -> dict[str, Any]:
    return {"measures": [[{"beats": 4, **entry}] for entry in entries]}


def against(a: Sequence[int], b: Sequence[int], top_line: str) -> int:
    up = b[-1] - a[-1]
    return {"free": 0, "hold": abs(up), "rise": max(0, -up), "fall": max(0, up)}[top_line]


def line(way: Sequence[Sequence[int]], top_line: str, loop: bool) -> int:
    """Semitones against the line; a loop's way back counts where the top is to be held."""
    back = [(way[-1], way[0])] if loop and len(way) > 1 and top_line == "hold" else []
    return sum(against(a, b, top_line) for a, b in [*pairwise(way), *back])


SYMBOLS = st.sampled_from(
    ["Dm7", "G7", "Cmaj7", "A7b9", "Fm6", "Bb13", "Ebmaj7", "F#m7b5", "C7sus"]
)
SUNG = st.one_of(
    st.just({}),
    st.builds(
        lambda notes: named({"melody": notes}),
        st.lists(st.integers(66, 84), min_size=1, max_size=2),
    ),
    st.builds(lambda note: named({"ceiling": note}), st.integers(70, 80)),
)
ENTRIES = st.lists(
    st.builds(lambda symbol, over: {"symbol": symbol, **over}, SYMBOLS, SUNG),
    min_size=2,
    max_size=4,
).filter(lambda found: all(a["symbol"] != b["symbol"] for a, b in pairwise([*found, found[0]])))
SMALL: tuple[Mapping[str, object], ...] = (
    {"hands": "left"},
    {"families": ["guide-tone-extended"]},
    {"hands": "left", "families": ["shell"], "bass_player": False},
    {"hands": "left", "pricing": "none"},
    {"families": ["guide-tone-extended"], "pricing": "none"},
)
AVAILABLE = {"tensions": "available"}


@given(
    ENTRIES, st.sampled_from(["free", "hold", "rise", "fall"]), st.sampled_from(SMALL),
    st.booleans(),
)  # fmt: skip
def test_a_top_line_is_the_first_wish_and_cost_the_second(
    entries: list[Entry], top_line: str, setting: Mapping[str, object], loop: bool
) -> None:
    """Every way through the listed voicings, and the next best ways after it."""
    graph = layered(chart(*entries), {**AVAILABLE, **setting}, loop=loop)
    if not 0 < graph.ways() < MOST_WAYS or len(entries) == 1:
        return
    options: dict[str, Any] = {"loop": loop, "top_line": top_line, "alternatives": 3}
    path = solve(chart(*entries), setting, **options)

    def key(way: Sequence[int]) -> tuple[Any, ...]:
        cost, notes, rank = graph.key(way)
        return line(notes, top_line, loop), *cost, notes, rank

    ways = sorted(map(key, product(*(range(len(layer)) for layer in graph.layers))))
    found = [key(indices(graph, of)) for of in (path, *path.alternatives)]
    assert [of[:-2] for of in found] == [of[:-2] for of in ways[:4]]
    assert found[0] == ways[0]
    assert path.top_line == (None if top_line == "free" else ways[0][0])
    assert path.cost == ways[0][1]


def indices(graph: Layered, path: Path) -> list[int]:
    """Where the voicings of a path are listed."""
    steps = (step.voicing for step in path.steps if step.voicing is not None)
    return [layer.index(voicing) for layer, voicing in zip(graph.layers, steps, strict=True)]


@given(st.lists(st.builds(lambda s, o: {"symbol": s, **o}, SYMBOLS, SUNG), min_size=2, max_size=12))
def test_networkx_finds_no_shorter_way_under_a_melody(entries: list[Entry]) -> None:
    for pricing in ("comfort", "none"):
        setting = {"repeats": "change", "hands": "left", "pricing": pricing}
        graph = layered(chart(*entries), {**AVAILABLE, **setting})
        if not all(graph.layers) or any(a["symbol"] == b["symbol"] for a, b in pairwise(entries)):
            return
        path = solve(chart(*entries), setting)
        assert path.cost == graph.by_networkx()
        assert len(indices(graph, path)) == len(entries)


@each_row("root", ROOTS)
def test_notes_that_sound_are_part_of_the_line(root: str) -> None:
    """Before the first step, too, the line comes before the cost; the two disagree at times."""
    entries = [{"symbol": f"{root}m7"}, {"symbol": f"{root}7"}]
    before = (53, 58, 63, 67, 72)
    graph = layered(chart(*entries), AVAILABLE, start_from=before)
    first, second = graph.layers
    costs = {
        (i, j): graph.node(0, i)[0] + graph.edge(0, i, 1, j)[0] + graph.node(1, j)[0]
        for i, j in product(range(len(first)), range(len(second)))
    }
    for top_line in ("hold", "rise", "fall"):
        path = solve(chart(*entries), start_from=before, top_line=top_line)
        best = min(
            (line((before, first[i].midi_notes, second[j].midi_notes), top_line, loop=False), cost)
            for (i, j), cost in costs.items()
        )
        assert (path.top_line, path.cost) == best
