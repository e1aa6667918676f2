"""Solve: a chart and a setting in, the path of least cost out.

Knows every other module of the core and does the work of none: steps are grouped into layers, each
layer gets its candidates and their prices, `exact` finds the path, and `report` writes it down.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import replace
from typing import Final

import numpy as np
from numpy.typing import NDArray

from shortway.core import charts
from shortway.core.charts import Chart, Step
from shortway.core.charts.json_entries import read_colours, read_melody_constraint
from shortway.core.errors import PinError, SettingError, ShortwayError, TooLarge, WrongType, one_of
from shortway.core.harmony.context import Context
from shortway.core.harmony.functions import contexts, suspended_dominants
from shortway.core.settings.prices import VOICING_PRICES
from shortway.core.settings.setting import Setting, resolve
from shortway.core.solver.exact import least_motion, solve_k_best
from shortway.core.solver.layers import Layer, group_steps, layer_candidates
from shortway.core.solver.pins import Pin, read_notes, read_pins
from shortway.core.solver.problem import PathProblem
from shortway.core.solver.report import build_path, price_items
from shortway.core.solver.results import Listing, Path, PathStep, PriceItem, Ranked, Size
from shortway.core.symbols.parser import parse
from shortway.core.theory.chord import Chord
from shortway.core.voice_leading.distance import moves_between
from shortway.core.voice_leading.objective import TOP_LINES, VoicingCosts, voicing_costs
from shortway.core.voice_leading.remarks import Move
from shortway.core.voicings.candidates import candidates
from shortway.core.voicings.melody_constraints import MelodyConstraint, under_melody
from shortway.core.voicings.model import Candidates, sounding
from shortway.core.voicings.pricing import voicing_counts

__all__ = [
    "Listing", "Move", "Path", "PathStep", "Pin", "PriceItem", "Ranked", "Size", "solve",
    "voicings",
]  # fmt: skip

#: Most alternatives of one request.
MOST_ALTERNATIVES: Final = 50
#: Most steps that one answer tells, alternatives included.
MOST_TOLD: Final = 50_000

_REST: Final = parse("N.C.")


def voicings(
    symbol: str | Chord,
    setting: Mapping[str, object] | Setting | None = None,
    *,
    after: Sequence[int] | None = None,
    melody: Sequence[int | str] | None = None,
    ceiling: int | str | None = None,
    top: int | str | None = None,
    colours: Sequence[str] | None = None,
    context: Context | None = None,
    limit: int | None = None,
    offset: int = 0,
) -> Listing:
    """Every voicing of a chord with its price, in the stable order or least costly first.

    Parameters
    ----------
    symbol : str or Chord
    setting : mapping or Setting, optional
    after : sequence of int, optional
        MIDI numbers of the notes that sound, the bass among them where nobody else plays it. Then
        voicings are ranked as a path would rank them: cost, motion, colours, bass motion, squared
        moves, top voice, distance from home.
    melody, ceiling, top : optional
        What holds over the chord, notes by name or MIDI number, as in an entry of a chart: what a
        step's voicings are that has them.
    colours : sequence of str, optional
        Degrees that may be added to what the symbol writes; without them and a context
        ``in-context`` adds what ``available`` does.
    context : Context, optional
        What the chord does where it stands, such as a step's of a path: its colours are added, and
        what it asks for is priced.
    limit, offset : int, optional
        The page; everything where not given.

    Raises
    ------
    SymbolError, SettingError

    >>> listing = voicings("F7", {"families": ["guide-tone"]}, after=[52, 58, 60, 67])
    >>> listing.voicings[0].motion, listing.voicings[0].voicing.midi
    (4, (51, 57, 60, 65))
    """
    chord = parse(symbol) if isinstance(symbol, str) else symbol
    resolved = _resolved(setting)
    if chord.root is None:
        return Listing(chord, resolved, 0, ())
    fields = {"melody": melody, "ceiling": ceiling, "top": top}
    over = MelodyConstraint(
        *read_melody_constraint({k: v for k, v in fields.items() if v is not None}, "")
    )
    added = None if context is None else context.colours
    added = added if colours is None else read_colours(colours, "/colours")
    layer = Layer(chord, (0,), added, () if context is None else context.wants)
    found = candidates(chord, resolved, added)
    if over:
        found = under_melody(
            chord, lambda of: candidates(of, resolved, added), over, resolved
        ).candidates
    costs = voicing_costs(found, resolved, layer.offered(resolved), layer.wants)
    counts = voicing_counts(found, layer.wants, resolved.home)
    order = np.arange(len(found))
    motion: list[int] | None = None
    if after is not None:
        before = sounding(read_notes(after, "/after"), has_bass=found.has_bass)
        order, motion = _least_costly_first(before, found, costs, resolved)
    page = order[offset : None if limit is None else offset + limit].tolist()
    listed = (
        Ranked(
            found.voicing(k, chord),
            price := int(costs.price[k]),
            price_items(VOICING_PRICES, counts[:, k].tolist(), resolved.voicing_prices),
            motion[k] if motion else None,
            motion[k] + price if motion else None,
        )
        for k in page
    )
    return Listing(chord, resolved, len(found), tuple(listed))


def _resolved(
    setting: Mapping[str, object] | Setting | None, chords: Sequence[Chord] = ()
) -> Setting:
    try:
        return resolve(setting, chords)
    except ShortwayError as error:
        raise error.under("/setting") from None


def _least_costly_first(
    before: Candidates, found: Candidates, costs: VoicingCosts, setting: Setting
) -> tuple[NDArray[np.intp], list[int]]:
    """The order of preference after `before`, and the motion of each."""
    step = moves_between(before, found, setting.split_cost)
    motion, squares, top = step.motion[0], step.squares[0], step.top[0]
    bass = np.zeros(len(found), np.int32) if step.bass is None else step.bass[0]
    keys = (costs.home, top, squares, bass, costs.lacking, motion, motion + costs.price)
    return np.lexsort(keys), motion.tolist()


def solve(
    chart: Chart | str | Mapping[str, object],
    setting: Mapping[str, object] | Setting | None = None,
    *,
    loop: bool = False,
    pins: Sequence[Pin | Mapping[str, object]] = (),
    start_from: Sequence[int] | None = None,
    alternatives: int = 0,
    differs_in: int = 1,
    top_line: str = "free",
    with_least_motion: bool = False,
) -> Path:
    """The path of least cost: the global optimum over every candidate of every step.

    Parameters
    ----------
    chart : Chart, str or mapping
        A chart, its text, or its JSON form.
    setting : mapping or Setting, optional
    loop : bool
        Whether the form is played round and round; the way from the last step to the first then
        counts, and the whole loop is solved exactly.
    pins : sequence of Pin or mapping
        What given steps must be.
    start_from : sequence of int, optional
        MIDI numbers of the notes already sounding, the bass among them where nobody else plays it.
    alternatives, differs_in : int, optional
        How many further paths, 0 to 50: each the best of those that differ from the best path and
        all earlier alternatives in at least `differs_in` steps. With 1 they are the next best paths
        there are.
    top_line : {"free", "hold", "rise", "fall"}
        What is asked of the top voice. The semitones by which it moves (hold), falls (rise) or
        rises (fall) are least before anything else, then cost is; in a loop a line that rises or
        falls begins anew with each round.
    with_least_motion : bool
        Whether the answer says what the least motion would be, by a second search without prices.

    Raises
    ------
    ChartError, SymbolError, SettingError, PinError
        With pointers below ``/chart``, ``/setting``, ``/pins`` and ``/start_from``.
    NoVoicing
        If a step has no voicing, with what each rule threw out.
    TooLarge
        If the request is too large to be solved exactly.

    >>> path = solve("| Dm7 | G7 | Cmaj7 | % |", {"families": ["guide-tone-extended"]})
    >>> path.motion, [step.motion for step in path.steps]
    (6, [0, 5, 1, 0])
    """
    problem = build_problem(
        as_chart(chart), setting, loop=loop, pins=pins, start_from=start_from, top_line=top_line
    )
    steps = problem.steps
    _within("alternatives", alternatives, 0, MOST_ALTERNATIVES)
    _within("differs_in", differs_in, 1, max(1, len(steps)))
    if len(steps) * (alternatives + 1) > MOST_TOLD:
        detail = f"{alternatives + 1} paths of {len(steps):,} steps are too much for one answer"
        raise TooLarge.at("/alternatives", detail, expected=f"at most {MOST_TOLD:,} steps in all")
    best, *others = map(build_path, solve_k_best(problem, alternatives, differs_in))
    least = least_motion(problem) if with_least_motion else None
    return replace(best, alternatives=tuple(others), least_motion=least)


def build_problem(
    chart: Chart,
    setting: Mapping[str, object] | Setting | None = None,
    *,
    loop: bool = False,
    pins: Sequence[Pin | Mapping[str, object]] = (),
    start_from: Sequence[int] | None = None,
    top_line: str = "free",
    silent: Collection[int] = (),
) -> PathProblem:
    """The problem of a request, its arguments read as `solve` reads them.

    Parameters
    ----------
    silent : collection of int
        Steps that the path goes across, as it does across N.C.
    """
    steps = charts.unroll(chart)
    resolved = _resolved(setting, [step.chord for step in steps])
    fixed = pins_of(pins, steps)
    sings = resolved.melody != "ignore"
    heard: Sequence[Context | None] = ()
    if resolved.tensions == "in-context":
        heard = contexts(chart, steps, loop=loop, melody=sings)
    elif resolved.tensions == "written":
        heard = suspended_dominants(chart, steps, loop=loop)
    sounding_ = [replace(s, chord=_REST) if k in silent else s for k, s in enumerate(steps)]
    hold = resolved.repeats == "hold"
    melody = resolved.melody
    layers = group_steps(sounding_, fixed, hold=hold, loop=loop, melody=melody, heard=heard)
    found = [layer_candidates(layer, steps, fixed, resolved) for layer in layers]
    costs = [
        voicing_costs(of, resolved, layer.offered(resolved), layer.wants)
        for of, layer in zip(found, layers, strict=True)
    ]
    before = None if start_from is None else _before(start_from, resolved)
    line = _top_line(top_line)
    return PathProblem(steps, layers, found, costs, resolved, before, loop, line, heard)


def _top_line(given: object) -> str:
    if not isinstance(given, str):
        raise WrongType.at("/top_line", "a top line is a word", expected=one_of(TOP_LINES))
    if given not in TOP_LINES:
        detail = f"top_line cannot be {given[:40]!r}"
        raise SettingError.at("/top_line", detail, expected=one_of(TOP_LINES))
    return given


def _within(name: str, value: int, lowest: int, most: int) -> None:
    expected = f"a whole number from {lowest} to {most}"
    if type(value) is not int:
        raise WrongType.at(f"/{name}", f"{name} is a whole number", expected=expected)
    if not lowest <= value <= most:
        raise SettingError.at(f"/{name}", f"{name} is {value}", expected=expected)


def as_chart(chart: Chart | str | Mapping[str, object]) -> Chart:
    """A chart, its text or its JSON form as a chart; pointers below ``/chart``."""
    if isinstance(chart, Chart):
        return chart
    try:
        return charts.parse_chart(chart)
    except ShortwayError as error:
        raise error.under("/chart") from None


def pins_of(given: Sequence[Pin | Mapping[str, object]], steps: Sequence[Step]) -> tuple[Pin, ...]:
    """Pins from whatever gives them, each at a step that sounds; pointers below ``/pins``."""
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


def _before(start_from: Sequence[int], setting: Setting) -> Candidates:
    notes = read_notes(start_from, "/start_from")
    return sounding(notes, has_bass=not setting.bass_player)
