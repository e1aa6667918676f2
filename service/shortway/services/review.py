"""A review of what was played over a chart: notes step by step, or a MIDI file.

Loads what reads MIDI only where there is some.
"""

from __future__ import annotations

import base64
import binascii
import re
from collections.abc import Mapping
from dataclasses import dataclass
from fractions import Fraction
from typing import TYPE_CHECKING, Any, Final

from shortway.core.charts import Chart
from shortway.core.errors import MidiError, PlayedError
from shortway.core.review.results import Review
from shortway.core.review.review import review
from shortway.request_trace import SEARCH, phase
from shortway.services.read_chart import requested_chart

if TYPE_CHECKING:
    from shortway.scores.midi.performance import Alignment, Performance

_NOT_BASE64: Final = re.compile(r"[^A-Za-z0-9+/=]")


@dataclass(frozen=True, slots=True)
class PlayingReview:
    """A review, and the performance that its notes were taken from, if they came as MIDI."""

    review: Review
    performance: Performance | None


def review_playing(request: Mapping[str, Any]) -> PlayingReview:
    """The review that a request asks for.

    `request`: the fields of `ReviewRequestSchema`, checked by it: those of the MIDI file make the
    notes, all others are arguments of the core's `review`.

    Raises ShortwayError with pointers into the request.
    """
    chart = requested_chart(request).chart
    options = {k: v for k, v in request.items() if k not in ("chart", "midi_file", "align")}
    performance = None
    if (options.get("played") is None) == (request.get("midi_file") is None):
        _refuse_both_or_none(options.get("played") is not None)
    if options.get("played") is None:
        performance = read_performance(
            chart, decoded(request["midi_file"]), request.get("align") or {}
        )
        options |= {"played": performance.played, "timing": performance.timing}
    elif request.get("align") is not None:
        detail = "only a MIDI file is aligned with the chart"
        raise PlayedError.at("/align", detail, expected="no align beside played")
    with phase(SEARCH):
        return PlayingReview(review(chart, **options), performance)


def _refuse_both_or_none(both: bool) -> None:
    detail = "the notes are given twice" if both else "nothing says what was played"
    expected = "either played or midi_file"
    raise PlayedError.at("/midi_file" if both else "/played", detail, expected=expected)


def read_performance(chart: Chart, data: bytes, align: Mapping[str, Any]) -> Performance:
    """The notes of a MIDI file at each step; `align` has been checked by its schema.

    Raises MidiError with pointers below ``/midi_file``.
    """
    from shortway.scores.midi.performance import align_performance

    try:
        return align_performance(chart, data, _alignment(align))
    except MidiError as error:
        raise error.under("/midi_file") from None


def decoded(text: str) -> bytes:
    """The bytes of a base64 text. Raises MidiError with the pointer ``/midi_file``."""
    try:
        return base64.b64decode(text, validate=True)
    except (binascii.Error, ValueError):
        wrong = _NOT_BASE64.search(text)
        position = len(text) if wrong is None else wrong.start()
        detail = "the MIDI file is not in base64"
        raise MidiError.at(
            "/midi_file", detail, position, "A-Z a-z 0-9 + / and = at the end"
        ) from None


def _alignment(align: Mapping[str, Any]) -> Alignment:
    """Times to the nearest 1/960 quarter note, tempi to the nearest 1/1000."""
    from shortway.scores.midi.performance import Alignment

    how: dict[str, Any] = {name: _nearest(align[name], 960) for name in ("start", "early")
                           if name in align}  # fmt: skip
    tempi = align.get("tempo_map", ())
    how["tempo_map"] = tuple((_nearest(t["at"], 960), _nearest(t["tempo"], 1000)) for t in tempi)
    channels = align.get("channels")
    return Alignment(**how, channels=None if channels is None else tuple(channels))


def _nearest(value: float, parts: int) -> Fraction:
    return Fraction(value).limit_denominator(parts)
