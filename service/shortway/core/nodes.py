"""Nodes: the steps of a chart as the layers that a path goes through.

Knows steps, pins and candidates, no costs. Steps that hold one voicing make one node; an N.C. makes
none, and the path goes across it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from shortway.core.chart import Step
from shortway.core.chord import Chord
from shortway.core.errors import Fault, NoVoicing
from shortway.core.pins import Pin
from shortway.core.placing import candidates
from shortway.core.setting import Setting
from shortway.core.voicing import Candidates


@dataclass(frozen=True, slots=True)
class Node:
    """Steps that share one voicing, in playing order; in a loop they may go round the end."""

    chord: Chord
    steps: tuple[int, ...]


def group(
    steps: Sequence[Step], pins: Sequence[Pin], *, hold: bool, loop: bool
) -> tuple[Node, ...]:
    """The nodes of a chart in playing order.

    With `hold`, a step with the chord of the step before joins its node, unless a pin names it;
    in a loop the first step follows the last.
    """
    pinned = {pin.step for pin in pins}
    runs: list[list[int]] = []
    for index, step in enumerate(steps):
        if step.chord.root is None:
            continue
        if hold and runs and index not in pinned and _holds(steps, index):
            runs[-1].append(index)
        else:
            runs.append([index])
    if hold and loop and len(runs) > 1 and 0 not in pinned and _holds(steps, 0):
        runs[0] = runs.pop() + runs[0]
    return tuple(Node(steps[run[0]].chord, tuple(run)) for run in runs)


def _holds(steps: Sequence[Step], index: int) -> bool:
    """Whether the step before `index` (of the first: the last) has the same chord."""
    if index == 0 and steps[0].chord.root is None:
        return False
    return steps[index - 1].chord.name == steps[index].chord.name


def layer(node: Node, steps: Sequence[Step], pins: Sequence[Pin], setting: Setting) -> Candidates:
    """The candidates of `node` that its pins leave.

    Raises
    ------
    NoVoicing
        If the setting leaves the chord none, with the step and the toll of each rule.
    PinError
        If no candidate meets its pins; the pointer names the first pin that leaves none.
    """
    found = candidates(node.chord, setting)
    if len(found) == 0:
        raise _nothing(steps[node.steps[0]], node.steps[0], found)
    left = found
    for number, pin in enumerate(pins):
        if pin.step in node.steps:
            left = left.take(pin.meets(left))
            if len(left) == 0:
                raise pin.refusal(found, steps[pin.step].symbol, f"/pins/{number}")
    return left


def _nothing(step: Step, index: int, found: Candidates) -> NoVoicing:
    toll = ", ".join(f"{rule} {count}" for rule, count in found.excluded.items())
    why = f"excluded by {toll}" if toll else "none of the families serves it"
    detail = (
        f"step {index} ({step.symbol}, measure {step.measure}, beat {step.beat}) has no voicing "
        f"under this setting: {why}"
    )
    expected = "a wider range or reach, other families, or another number of notes"
    return NoVoicing(detail, Fault("/chart", detail, expected=expected), excluded=found.excluded)
