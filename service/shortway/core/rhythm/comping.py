"""Comping: which pattern each measure has.

Knows patterns and measures as played, no voicing. A varied rhythm goes from pattern to pattern as
`FOLLOWERS` allow. A pattern is likelier the better its number of hits suits the density; one that
sounds every chord of its measure goes before others, and one that was played two measures before
is likelier, so that groups of two measures come again. The last measure of a phrase has fewer hits,
and that of a section pushes into the next. Under a melody there are fewer hits where it moves, and
more where it rests. All of this is common practice, no source.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from functools import lru_cache
from random import Random
from typing import Final

from shortway.core.rhythm.bars import PHRASE, Bar
from shortway.core.rhythm.patterns import PATTERNS, VARIED, Meter, Pattern, PatternHit
from shortway.core.rhythm.rhythm import DENSITIES, Rhythm

#: A measure's hits, its beats from 1, and whether they are short; None: chords are held.
BarHits = tuple[tuple[PatternHit, ...], bool] | None
#: Onsets of a melody in quarter notes from the start of a measure, by the chart's measure.
MelodyOnsets = Mapping[int, Sequence[Fraction]]

#: Patterns after each of which some time passes: any other of the meter may follow.
_SPACE_4: Final = (
    "on-one", "halves", "charleston", "charleston-from-one-and", "charleston-from-two", "two-and",
)  # fmt: skip
#: Those that begin late enough to follow a push that is short, or one that is held over the bar.
_AFTER_RING_4: Final = (
    "charleston-from-two", "two-and", "charleston-from-two-and", "charleston-from-three", "pushes",
    "four-and",
)  # fmt: skip
_AFTER_PUSH_4: Final = (*_AFTER_RING_4, "charleston-from-one-and", "off-beats-with-push")
_ALL_4: Final = (
    *_SPACE_4, "charleston-from-two-and", "charleston-from-three", "charleston-with-push", "pushes",
    "four-and", "off-beats-with-push",
)  # fmt: skip
_ALL_3: Final = (
    "waltz-one", "waltz-charleston", "waltz-in-two", "waltz-two-and", "after-beats", "waltz-push",
)  # fmt: skip
_ALL_6: Final = ("two-in-six", "six-one", "six-lilt", "six-after", "six-push")
_ALL_5: Final = (
    "five-one", "five-as-three-two", "five-as-two-three", "five-off-beats", "five-push",
)  # fmt: skip
#: The patterns that may follow each in the next measure: after a hit at least a beat passes, and
#: none is struck while a push rings (common practice, no source).
FOLLOWERS: Final[Mapping[str, tuple[str, ...]]] = {
    **dict.fromkeys(_SPACE_4, _ALL_4),
    "charleston-from-two-and": _ALL_4,
    "charleston-from-three": _AFTER_PUSH_4,
    "off-beats-with-push": _AFTER_PUSH_4,
    **dict.fromkeys(("charleston-with-push", "pushes", "four-and"), _AFTER_RING_4),
    **dict.fromkeys(_ALL_3, _ALL_3),
    "waltz-in-two": ("waltz-in-two", "waltz-one", "waltz-charleston", "after-beats"),
    "waltz-push": ("after-beats", "waltz-two-and", "waltz-push"),
    **dict.fromkeys(_ALL_6, _ALL_6),
    "six-lilt": ("six-lilt", "six-one", "two-in-six"),
    "six-push": ("six-after", "six-push"),
    **dict.fromkeys(_ALL_5, _ALL_5),
    "five-push": ("five-off-beats", "five-push"),
}
#: The patterns of each meter.
_BY_METER: Final[Mapping[Meter, tuple[str, ...]]] = {
    (4, 4): _ALL_4, (3, 4): _ALL_3, (6, 8): _ALL_6, (5, 4): _ALL_5,
}  # fmt: skip
#: Patterns for measures of more than one chord alone.
_OF_TWO_CHORDS: Final = ("halves",)
#: How likely a pattern with one, two, and three or more hits is, by density.
_WEIGHTS: Final = ((16, 1, 0), (4, 8, 2), (0, 6, 14))
#: How much likelier the pattern of two measures before is.
_AGAIN: Final = 4
#: Onsets of a melody in a beat from which on it moves.
_MOVES: Final = Fraction(3, 4)


def bar_hits(
    bars: Sequence[Bar],
    rhythm: Rhythm,
    *,
    melody: MelodyOnsets | None = None,
    last_chorus: int | None = None,
) -> Iterator[BarHits]:
    """The hits of each measure.

    `melody`: the onsets of a melody that is left room. `last_chorus`: the index of the first
    measure of the last of several choruses, which is denser.
    """
    varied = _Varied(Random(rhythm.seed))
    turn = 0
    for k, bar in enumerate(bars):
        own = rhythm.sections.get(bar.section or "")
        pattern = (own and own.pattern) or rhythm.pattern
        if bar.place == 0 and rhythm.sections:
            turn = 0
        if not bar.full or (pattern.meters and bar.meter not in pattern.meters):
            varied.pause()
            turn = 0
            yield None
        elif pattern is VARIED:
            density = DENSITIES.index((own and own.density) or rhythm.density)
            denser = last_chorus is not None and k >= last_chorus
            onsets = None if melody is None else melody.get(bar.source, ())
            found = varied.choose(bar, density + denser, onsets)
            yield found.strokes, found.short
        elif pattern.strokes:
            yield _turn(pattern, turn), pattern.short
            turn = (turn + 1) % pattern.measures
        else:
            yield None


def _turn(pattern: Pattern, turn: int) -> tuple[PatternHit, ...]:
    """The hits of the pattern's measure `turn`, from 0."""
    if pattern.measures == 1:
        return pattern.strokes
    beats = pattern.meters[0][0]
    return tuple(
        PatternHit(hit.beat - turn * beats, hit.beats, hit.anticipate)
        for hit in pattern.strokes
        if 1 <= hit.beat - turn * beats < beats + 1
    )


@dataclass(slots=True)
class _Varied:
    """The patterns so far: the last one, and the one before it in the section."""

    random: Random
    last: str | None = None
    before: str | None = None

    @property
    def pushed(self) -> bool:
        """Whether the last one anticipates the measure to come."""
        return self.last is not None and PATTERNS[self.last].pushes

    def pause(self) -> None:
        self.last = self.before = None

    def choose(self, bar: Bar, density: int, melody: Sequence[Fraction] | None) -> Pattern:
        """The next pattern; one number is drawn for each."""
        if bar.place == 0:
            self.before = None
        pool = _BY_METER[bar.meter] if self.last is None else FOLLOWERS[self.last]
        found = [PATTERNS[name] for name in pool if bar.meter in PATTERNS[name].meters]
        found = found or [PATTERNS[name] for name in _BY_METER[bar.meter]]
        found = self._fitting(bar, found)
        level = min(max(density - self._space(bar) + _room(bar, melody), 0), len(DENSITIES) - 1)
        chosen = self._draw(found, [self._weight(bar, one, level, melody) for one in found])
        self.before, self.last = self.last, chosen.id
        return chosen

    def _space(self, bar: Bar) -> int:
        """Fewer hits at the end of a phrase."""
        return int(bar.ends or bar.place % PHRASE == PHRASE - 1)

    def _fitting(self, bar: Bar, found: list[Pattern]) -> list[Pattern]:
        """Those that miss the fewest chords, and push at the end of a section; the first one of all
        begins on one."""
        if self.last is None:
            found = [one for one in found if one.strokes[0].beat == 1]
        lengths = tuple(placed.step.beats.as_integer_ratio() for placed in bar.steps)
        missing = [_missed(lengths, one.id, self.pushed) for one in found]
        fewest = min(missing)
        least = [one for one, missed in zip(found, missing, strict=True) if missed == fewest]
        return [one for one in least if one.pushes and bar.ends] or least

    def _weight(self, bar: Bar, one: Pattern, level: int, melody: Sequence[Fraction] | None) -> int:
        weight = 8 * _WEIGHTS[level][min(len(one.strokes), 3) - 1]
        if one.id == self.before != self.last and not self._space(bar):
            weight *= _AGAIN
        if one.id == self.last or (one.pushes and self.pushed):
            weight //= 4 if one.id == self.before else 2
        if one.id in _OF_TWO_CHORDS and len(bar.steps) == 1:
            return 0
        for hit in one.strokes if melody else ():
            if (hit.beat - 1) * 4 / bar.meter[1] in (melody or ()):
                weight //= 2
        return weight + 1

    def _draw(self, found: Sequence[Pattern], weights: Sequence[int]) -> Pattern:
        at = int(self.random.random() * sum(weights))
        for one, weight in zip(found, weights, strict=True):
            at -= weight
            if at < 0:
                return one
        return found[-1]


def _room(bar: Bar, melody: Sequence[Fraction] | None) -> int:
    """More hits where the melody rests or holds, fewer where it moves."""
    if melody is None:
        return 0
    quarters = Fraction(4 * bar.meter[0], bar.meter[1])
    return 1 if not melody else -1 if len(melody) >= quarters * _MOVES else 0


@lru_cache(maxsize=1024)
def _missed(lengths: tuple[tuple[int, int], ...], name: str, pushed: bool) -> int:
    """How many chords of a measure no hit would sound; a push before it sounds the first.

    The lengths are in beats, as integer ratios.
    """
    missed, begin = 0, Fraction(1)
    for k, length in enumerate(lengths):
        end = begin + Fraction(*length)
        heard = any(
            begin <= hit.beat < end or (hit.anticipate and begin - 1 <= hit.beat < begin)
            for hit in PATTERNS[name].strokes
        )
        missed += not (heard or (pushed and k == 0))
        begin = end
    return missed
