"""Distinct charts like those that people play, drawn from realistic.json; a seed draws the same.

Lengths, meters, chords a measure, suffixes and what follows what are as in two corpora of jazz
standards. Sections of eight measures come again, as in most forms (common practice, no source).
"""

from __future__ import annotations

import json
import random
from collections.abc import Iterator
from itertools import accumulate, pairwise
from pathlib import Path
from typing import Any

_FACTS: dict[str, Any] = json.loads(Path(__file__).with_name("realistic.json").read_text())
_FORMS = ("AABA", "AABA", "ABAC", "AB", "AAB", "ABCD")
_SECTION = 8
_ROOTS = ("C", "Db", "D", "Eb", "E", "F", "Gb", "G", "Ab", "A", "Bb", "B")

Chart = dict[str, Any]


def charts(seed: int) -> Iterator[Chart]:
    """Charts in the JSON form, without end."""
    draw = random.Random(seed)
    while True:
        yield _chart(draw)


def _of(draw: random.Random, shares: dict[str, float]) -> str:
    return draw.choices(list(shares), cum_weights=list(accumulate(shares.values())))[0]


def _chart(draw: random.Random) -> Chart:
    meter = _of(draw, _FACTS["meters"])
    form, sections = draw.choice(_FORMS), {}
    root, suffix = draw.randrange(12), _of(draw, _FACTS["suffixes"])
    for name in sorted(set(form)):
        sections[name] = []
        for _ in range(_SECTION):
            count = min(int(_of(draw, _FACTS["chords_a_measure"])), int(meter.split("/")[0]))
            measure = []
            for beats in _shares(int(meter.split("/")[0]), count):
                measure.append({"symbol": _ROOTS[root] + suffix, "beats": beats})
                root, suffix = _next(draw, root, suffix)
            sections[name].append(measure)
    length = _length(draw)
    played = [measure for name in form * 20 for measure in sections[name]]
    return {"meter": meter, "measures": played[:length]}


def _length(draw: random.Random) -> int:
    """A number of measures: between two quantiles every one is as likely."""
    quantiles = list(_FACTS["measures"].values())
    low, high = draw.choice([*pairwise(quantiles)])
    return draw.randint(low, high)


def _shares(beats: int, count: int) -> list[int]:
    return [beats // count + (k < beats % count) for k in range(count)]


def _next(draw: random.Random, root: int, suffix: str) -> tuple[int, str]:
    known = [row for row in _FACTS["transitions"] if row[0] == suffix]
    if known and draw.random() < 0.8:
        row = draw.choices(known, weights=[share for *_, share in known])[0]
        return (root + row[1]) % 12, row[2]
    return (root + int(_of(draw, _FACTS["root_motion"]))) % 12, _of(draw, _FACTS["suffixes"])
