"""Patterns: comping rhythms as data, and those that a request brings.

Knows meters and errors, no chart. A pattern is hits within its measures, each with a length; some
anticipate the chord to come. The patterns are common practice, no source.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from typing import Final

from shortway.core.charts.json_values import read_beats as read_beats
from shortway.core.charts.json_values import require_field, require_list, require_object
from shortway.core.charts.model import METER_EXPECTED, read_meter
from shortway.core.errors import SettingError, WrongType, one_of

#: Measures that a pattern may last for, and hits that it may have.
MOST_MEASURES: Final = 8
MOST_HITS: Final = 128
#: Ratios of the longer to the shorter eighth note that a pattern may swing by.
SWING: Final = (1.0, 4.0)

ONE: Final = Fraction(1)


@dataclass(frozen=True, slots=True)
class PatternHit:
    """A hit of a pattern: its beat from 1, its length in beats, whether it takes the next chord."""

    beat: Fraction
    beats: Fraction
    anticipate: bool = False


@dataclass(frozen=True, slots=True)
class Pattern:
    """A comping pattern.

    Attributes
    ----------
    meters : tuple of (int, int)
        The meters that it is for; in any other each chord is struck once and held. Empty: all.
    strokes : tuple of Stroke
        Beats count on through its measures; none: each chord is struck once and held.
    measures : int
    swing : Fraction
        The longer eighth note over the shorter: 1 is straight, 2 the usual triplet swing.
    """

    id: str
    about: str
    meters: tuple[tuple[int, int], ...] = ()
    strokes: tuple[PatternHit, ...] = ()
    measures: int = 1
    swing: Fraction = ONE


def _strokes(*rows: tuple[float, float] | tuple[float, float, bool]) -> tuple[PatternHit, ...]:
    return tuple(PatternHit(Fraction(row[0]), Fraction(row[1]), len(row) > 2) for row in rows)


_FOUR: Final = ((4, 4),)
PATTERNS: Final[dict[str, Pattern]] = {
    pattern.id: pattern
    for pattern in (
        Pattern("held", "each chord struck once and held"),
        Pattern("four-to-the-bar", "every beat, short", _FOUR,
                _strokes((1, 0.75), (2, 0.75), (3, 0.75), (4, 0.75))),
        Pattern("charleston", "one, and the off-beat of two", _FOUR,
                _strokes((1, 1), (2.5, 0.5))),
        Pattern("charleston-from-one-and", "the same an eighth later: off-beat of one, and three",
                _FOUR, _strokes((1.5, 1), (3, 0.5))),
        Pattern("charleston-from-two", "the same a beat later: two, and the off-beat of three",
                _FOUR, _strokes((2, 1), (3.5, 0.5))),
        Pattern("charleston-from-two-and", "off-beat of two, and four", _FOUR,
                _strokes((2.5, 1), (4, 0.5))),
        Pattern("charleston-from-three", "three, and the off-beat of four, which pushes", _FOUR,
                _strokes((3, 1), (4.5, 0.5, True))),
        Pattern("pushes", "the off-beats of two and four, an eighth ahead of the chord they play",
                _FOUR, _strokes((2.5, 1.5, True), (4.5, 1.5, True))),
        Pattern("after-beats", "two and three of a waltz", ((3, 4),),
                _strokes((2, 0.75), (3, 0.75))),
        Pattern("two-in-six", "one and four of six", ((6, 8),), _strokes((1, 2), (4, 2))),
    )
}  # fmt: skip


RHYTHM_FIELDS: Final = ("rhythm", "hits", "hits_measures", "hits_meter", "swing")


def parse_rhythm(value: object) -> Pattern:
    """The pattern that a name, or the `RHYTHM_FIELDS` of a request, mean.

    Raises
    ------
    UnknownField, WrongType, SettingError
        With pointers into the fields.
    """
    if isinstance(value, str):
        value = {"rhythm": value}
    fields = require_object(value, RHYTHM_FIELDS, "", "a rhythm")
    swing = _swing(fields["swing"]) if "swing" in fields else None
    if "hits" in fields and "rhythm" in fields:
        detail = "hits are given, and a rhythm by name"
        raise SettingError.at("/hits", detail, expected="either rhythm or hits")
    for name in ("hits_measures", "hits_meter"):
        if name in fields and "hits" not in fields:
            raise SettingError.at(f"/{name}", "there are no hits", expected="hits beside it")
    pattern = _own(fields) if "hits" in fields else _named(fields.get("rhythm", "held"))
    return pattern if swing is None else replace(pattern, swing=swing)


def _named(name: object) -> Pattern:
    if not isinstance(name, str):
        raise WrongType.at("/rhythm", "this is not a name", expected=one_of(list(PATTERNS)))
    if name not in PATTERNS:
        detail = f"unknown rhythm {name[:40]!r}"
        raise SettingError.at("/rhythm", detail, expected=one_of(list(PATTERNS)))
    return PATTERNS[name]


def _swing(value: object) -> Fraction:
    expected = f"a number from {SWING[0]:g} (straight) to {SWING[1]:g}"
    if isinstance(value, bool) or not isinstance(value, int | float):
        raise WrongType.at("/swing", "swing must be a number", expected=expected)
    if not SWING[0] <= value <= SWING[1]:
        raise SettingError.at("/swing", f"{value} is outside the range of swing", expected=expected)
    return Fraction(value).limit_denominator(96)


def _own(fields: Mapping[str, object]) -> Pattern:
    measures = fields.get("hits_measures", 1)
    if type(measures) is not int:
        raise WrongType.at("/hits_measures", "measures must be an integer", expected="1 to 8")
    if not 1 <= measures <= MOST_MEASURES:
        raise SettingError.at("/hits_measures", f"{measures} measures", expected="1 to 8")
    beats = _beats_of(fields.get("hits_meter", "4/4"))
    given = require_list(fields["hits"], "/hits", "a list of hits")
    if not 1 <= len(given) <= MOST_HITS:
        detail = "hits is empty" if not given else f"{len(given)} hits"
        raise SettingError.at("/hits", detail, expected=f"1 to {MOST_HITS} hits")
    strokes = tuple(_stroke(item, f"/hits/{i}") for i, item in enumerate(given))
    _check(strokes, measures * beats[0])
    return Pattern("", "", (beats,), strokes, measures)


def _beats_of(value: object) -> tuple[int, int]:
    meter = read_meter(value) if isinstance(value, str) else None
    if meter is None:
        raise SettingError.at("/hits_meter", "this is not a meter", expected=METER_EXPECTED)
    return meter


def _stroke(value: object, where: str) -> PatternHit:
    hit = require_object(value, ("beat", "beats", "anticipate"), where, "a hit")
    beat = read_beats(require_field(hit, "beat", where), f"{where}/beat")
    length = read_beats(require_field(hit, "beats", where), f"{where}/beats")
    anticipate = hit.get("anticipate", False)
    if not isinstance(anticipate, bool):
        raise WrongType.at(
            f"{where}/anticipate", "anticipate must be true or false", expected="true or false"
        )
    return PatternHit(beat, length, anticipate)


def _check(strokes: Sequence[PatternHit], beats: int) -> None:
    """Hits stand in order within the pattern's measures, and none lasts over the next.

    The last may last beyond the end by what the first leaves free.
    """
    for index, stroke in enumerate(strokes):
        if not 1 <= stroke.beat < beats + 1:
            detail = f"beat {float(stroke.beat):g} is outside the pattern"
            expected = f"1 to less than {beats + 1}"
            raise SettingError.at(f"/hits/{index}/beat", detail, expected=expected)
    ends = [*strokes[1:], replace(strokes[0], beat=strokes[0].beat + beats)]
    for index, (stroke, after) in enumerate(zip(strokes, ends, strict=True)):
        if stroke.beat + stroke.beats > after.beat:
            detail = f"the hit on {float(stroke.beat):g} overlaps the next hit"
            room = max(Fraction(0), after.beat - stroke.beat)
            expected = f"at most {float(room):g} beats, and hits in order"
            raise SettingError.at(f"/hits/{index}/beats", detail, expected=expected)
