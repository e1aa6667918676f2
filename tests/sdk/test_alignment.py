"""Which steps of an edited chart are the same: against trying every subsequence, and by example."""

from __future__ import annotations

import json
import subprocess
from collections.abc import Sequence
from functools import cache
from itertools import pairwise
from pathlib import Path
from shutil import which
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from shortway import page
from shortway_client.alignment import StepKey, align_steps, common
from support.tables import each_row


def keys(text: str) -> list[StepKey]:
    """Steps of measures between bars; ``=`` in front of one repeats the number of the last."""
    steps: list[StepKey] = []
    number = 0
    for measure in text.split("|"):
        number += not measure.startswith("=")
        symbols = measure.lstrip("=").split()
        steps += [StepKey(number, 1 + k * 4 / len(symbols), s) for k, s in enumerate(symbols)]
    return steps


EDITS = [
    # one chord edited: its step and all others
    ("A|B|C|D", "A|X|C|D", "0-0 1-1 2-2 3-3"),
    # a measure inserted, deleted, moved to the end
    ("A|B|C", "A|N|B|C", "0-0 1-2 2-3"),
    ("A|B|C|D", "A|C|D", "0-0 2-1 3-2"),
    ("A|B|C", "B|C|A", "1-0 2-1"),
    # a chord inserted into a measure: steps at equal beats; a measure split: equal symbols
    ("A|B|C", "A|B X|C", "0-0 1-1 2-3"),
    ("A|B X Y|C", "A|B|X Y|C", "0-0 1-1 2-2 3-3 4-4"),
    # measures inserted beside an edited one: equal symbols only
    ("A|B|C", "A|X|Y|C", "0-0 2-3"),
    ("A|B Z|C", "A|X|Z Y|C", "0-0 2-2 3-4"),
    # a repeated measure is two
    ("A|=A|B", "A|B", "0-0 2-1"),
    ("A|=A|B", "X|=X|B", "0-0 1-1 2-2"),
    ("", "A", ""),
]


@each_row("old, new, expected", EDITS)
def test_an_edit_keeps_the_steps_that_stay(old: str, new: str, expected: str) -> None:
    pairs = align_steps(keys(old) if old else [], keys(new))
    assert " ".join(f"{i}-{k}" for i, k in pairs) == expected


def longest(a: Sequence[str], b: Sequence[str]) -> int:
    """The length of a longest common subsequence, by the recursion of its definition."""

    @cache
    def of(i: int, j: int) -> int:
        if i == len(a) or j == len(b):
            return 0
        return max(of(i + 1, j), of(i, j + 1), (a[i] == b[j]) * (1 + of(i + 1, j + 1)))

    return of(0, 0)


WORD = st.text("abc", max_size=12)


@given(WORD, WORD)
def test_a_longest_common_subsequence(a: str, b: str) -> None:
    pairs = common(a, b)
    assert all(a[i] == b[j] for i, j in pairs)
    assert all(i < k and j < m for (i, j), (k, m) in pairwise(pairs))
    assert len(pairs) == longest(a, b)


def test_no_more_is_compared_than_may_be(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("shortway_client.alignment.MOST_PAIRS", 3)
    assert common("abxyc", "abyxc") == [(0, 0), (1, 1), (4, 4)]


STEPS = st.lists(st.tuples(st.integers(1, 3), st.sampled_from([1, 3]), st.sampled_from("AB")))


@pytest.mark.skipif(which("node") is None, reason="needs node")
def test_the_page_aligns_alike() -> None:
    cases: list[tuple[Any, Any]] = [(keys(old), keys(new)) for old, new, _ in EDITS]

    @given(STEPS, STEPS)
    def draw(old: Any, new: Any) -> None:
        cases.append((old, new))

    draw()
    module = Path(page.__file__).parent / "state" / "alignment.js"
    code = (
        f"import {{ alignSteps }} from {json.dumps(module.as_uri())};"
        "const steps = (of) => of.map(([measure, beat, symbol]) => ({ measure, beat, symbol }));"
        f"const found = {json.dumps(cases)}.map(([a, b]) => alignSteps(steps(a), steps(b)));"
        "console.log(JSON.stringify(found));"
    )
    run = subprocess.run(
        ["node", "--input-type=module", "-e", code], capture_output=True, text=True, check=True
    )
    expected = [
        [list(pair) for pair in align_steps([StepKey(*s) for s in a], [StepKey(*s) for s in b])]
        for a, b in cases
    ]
    assert json.loads(run.stdout) == expected
