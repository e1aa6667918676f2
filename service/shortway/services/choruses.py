"""Choruses: a form played several times, as one chart and one path.

Knows charts, paths and the solver. The form is solved as a loop, so that each chorus leads into
the next. Choruses that vary have its first and last voicing in common, and with these the move from
chorus to chorus; they stay within the notes of the first.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from fractions import Fraction
from itertools import cycle, islice
from typing import Any, Final

from shortway.core.charts import Chart
from shortway.core.errors import TooLarge
from shortway.core.rhythm.onsets import MAX_HITS
from shortway.core.solver.results import Path, PathStep
from shortway.services.solve_path import solve_path

#: One in so many steps at least differs from every other chorus.
_DIFFERS: Final = 4


def solve_choruses(request: Mapping[str, Any], choruses: int, *, vary: bool) -> list[Path]:
    """A path for each chorus of the loop that a paths request asks for.

    Raises
    ------
    ShortwayError
        As `solve_path` does.
    """
    first = solve_path({**request, "loop": True})
    if not vary:
        return [first] * choruses
    found = [first, *_variants(request, first, choruses - 1)]
    return list(islice(cycle(found), choruses))


def _variants(request: Mapping[str, Any], first: Path, count: int) -> Sequence[Path]:
    """The next best paths with the first's outer voicings, in its range; fewer if there are no
    more."""
    voiced = [step for step in first.steps if step.voicing]
    if not voiced:
        return ()
    outer = {step.step.number: step.voicing for step in (voiced[0], voiced[-1])}
    pins = [pin for pin in request.get("pins", ()) if pin["step"] not in outer]
    pins += [
        {"step": number, "midi_notes": list(voicing.midi_notes)}
        for number, voicing in outer.items()
        if voicing
    ]
    notes = [midi for step in voiced if step.voicing for midi in step.voicing.midi_notes]
    setting = replace(first.setting, lowest=min(notes), highest=max(notes))
    asked = {**request, "loop": True, "pins": pins, "setting": setting}
    differs = max(1, len(voiced) // _DIFFERS)
    return solve_path({**asked, "alternatives": count, "differs_in": differs}).alternatives


def check_choruses(chart: Chart, choruses: int) -> None:
    """Reject more chords than a score may have hits. Raises TooLarge at ``/choruses``."""
    steps = sum(len(chart.measures[number - 1]) for number in chart.order)
    if choruses > 1 and steps * choruses > MAX_HITS:
        detail = f"{choruses} choruses of {steps:,} chords are {steps * choruses:,} hits or more"
        expected = f"at most {MAX_HITS:,} hits in all"
        raise TooLarge.at("/choruses", detail, expected=expected)


def join_choruses(chart: Chart, paths: Sequence[Path]) -> tuple[Chart, Path]:
    """The chart that plays the form once for each path, and one path through it.

    Steps keep the numbers that they have in the form.
    """
    if len(paths) == 1:
        return chart, paths[0]
    whole = replace(chart, order=chart.order * len(paths))
    return whole, replace(paths[0], steps=tuple(_steps(paths)))


def _steps(paths: Sequence[Path]) -> Iterator[PathStep]:
    start = Fraction(0)
    for path in paths:
        for of in path.steps:
            yield of._replace(step=of.step._replace(onset=start + of.step.onset))
        last = path.steps[-1].step
        start += last.onset + last.beats * Fraction(4, last.meter[1])
