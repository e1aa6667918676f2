"""Rhythm: what a request asks for, as a value.

Knows patterns, meters and errors, no chart's contents.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from fractions import Fraction
from typing import Final, NamedTuple

from shortway.core.charts.headers import METER_EXPECTED, read_meter
from shortway.core.charts.json_values import (
    read_beats,
    require_field,
    require_list,
    require_object,
    require_word,
)
from shortway.core.errors import SettingError, WrongType
from shortway.core.rhythm.patterns import HELD_PATTERN, PATTERNS, VARIED, Meter, Pattern, PatternHit
from shortway.core.settings.fields import read_integer

#: Measures that a pattern may last for, and hits that it may have.
MOST_MEASURES: Final = 8
MOST_HITS: Final = 128
#: Ratios of the longer to the shorter eighth note that a pattern may swing by.
SWING: Final = (1.0, 4.0)
MOST_SEED: Final = 2**32 - 1
#: How many hits a varied rhythm has, from few to many.
DENSITIES: Final = ("sparse", "medium", "dense")
MOST_SECTIONS: Final = 64

RHYTHM_FIELDS: Final = (
    "rhythm", "hits", "hits_measures", "hits_meter", "swing", "seed", "density", "section_rhythms",
)  # fmt: skip


class SectionRhythm(NamedTuple):
    """A section's own pattern and density; None: those of the whole."""

    pattern: Pattern | None
    density: str | None


@dataclass(frozen=True, slots=True)
class Rhythm:
    """When the chords of a chart are struck."""

    pattern: Pattern = HELD_PATTERN
    #: The longer eighth note over the shorter: 1 is straight, 2 the usual triplet swing.
    swing: Fraction = Fraction(1)
    #: Which of the varied rhythms; the same seed gives the same one on every machine.
    seed: int = 0
    #: One of `DENSITIES`; it counts where the pattern is varied.
    density: str = "medium"
    #: By the section's name.
    sections: Mapping[str, SectionRhythm] = field(default_factory=dict)

    @property
    def patterns(self) -> list[Pattern]:
        """Its pattern and those of its sections."""
        own = self.sections.values()
        return [self.pattern, *(one.pattern for one in own if one.pattern)]

    @property
    def varied(self) -> bool:
        """Whether it is varied, at least in a section."""
        return VARIED in self.patterns

    @property
    def held(self) -> bool:
        """Whether each chord is struck once and held, in all sections."""
        return all(one is HELD_PATTERN for one in self.patterns)


def parse_rhythm(value: object) -> Rhythm:
    """The rhythm that a name, or the `RHYTHM_FIELDS` of a request, mean.

    Raises UnknownField, WrongType, SettingError with pointers into the fields.
    """
    if isinstance(value, str):
        value = {"rhythm": value}
    fields = require_object(value, RHYTHM_FIELDS, "", "a rhythm")
    if "hits" in fields and "rhythm" in fields:
        detail = "hits are given, and a rhythm by name"
        raise SettingError.at("/hits", detail, expected="either rhythm or hits")
    for name in ("hits_measures", "hits_meter"):
        if name in fields and "hits" not in fields:
            raise SettingError.at(f"/{name}", "there are no hits", expected="hits beside it")
    return Rhythm(
        _own(fields) if "hits" in fields else _named(fields.get("rhythm", "held"), "/rhythm"),
        _swing(fields["swing"]) if "swing" in fields else Fraction(1),
        read_integer(fields, "seed", 0, MOST_SEED, 0),
        _density(fields.get("density", "medium"), "/density"),
        _sections(fields.get("section_rhythms", ())),
    )


def _named(name: object, where: str) -> Pattern:
    return PATTERNS[require_word(name, [*PATTERNS], where, "this is not a rhythm")]


def _density(word: object, where: str) -> str:
    return require_word(word, DENSITIES, where, "this is not a density")


def _sections(given: object) -> Mapping[str, SectionRhythm]:
    found: dict[str, SectionRhythm] = {}
    items = require_list(given, "/section_rhythms", "a list of sections")
    if len(items) > MOST_SECTIONS:
        detail, expected = f"{len(items)} sections", f"at most {MOST_SECTIONS}"
        raise SettingError.at("/section_rhythms", detail, expected=expected)
    for k, value in enumerate(items):
        where = f"/section_rhythms/{k}"
        item = require_object(value, ("section", "rhythm", "density"), where, "a section")
        name = require_field(item, "section", where)
        if not isinstance(name, str):
            raise WrongType.at(f"{where}/section", "this is not a name", expected="a name")
        if name in found:
            detail = f"the section {name[:40]!r} is given twice"
            raise SettingError.at(f"{where}/section", detail, expected="each section once")
        rhythm, density = item.get("rhythm"), item.get("density")
        found[name] = SectionRhythm(
            None if rhythm is None else _named(rhythm, f"{where}/rhythm"),
            None if density is None else _density(density, f"{where}/density"),
        )
    return found


def _swing(value: object) -> Fraction:
    expected = f"a number from {SWING[0]:g} (straight) to {SWING[1]:g}"
    if isinstance(value, bool) or not isinstance(value, int | float):
        raise WrongType.at("/swing", "swing must be a number", expected=expected)
    if not SWING[0] <= value <= SWING[1]:
        raise SettingError.at("/swing", f"{value} is outside the range of swing", expected=expected)
    return Fraction(value).limit_denominator(96)


def _own(fields: Mapping[str, object]) -> Pattern:
    measures = read_integer(fields, "hits_measures", 1, MOST_MEASURES, 1)
    meter = _meter(fields.get("hits_meter", "4/4"))
    given = require_list(fields["hits"], "/hits", "a list of hits")
    if not 1 <= len(given) <= MOST_HITS:
        detail = "hits is empty" if not given else f"{len(given)} hits"
        raise SettingError.at("/hits", detail, expected=f"1 to {MOST_HITS} hits")
    strokes = tuple(_stroke(item, f"/hits/{i}") for i, item in enumerate(given))
    _check(strokes, measures * meter[0])
    return Pattern("", "", (meter,), strokes, measures)


def _meter(value: object) -> Meter:
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
