"""Prices from outside: a stranger with HTTP and networkx finds the optimum that is answered.

Voicings come from ``POST /v1/voicings`` under the resolved setting and each step's context, their
prices as listed; motion and the prices of moves are worked out here, from what ``GET /v1/prices``
says that they count. No source but the contract.
"""

from __future__ import annotations

from itertools import pairwise
from typing import Any

import networkx as nx
import pytest

from shortway.api import create_app

Json = dict[str, Any]

CHARTS = (
    ["Dm7", "G7", "Cmaj7", "Am7b5", "D7", "Gm6"],
    ["Csus", "C7", "Fmaj7", "Bb7", "Am7", "Ab7", "Gm7"],
    ["C", "G/B", "Am", "F", "G7sus", "G7", "C"],
    ["Bdim7", "E7alt", "Am9", "D13b9", "Gmaj7"],
)
SETTINGS: tuple[Json, ...] = (
    {},
    {"hands": "left"},
    {"bass_player": False},
    {"prices": {"top-note-held": 0, "register": 5, "cluster": 7}},
    {"pricing": "none"},
)


def upper(voicing: Json) -> list[int]:
    """The notes that motion counts."""
    return [n["midi"] for hand in ("left", "right") for n in voicing[hand] if not n["is_bass"]]


def move(chords: tuple[Json, Json], prices: Json, a: Json, b: Json) -> int:
    """Motion and prices of a move between two steps' voicings."""
    low, high = upper(a), upper(b)
    cost = sum(abs(x - y) for x, y in zip(low, high, strict=True))
    old, new = ({k: c[k] for k in ("root", "kind", "kind_degrees")} for c in chords)
    if old == new:
        return cost
    cost += prices["unheard-change"] * (a["midi_notes"] == b["midi_notes"])
    cost += prices["top-note-held"] * (a["midi_notes"][-1] == b["midi_notes"][-1])
    fourth, third = ({t["degree"]: t["pitch_class"] for t in c["tones"]} for c in chords)
    if old["root"] == new["root"] and "3" not in fourth and "4" in fourth and "3" in third:
        stays = [y for x, y in zip(low, high, strict=True) if x % 12 == fourth["4"] and y != x - 1]
        cost += prices["suspension-unresolved"] * len(stays)
    return cost


@pytest.mark.parametrize("setting", SETTINGS, ids=str)
@pytest.mark.parametrize("symbols", CHARTS, ids=" ".join)
def test_a_stranger_finds_the_same_least_cost(symbols: list[str], setting: Json) -> None:
    client = create_app().test_client()
    body = {"chart": {"text": f"| {' | '.join(symbols)} |"}, "setting": setting}
    path = client.post("/v1/paths", json=body).json
    resolved = path["setting"]
    prices = resolved["prices"]
    if resolved["pricing"] == "none":
        prices = dict.fromkeys(prices, 0)
    graph = nx.DiGraph()
    layers = []
    for step in path["steps"]:
        asked = {"symbol": step["symbol"], "setting": resolved, "limit": 1000}
        asked |= {"context": step["context"]} if step["context"] else {}
        layers.append(client.post("/v1/voicings", json=asked).json["voicings"])
    names = [{"symbol": step["symbol"]} for step in path["steps"]]
    chords = [client.get("/v1/chords", query_string=name).json for name in names]
    for i, voicing in enumerate(layers[0]):
        graph.add_edge("begin", (0, i), weight=voicing["price"])
    memo: dict[tuple[int, tuple[int, ...], tuple[int, ...]], int] = {}
    for k, (a, b) in enumerate(pairwise(layers)):
        for i, low in enumerate(a):
            for j, high in enumerate(b):
                key = k, tuple(low["midi_notes"]), tuple(high["midi_notes"])
                if key not in memo:
                    memo[key] = move((chords[k], chords[k + 1]), prices, low, high)
                graph.add_edge((k, i), (k + 1, j), weight=memo[key] + high["price"])
    last = len(layers) - 1
    graph.add_edges_from((((last, j), "end") for j in range(len(layers[last]))), weight=0)
    assert nx.dijkstra_path_length(graph, "begin", "end") == path["cost"]
    assert path["cost"] == path["motion"] + sum(item["total"] for item in path["price_items"])
    assert path["cost"] == sum(step["cost"] for step in path["steps"])


def test_the_table_holds_the_defaults_of_the_setting() -> None:
    client = create_app().test_client()
    table = client.get("/v1/prices").json["prices"]
    path = client.post("/v1/paths", json={"chart": {"text": "| C7 |"}}).json
    assert {price["name"]: price["default"] for price in table} == path["setting"]["prices"]
    assert {price["kind"] for price in table} == {"voicing", "move"}
    assert all(price["counts"] and price["source"] for price in table)


@pytest.mark.parametrize(
    ("prices", "code", "pointer"),
    [
        ({"comfort": 3}, "unknown-field", "/setting/prices/comfort"),
        ({"cluster": -1}, "out-of-range", "/setting/prices/cluster"),
        ({"cluster": 101}, "out-of-range", "/setting/prices/cluster"),
        ({"cluster": 1.5}, "wrong-type", "/setting/prices/cluster"),
        ({"cluster": "3"}, "wrong-type", "/setting/prices/cluster"),
    ],
)
def test_a_price_that_cannot_be_is_rejected(prices: Json, code: str, pointer: str) -> None:
    body = {"chart": {"text": "| Dm7 | G7 |"}, "setting": {"prices": prices}}
    said = create_app().test_client().post("/v1/paths", json=body)
    assert said.status_code == 422
    assert said.json["code"] == code
    assert said.json["errors"][0]["pointer"] == pointer
    assert said.json["errors"][0]["expected"]
