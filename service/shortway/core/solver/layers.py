"""Layers: the steps of a chart that share one voicing, with the candidates of each.

Knows steps, pins and candidates, no costs. An N.C. belongs to no layer; the path skips it.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import reduce
from itertools import repeat
from operator import or_
from typing import Final, NamedTuple

from shortway.core.charts import Step
from shortway.core.errors import Fault, NoVoicing
from shortway.core.harmony.context import Context
from shortway.core.settings.setting import Setting
from shortway.core.solver.pins import Pin
from shortway.core.theory.chord import Chord
from shortway.core.theory.pitch import pitch_name
from shortway.core.voicings.candidate_arrays import Candidates
from shortway.core.voicings.candidates import candidates
from shortway.core.voicings.melody_constraints import MelodyConstraint, under_melody
from shortway.core.voicings.pricing import Wants


class Layer(NamedTuple):
    """Steps that share one voicing, in playing order; in a loop they may wrap round the end.

    Attributes
    ----------
    colours : tuple of str or None
        Degrees that the context adds; None leaves them to the setting.
    wants : tuple of tuple of str
        Groups of degrees that the context asks for.
    """

    chord: Chord
    steps: tuple[int, ...]
    colours: tuple[str, ...] | None = None
    wants: Wants = ()

    def offered(self, setting: Setting) -> tuple[str, ...]:
        """The degrees that its voicings may add to those of the symbol."""
        if self.colours is not None:
            return self.chord.content.added(self.colours)
        return () if setting.tensions == "written" else self.chord.colours


def group_steps(
    steps: Sequence[Step],
    pins: Sequence[Pin],
    *,
    hold: bool,
    loop: bool,
    melody: str = "avoid",
    contexts: Sequence[Context | None] = (),
) -> tuple[Layer, ...]:
    """The layers of a chart in playing order.

    With `hold`, a step with the chord of the step before joins its layer, unless a pin names it,
    it requires another top note (`melody` is the setting's) or its context has other colours or
    wants; in a loop the first step follows the last. `contexts` has the context of every step;
    without, each takes the colours that the chart gives it.
    """
    pinned = {pin.step for pin in pins}

    def top(step: Step) -> int | None:
        return melody_constraint(step).on_top(melody) if step.melody else step.top

    def joins(layer: Layer, before: Layer) -> bool:
        """Whether a layer with the chord of the one before, or of the last, holds its voicing."""
        index, first = layer.steps[0], before.steps[0]
        return (
            hold
            and index not in pinned
            and top(steps[index]) in (None, top(steps[first]))
            and layer[2:] == before[2:]
        )

    found: list[Layer] = []
    last = ""
    for step, context in zip(steps, contexts or repeat(None), strict=False):
        chord = step.chord
        name = chord.name
        if chord.root is not None:
            colours, wants = (
                (step.colours, ()) if context is None else (context.colours, context.wants)
            )
            layer = tuple.__new__(Layer, (chord, (step.number,), colours, wants))
            if name == last and joins(layer, found[-1]):
                found[-1] = layer._replace(steps=found[-1].steps + layer.steps)
            else:
                found.append(layer)
        last = name
    around = loop and len(found) > 1 and found[0].steps[0] == 0 and steps[0].chord.name == last
    if around and joins(found[0], found[-1]):
        found[0] = found[-1]._replace(steps=found.pop().steps + found[0].steps)
    return tuple(found)


def melody_constraint(step: Step) -> MelodyConstraint:
    """The melody, ceiling and top of a step."""
    return MelodyConstraint(step.melody, step.ceiling, step.top)


def layer_candidates(
    layer: Layer, steps: Sequence[Step], pins: Sequence[Pin], setting: Setting
) -> Candidates:
    """The candidates of `layer` that satisfy its steps' melody, ceiling and top, and its pins.

    Raises
    ------
    NoVoicing
        If none is left, with the step and how many candidates each rule excludes.
    PinError
        If no candidate matches its pins; the pointer names the first pin that leaves none.
    """
    found = candidates(layer.chord, setting, layer.colours)
    if len(found) == 0:
        raise _nothing(steps[layer.steps[0]], layer.steps[0], found)
    constraint = reduce(or_, (melody_constraint(steps[index]) for index in layer.steps))
    if constraint:
        kept = under_melody(
            layer.chord, lambda of: candidates(of, setting, layer.colours), constraint, setting
        )
        if len(kept.candidates) == 0:
            raise _nothing_under(layer, steps, kept.excluded)
        found = kept.candidates
    remaining = found
    for number, pin in enumerate(pins):
        if pin.step in layer.steps:
            remaining = remaining.take(pin.meets(remaining))
            if len(remaining) == 0:
                raise pin.refusal(found, steps[pin.step].symbol, f"/pins/{number}")
    return remaining


def _nothing(step: Step, index: int, found: Candidates) -> NoVoicing:
    counts = ", ".join(f"{rule} {count}" for rule, count in found.excluded.items())
    why = f"excluded by {counts}" if counts else "none of the families serves it"
    detail = f"{_place_of(step, index)} has no voicing under this setting: {why}"
    expected = "a wider range or reach, other families, or another number of notes"
    return NoVoicing(detail, Fault("/chart", detail, expected=expected), excluded=found.excluded)


def _place_of(step: Step, index: int) -> str:
    return f"step {index} ({step.symbol}, measure {step.measure}, beat {step.beat})"


# --- nothing left --------------------------------------------------------------------------------

#: Most notes that a detail names.
_NAMED: Final = 8
_HELP: Final = {
    "ceiling": "a higher ceiling, or a range that begins lower",
    "top": "another top note, or more families",
    "melody-clash": 'fewer melody notes, another chord, or "melody": "ignore" in the setting',
}


def _nothing_under(layer: Layer, steps: Sequence[Step], excluded: dict[str, int]) -> NoVoicing:
    """The error that melody, ceiling and top leave no voicing, at the field that excludes most."""
    rule = list(excluded)[-1]
    name = "melody" if rule.startswith("melody") else rule
    index = next(k for k in layer.steps if getattr(steps[k], name) not in (None, ()))
    value = getattr(steps[index], name)
    notes = value if isinstance(value, tuple) else (value,)
    named = " ".join(map(pitch_name, notes[:_NAMED])) + " …" * (len(notes) > _NAMED)
    counts = ", ".join(f"{count} by {rule}" for rule, count in excluded.items())
    detail = (
        f"{_place_of(steps[index], index)} has no voicing under its {name} {named}: lost {counts}"
    )
    fault = Fault(f"{_pointer(steps, index)}/{name}", detail, expected=_HELP[rule])
    return NoVoicing(detail, fault, excluded=excluded)


def _pointer(steps: Sequence[Step], index: int) -> str:
    """Where a step's chord stands in the chart's JSON form."""
    place = index
    while place and _follows(steps[place - 1], steps[place]):
        place -= 1
    return f"/chart/measures/{steps[index].measure - 1}/{index - place}"


def _follows(before: Step, after: Step) -> bool:
    return before.measure == after.measure and before.beat < after.beat
