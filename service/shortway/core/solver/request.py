"""Request: the arguments of `solve` and similar functions, read into a problem.

Knows charts, contexts, settings and layers; pointers of faults begin with the argument's name.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import replace
from typing import Final

from shortway.core import charts
from shortway.core.charts import Chart, Step
from shortway.core.errors import PinError, ShortwayError
from shortway.core.harmony.context import Context
from shortway.core.harmony.functions import contexts, suspended_dominants
from shortway.core.settings.fields import read_choice
from shortway.core.settings.setting import Setting, resolve
from shortway.core.solver.layers import group_steps
from shortway.core.solver.pins import Pin, read_keep, read_notes, read_pins
from shortway.core.solver.priced_layers import priced_layers
from shortway.core.solver.problem import PathProblem
from shortway.core.symbols.parser import parse
from shortway.core.theory.chord import Chord
from shortway.core.voice_leading.objective import TOP_LINES
from shortway.core.voicings.candidate_arrays import Candidates, sounding

_REST: Final = parse("N.C.")


def build_problem(
    chart: Chart,
    setting: Mapping[str, object] | Setting | None = None,
    *,
    loop: bool = False,
    pins: Sequence[Pin | Mapping[str, object]] = (),
    start_from: Sequence[int] | None = None,
    top_line: str = "free",
    keep: Sequence[Mapping[str, object]] = (),
    silent: Collection[int] = (),
) -> PathProblem:
    """The problem of a request, its arguments read as `solve` reads them.

    Parameters
    ----------
    silent : collection of int
        Steps without a voicing, as if they were N.C.

    Raises
    ------
    ChartError, SymbolError, SettingError, PinError, NoVoicing
        With pointers below ``/chart``, ``/setting``, ``/pins``, ``/keep`` and ``/start_from``.
    """
    steps = charts.unroll(chart)
    resolved = resolved_setting(setting, [step.chord for step in steps])
    fixed = pins_of(pins, steps)
    found: Sequence[Context | None] = ()
    if resolved.tensions == "in-context":
        found = contexts(chart, steps, loop=loop, melody=resolved.melody != "ignore")
    elif resolved.tensions == "written":
        found = suspended_dominants(chart, steps, loop=loop)
    audible = steps
    if silent:
        audible = tuple(s._replace(chord=_REST) if s.number in silent else s for s in steps)
    hold = resolved.repeats == "hold"
    melody = resolved.melody
    layers = group_steps(audible, fixed, hold=hold, loop=loop, melody=melody, contexts=found)
    priced = priced_layers(layers, steps, fixed, resolved)
    before = None if start_from is None else _before(start_from, resolved)
    line = read_choice({"top_line": top_line}, "top_line", TOP_LINES, "free")
    problem = PathProblem(steps, layers, priced, resolved, before, loop, line, found)
    return problem.keeping(_keep_of(keep)) if keep else problem


def in_range(problem: PathProblem, setting: Setting) -> PathProblem:
    """A problem without pins in a setting of another range.

    Raises
    ------
    NoVoicing
        As `build_problem` does.
    """
    priced = priced_layers(problem.layers, problem.steps, (), setting)
    return replace(problem, setting=setting, priced=priced)


def as_chart(chart: Chart | str | Mapping[str, object]) -> Chart:
    """A chart, its text or its JSON form as a chart.

    Raises
    ------
    ChartError, SymbolError
        With pointers below ``/chart``.
    """
    if isinstance(chart, Chart):
        return chart
    try:
        return charts.parse_chart(chart)
    except ShortwayError as error:
        raise error.under("/chart") from None


def pins_of(given: Sequence[Pin | Mapping[str, object]], steps: Sequence[Step]) -> tuple[Pin, ...]:
    """Pins, each at a step with a chord.

    Raises
    ------
    SettingError, PinError
        With pointers below ``/pins``.
    """
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


def _keep_of(given: Sequence[Mapping[str, object]]) -> dict[int, tuple[int, ...]]:
    try:
        return read_keep(given)
    except ShortwayError as error:
        raise error.under("/keep") from None


def _before(start_from: Sequence[int], setting: Setting) -> Candidates:
    notes = read_notes(start_from, "/start_from")
    return sounding(notes, has_bass=not setting.bass_player)


def resolved_setting(
    setting: Mapping[str, object] | Setting | None, chords: Sequence[Chord] = ()
) -> Setting:
    """The full setting for a chart of these `chords`.

    Raises
    ------
    SettingError
        With pointers below ``/setting``.
    """
    try:
        return resolve(setting, chords)
    except ShortwayError as error:
        raise error.under("/setting") from None
