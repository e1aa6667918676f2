"""Choruses: a form played several times, as one chart and one path.

Knows charts, paths and the solver. The form is solved as a loop, so that each chorus leads into
the next. An introduction comes before the first chorus and an ending after the last one. Choruses
that vary have their first and last voicing in common, and with these the move from chorus to
chorus; they stay within the notes of the first.
"""

from collections.abc import Collection, Iterator, Mapping, Sequence
from contextlib import suppress
from dataclasses import replace
from fractions import Fraction
from itertools import cycle, islice, takewhile
from typing import Any, Final, NamedTuple

from shortway.core.charts import Chart
from shortway.core.errors import PinError, TooLarge
from shortway.core.rhythm.bars import section_name
from shortway.core.rhythm.onsets import MAX_HITS
from shortway.core.solver.results import Path, PathStep
from shortway.core.voicings.model import Voicing
from shortway.services.solve_path import solve_path

#: Names of sections that are played before the first chorus, and after the last one, in lower case.
INTRODUCTIONS: Final = ("intro", "introduction")
ENDINGS: Final = ("ending", "outro", "coda", "tag")
#: One in so many steps at least differs from every other chorus, but in several choruses fewer:
#: the search has states for how far each path is from all others, and at most so many.
_DIFFERS: Final = 4
_MOST_STATES: Final = 750

Request = Mapping[str, Any]


class PlayedPart(NamedTuple):
    """A part of what is played: a chart and its path."""

    chart: Chart
    path: Path


class _Split(NamedTuple):
    """The measures as played, by number: before the form, the form, after it."""

    before: tuple[int, ...]
    form: tuple[int, ...]
    after: tuple[int, ...]


def solve_choruses(request: Request, choruses: int, *, vary: bool) -> list[PlayedPart]:
    """What is played when the form of a paths request's chart is played `choruses` times.

    Steps keep the numbers that they have in the chart.

    Raises ShortwayError as `solve_path` does.
    """
    chart = request["chart"]
    split = _split(chart)
    begin, end = _steps_of(chart, split.before), _steps_of(chart, split.before + split.form)
    asked = {**_from_step(request, split.form, begin, end), "loop": True}
    if split.before:
        asked.pop("start_from", None)
    first = solve_path(asked)
    others = _variants(asked, first, choruses - 1) if vary else ()
    found = [
        PlayedPart(asked["chart"], _numbered(path, begin))
        for path in islice(cycle((first, *others)), choruses)
    ]
    if split.before:
        found.insert(0, _introduction(request, split, first, begin))
    if split.after:
        found.append(_ending(request, split, first, end))
    return found


def check_choruses(chart: Chart, choruses: int) -> None:
    """Reject more chords than a score may have hits. Raises TooLarge at ``/choruses``."""
    steps = _steps_of(chart, chart.order)
    if choruses > 1 and steps * choruses > MAX_HITS:
        detail = f"{choruses} choruses of {steps:,} chords are {steps * choruses:,} hits or more"
        expected = f"at most {MAX_HITS:,} hits in all"
        raise TooLarge.at("/choruses", detail, expected=expected)


def join_parts(parts: Sequence[PlayedPart]) -> PlayedPart:
    """The parts one after another, as one chart and one path through it."""
    if len(parts) == 1:
        return parts[0]
    order = tuple(number for part in parts for number in part.chart.order)
    chart = replace(parts[0].chart, order=order)
    return PlayedPart(chart, replace(parts[0].path, steps=tuple(_joined(parts))))


def last_chorus(parts: Sequence[PlayedPart]) -> int:
    """The index of the measure with which the last chorus begins."""
    at = len(parts) - 1 - (parts[-1].chart.order != parts[-2].chart.order)
    return sum(len(part.chart.order) for part in parts[:at])


def _joined(parts: Sequence[PlayedPart]) -> Iterator[PathStep]:
    start = Fraction(0)
    for _, path in parts:
        for of in path.steps:
            yield of._replace(step=of.step._replace(onset=start + of.step.onset))
        last = path.steps[-1].step
        start += last.onset + last.beats * Fraction(4, last.meter[1])


def _split(chart: Chart) -> _Split:
    order = chart.order
    names = [(section_name(chart, number) or "").lower() for number in order]
    first = len(list(takewhile(lambda name: name in INTRODUCTIONS, names)))
    last = len(order) - len(list(takewhile(lambda name: name in ENDINGS, reversed(names))))
    if first >= last:
        return _Split((), order, ())
    return _Split(order[:first], order[first:last], order[last:])


def _steps_of(chart: Chart, order: Collection[int]) -> int:
    return sum(len(chart.measures[number - 1]) for number in order)


def _from_step(request: Request, order: tuple[int, ...], begin: int, end: int) -> dict[str, Any]:
    """The request for some measures of its chart, whose steps are `begin` to before `end`."""
    found = {**request, "chart": replace(request["chart"], order=order)}
    for name in ("pins", "keep"):
        inside = [item for item in request.get(name, ()) if begin <= item["step"] < end]
        found[name] = [{**item, "step": item["step"] - begin} for item in inside]
    return found


def _numbered(path: Path, begin: int) -> Path:
    """The path with its steps numbered from `begin`."""
    if not begin:
        return path
    steps = (of._replace(step=of.step._replace(number=of.step.number + begin)) for of in path.steps)
    return replace(path, steps=tuple(steps))


def _introduction(request: Request, split: _Split, form: Path, begin: int) -> PlayedPart:
    """The measures before the form, solved with it where they can lead to its first voicing."""
    asked = {**_from_step(request, split.before + split.form, 0, begin), "loop": False}
    voicing = form.steps[0].voicing
    path = None
    if voicing is not None:
        pins = [*asked["pins"], _pin(begin, voicing)]
        with suppress(PinError):
            path = solve_path({**asked, "setting": form.setting, "pins": pins})
    path = path or solve_path(asked)
    chart = replace(asked["chart"], order=split.before)
    return PlayedPart(chart, replace(path, steps=path.steps[:begin]))


def _ending(request: Request, split: _Split, form: Path, end: int) -> PlayedPart:
    """The measures after the form, from its last voicing on."""
    last = end + _steps_of(request["chart"], split.after)
    asked = {**_from_step(request, split.after, end, last), "loop": False}
    voiced = [of.voicing for of in form.steps if of.voicing is not None]
    if voiced:
        asked["start_from"] = list(voiced[-1].midi_notes)
    path = solve_path({**asked, "setting": form.setting})
    return PlayedPart(asked["chart"], _numbered(path, end))


def _pin(step: int, voicing: Voicing) -> dict[str, Any]:
    return {"step": step, "midi_notes": list(voicing.midi_notes)}


def _variants(request: Request, first: Path, count: int) -> Sequence[Path]:
    """The next best paths with the first's outer voicings, within its notes; fewer if there are no
    more."""
    voiced = [(k, of.voicing) for k, of in enumerate(first.steps) if of.voicing]
    if not voiced or not count:
        return ()
    outer = dict((voiced[0], voiced[-1]))
    pins = [pin for pin in request["pins"] if pin["step"] not in outer]
    pins += [_pin(step, voicing) for step, voicing in outer.items()]
    notes = [midi for _, voicing in voiced for midi in voicing.midi_notes]
    setting = replace(first.setting, lowest=min(notes), highest=max(notes))
    differs = len(voiced) // _DIFFERS
    while differs > 1 and (differs + 1) ** count > _MOST_STATES:
        differs -= 1
    more = {"alternatives": count, "differs_in": max(1, differs), "setting": setting, "pins": pins}
    return solve_path({**request, **more}).alternatives
