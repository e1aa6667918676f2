"""Local keys: the price of what is found against networkx's shortest path through the keys."""

from __future__ import annotations

from itertools import pairwise
from random import Random

import networkx as nx

from shortway.core.harmony import key_estimation as of

Cadence = tuple[int, int, int, bool]


def prices_of(chords: list[int], own: list[int | None], cadences: list[Cadence]) -> list[list[int]]:
    """What each chord costs in each key."""
    prices = [[price for _, price in of._PLACES[chord]] for chord in chords]
    for number, key in enumerate(own):
        if key is not None:
            prices[number][key] -= of._OWN
    root, kind = divmod(chords[0], len(of.CLASSES))
    if of.CLASSES[kind] in "Mm7":
        prices[0][of.key_of(root, of.CLASSES[kind] == "m")] -= of._FIRST
    for first, second, key, tonic in cadences:
        for number in (first, second):
            prices[number][key] -= of._RESOLVED if tonic else of._TWO_FIVE
    return prices


def least(prices: list[list[int]]) -> int:
    """The length of networkx's shortest path; prices are raised so that none is below 0."""
    graph = nx.DiGraph()
    for key in range(24):
        graph.add_edge("start", (0, key), weight=prices[0][key] + 32)
        graph.add_edge((len(prices) - 1, key), "end", weight=0)
    for number in range(1, len(prices)):
        for before in range(24):
            for key in range(24):
                change = of._CHANGE * (before != key)
                weight = prices[number][key] + 32 + change
                graph.add_edge((number - 1, before), (number, key), weight=weight)
    length: int = nx.shortest_path_length(graph, "start", "end", weight="weight")
    return length - 32 * len(prices)


def test_the_keys_cost_the_least() -> None:
    draw = Random(11)
    for _ in range(25):
        count = draw.randint(1, 12)
        chords = [draw.randrange(60) for _ in range(count)]
        own = [draw.choice([None, 3, 10]) for _ in chords] if draw.random() < 0.5 else []
        cadences = [
            (number, number + 1, draw.randrange(24), draw.random() < 0.5)
            for number in range(count - 1)
            if draw.random() < 0.6
        ]
        keys = of.local_keys(chords, own, cadences)
        prices = prices_of(chords, own, cadences)
        cost = sum(row[key] for row, key in zip(prices, keys, strict=True))
        cost += of._CHANGE * sum(a != b for a, b in pairwise(keys))
        assert cost == least(prices)
