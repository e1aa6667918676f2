"""Reviewing: a review's request, whose notes come as such or as a MIDI file, and its answer.

Knows the core's review and performances; loads what reads MIDI only where there is some.
"""

from __future__ import annotations

import base64
import binascii
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from typing import TYPE_CHECKING, Any, Final

from shortway.core.charts import Chart
from shortway.core.charts.json_values import require_list, require_object
from shortway.core.errors import (
    MidiError,
    PlayedError,
    SettingError,
    ShortwayError,
    WrongType,
)
from shortway.core.review.results import Review
from shortway.core.review.review import review
from shortway.request_trace import SEARCH, phase
from shortway.services.read_chart import of_request
from shortway.wire.schemas.reviews import EARLIEST, FASTEST, LAST, MOST_TEMPI, SLOWEST

if TYPE_CHECKING:
    from shortway.scores.midi.performance import Alignment, Performance, TempoMap

ALIGN_FIELDS: Final = ("start", "early", "tempo_map", "channels")
_NOT_BASE64: Final = re.compile(r"[^A-Za-z0-9+/=]")


@dataclass(frozen=True, slots=True)
class Reviewed:
    """A review, and the performance that its notes were taken from, if they came as MIDI."""

    review: Review
    performance: Performance | None


def reviewed(request: Mapping[str, Any]) -> Reviewed:
    """The review that a request of the wire asks for.

    Raises
    ------
    ShortwayError
        With pointers into the request.
    """
    chart = of_request(request).chart
    performance = None
    played = request.get("played")
    if (played is None) == (request.get("midi") is None):
        _refuse_both_or_none(played is not None)
    if played is None:
        performance = performance_of(chart, decoded(request["midi"]), request.get("align"))
        played = performance.played
    elif request.get("align") is not None:
        detail = "only a MIDI file is laid along the chart"
        raise PlayedError.at("/align", detail, expected="no align beside played")
    options = {"loop": request.get("loop", False), "pins": request.get("pins", ())}
    with phase(SEARCH):
        return Reviewed(review(chart, played, request.get("setting"), **options), performance)


def performance_of(chart: Chart, data: bytes, align: object = None) -> Performance:
    """What a MIDI file plays at each step; pointers below ``/midi`` and ``/align``."""
    try:
        how = read_alignment(align)
    except ShortwayError as error:
        raise error.under("/align") from None
    from shortway.scores.midi.performance import align_performance

    try:
        return align_performance(chart, data, how)
    except MidiError as error:
        raise error.under("/midi") from None


def _refuse_both_or_none(both: bool) -> None:
    detail = "the notes are given twice" if both else "nothing says what was played"
    expected = "either played or midi"
    raise PlayedError.at("/midi" if both else "/played", detail, expected=expected)


def decoded(text: str) -> bytes:
    """The bytes that a base64 text stands for; pointers below ``/midi``."""
    try:
        return base64.b64decode(text, validate=True)
    except (binascii.Error, ValueError):
        wrong = _NOT_BASE64.search(text)
        position = len(text) if wrong is None else wrong.start()
        detail = "the MIDI file is not in base64"
        raise MidiError.at("/midi", detail, position, "A-Z a-z 0-9 + / and = at the end") from None


# --- how a recording is laid along the chart -----------------------------------------------------


def read_alignment(value: object) -> Alignment:
    """An alignment from its wire form; pointers are relative to it."""
    from shortway.scores.midi.performance import EARLY, Alignment

    given = require_object({} if value is None else value, ALIGN_FIELDS, "", "an alignment")
    return Alignment(
        _quarters(given.get("start"), "/start", LAST, Fraction(0)),
        _quarters(given.get("early"), "/early", EARLIEST, EARLY),
        _tempo_map(given.get("tempo_map")),
        _channels(given.get("channels")),
    )


def _quarters(value: object, pointer: str, most: int, default: Fraction | None) -> Fraction:
    """Quarter notes to the nearest 1/960, from 0."""
    if value is None and default is not None:
        return default
    return _number(value, pointer, 0, most, 960, "quarter notes")


def _number(value: object, pointer: str, least: int, most: int, fine: int, what: str) -> Fraction:
    expected = f"{what}, a number from {least} to {most:,}"
    if isinstance(value, bool) or not isinstance(value, int | float | Fraction):
        raise WrongType.at(pointer, "this is not a number", expected=expected)
    if not least <= value <= most:
        raise SettingError.at(pointer, "this number is out of range", expected=expected)
    return Fraction(value).limit_denominator(fine)


def _tempo_map(value: object) -> TempoMap:
    if value is None:
        return ()
    expected = f"1 to {MOST_TEMPI:,} tempi, the first at 0"
    entries = require_list(value, "/tempo_map", expected)
    _refuse_count(entries, "/tempo_map", MOST_TEMPI, expected)
    tempi: list[tuple[Fraction, Fraction]] = []
    for index, entry in enumerate(entries):
        where = f"/tempo_map/{index}"
        fields = require_object(entry, ("at", "tempo"), where, "a tempo")
        at = _quarters(fields.get("at"), f"{where}/at", LAST, None)
        if (at <= tempi[-1][0]) if tempi else at:
            detail = "tempi begin at 0 and go on in order"
            raise SettingError.at(f"{where}/at", detail, expected="more than the one before")
        tempo = fields.get("tempo"), f"{where}/tempo", SLOWEST, FASTEST, 1000
        tempi.append((at, _number(*tempo, "quarter notes a minute")))
    return tuple(tempi)


def _channels(value: object) -> tuple[int, ...] | None:
    if value is None:
        return None
    expected = "channels from 1 to 16"
    entries = require_list(value, "/channels", expected)
    _refuse_count(entries, "/channels", 16, expected)
    for index, channel in enumerate(entries):
        if type(channel) is not int:
            detail = "a channel is a whole number"
            raise WrongType.at(f"/channels/{index}", detail, expected=expected)
        if not 1 <= channel <= 16:
            detail = f"there is no channel {channel}"
            raise SettingError.at(f"/channels/{index}", detail, expected=expected)
    return tuple(channel for channel in entries if isinstance(channel, int))


def _refuse_count(entries: Sequence[object], pointer: str, most: int, expected: str) -> None:
    if not 1 <= len(entries) <= most:
        raise SettingError.at(pointer, f"{len(entries):,} are given", expected=expected)
