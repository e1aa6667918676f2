"""Functions: the function of each chord of a chart, and the colours that follow from it.

Knows charts, keys, which chord follows which; no voicing. A chord is first read by where it leads
(a dominant that falls a fifth or a half step, a ii before its V, a diminished chord that passes),
then by its place in the local key. `harmony.tensions` says which degrees each function takes.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from functools import cached_property, lru_cache, partial
from operator import attrgetter
from typing import Final

from shortway.core.cache import Memo
from shortway.core.charts import Chart, Step
from shortway.core.harmony.context import Context
from shortway.core.harmony.key_estimation import (
    Key,
    key_of,
    local_keys,
    role_in,
)
from shortway.core.harmony.key_names import names_of_keys
from shortway.core.harmony.progression import ActingChord, Progression, read_key, sections
from shortway.core.harmony.tensions import DOMINANT_ROWS, TO_MINOR, tensions

#: Measures that one chord lasts for before it is a vamp and goes nowhere.
VAMP_MEASURES: Final = 4

_NUMERALS: Final = (
    "I", "bII", "II", "bIII", "III", "IV", "#IV", "V", "bVI", "VI", "bVII", "VII",
)  # fmt: skip
_MODES: Final = ("major", "minor")
#: Degrees of a major key, in semitones, on which a minor chord stands.
_MINOR_DEGREES: Final = (2, 4, 9)
#: Places of a minor chord in a major key that need no V to explain them, and those that say little.
_AT_HOME: Final = ("mediant", "submediant")
_FOREIGN: Final = ("borrowed", "other")
_SILENT: Final = frozenset[int]()


def contexts(
    chart: Chart, steps: Sequence[Step], *, loop: bool = False, melody: bool = True
) -> list[Context | None]:
    """The context of each step's chord; None in N.C.

    Parameters
    ----------
    chart : Chart
        Its keys count as evidence; where it begins afresh, no chord precedes.
    steps : sequence of Step
        `shortway.core.charts.unroll(chart)`.
    loop : bool
        Whether the first step follows the last.
    melody : bool
        Whether the steps' melody notes steer the colours.

    >>> from shortway.core.charts import parse_text_chart, unroll
    >>> chart = parse_text_chart("| Dm7b5 | G7 | Cm6 |")
    >>> [(c.function, c.goal, c.colours) for c in contexts(chart, unroll(chart)) if c]
    ... # doctest: +NORMALIZE_WHITESPACE
    [('predominant', 'Cm', ('11',)), ('dominant', 'Cm', ('b9', '#9', 'b13')),
     ('tonic', 'Cm', ('9',))]
    """
    found: list[Context | None] = [None] * len(steps)
    melody = melody and any(map(attrgetter("melody"), steps))
    for section, closed in sections(chart, steps, loop):
        analysis = _Analysis(Progression(chart, steps, section, closed))
        for number, run in enumerate(analysis.progression.steps):
            sung = [note for at in run for note in steps[at].melody] if melody else ()
            context = analysis.context(number, sung)
            for at in run:
                step = steps[at]
                found[at] = context if step.colours is None else _overridden(context, step)
    return found


def suspended_dominants(
    chart: Chart, steps: Sequence[Step], *, loop: bool = False
) -> list[Context | None]:
    """The contexts of suspended chords without a number that act as dominants, with a b7 alone.

    None for every other step. Where a triad on its root follows, a suspended chord stays one.

    >>> from shortway.core.charts import parse_text_chart, unroll
    >>> chart = parse_text_chart("| C | Gsus G | C Gsus | C |")
    >>> [c.colours if c else () for c in suspended_dominants(chart, unroll(chart))]
    [(), (), (), (), ('b7',), ()]
    """
    found: list[Context | None] = [None] * len(steps)
    for index, context in enumerate(contexts(chart, steps, loop=loop)):
        if context is not None and "b7" in context.colours:
            after = next((step.chord for step in steps[index + 1 :] if step.chord.root), None)
            root = steps[index].chord.root_pc
            if after is None or after.root_pc != root or not after.content.is_plain_triad:
                found[index] = replace(context, colours=("b7",), wants=())
    return found


def main_key(chart: Chart, steps: Sequence[Step]) -> str | None:
    """The key of most of a chart, the last of equals; None without a chord.

    `steps` are `shortway.core.charts.unroll(chart)`.

    >>> from shortway.core.charts import parse_text_chart, unroll
    >>> chart = parse_text_chart("| Dm7b5 | G7 |")
    >>> main_key(chart, unroll(chart))
    'Cm'
    """
    progression = Progression(chart, steps, range(len(steps)), loop=False)
    analysis = _Analysis(progression)
    lengths: dict[Key, float] = {}
    for measures, key in reversed(list(zip(progression.measures, analysis.keys, strict=True))):
        lengths[key] = lengths.get(key, 0.0) + measures
    return analysis.names[max(lengths, key=lengths.__getitem__)] if lengths else None


def _overridden(context: Context, step: Step) -> Context:
    """The context with the colours that the chart gives the step."""
    added = step.chord.content.added(step.colours or ())
    wanted = tuple(group for group in context.wants if {*group} & {*added})
    return replace(context, colours=added, wants=wanted)


#: Function, goal and reason of a chord, and its row in the table of tensions.
Reading = tuple[str, str, str, str]

#: Contexts, one object for all that are equal.
_CONTEXTS: Final[Memo[tuple[object, ...], Context]] = Memo("contexts", 14 << 20, lambda _: 300)


class _Analysis:
    """The functions of all chords of a progression."""

    def __init__(self, progression: Progression) -> None:
        self.progression = progression
        self.chords, self.relations = progression.chords, progression.relations
        self.measures = progression.measures
        own = [None if name is None else read_key(name) for name in progression.named]
        self.keys = local_keys(progression.numbers, own, self._cadences())
        self.names = names_of_keys(self.chords, progression.named)
        self.roles = [*map(role_in, progression.numbers, self.keys)]
        self._dominants: dict[int, Reading] = {}

    @cached_property
    def _triadic(self) -> bool:
        """Whether most chords are plain triads."""
        triads = sum(of.chord.chord_type in ("major", "minor") for of in self.chords)
        return 2 * triads > len(self.chords)

    def _cadences(self) -> Iterator[tuple[int, int, Key, bool]]:
        """Pairs of chords that establish a key, and whether the second is its tonic."""
        for number, relation in enumerate(self.relations):
            if relation.key is None:
                continue
            there = (number + 1) % len(self.chords)
            if relation.is_related_ii:
                yield number, there, self._key_of_two_five(number, there), False
            elif not (relation.arrives and self.relations[there].is_related_ii):
                yield number, there, relation.key, True

    def _key_of_two_five(self, number: int, five: int) -> Key:
        """The key of a ii and its V: a half-diminished ii's is minor, unless V goes to major."""
        minor = self.chords[number].kind == "h"
        there = self.progression.resolution(five) if minor else None
        if there is not None and self.progression.root_motion(five, there) == 5:
            minor = self.chords[there].kind != "M"
        return key_of(self.chords[number].root + 10, minor)

    def context(self, number: int, sung: Sequence[int] = ()) -> Context:
        """The context of the chord `number` under the melody notes `sung`."""
        acting, reading = self.chords[number], self._reading(number)
        if acting.suspended and acting.kind == "7" and not self._triadic:
            row = reading[3] if reading[3] in DOMINANT_ROWS else "dominant"
            reading = *reading[:3], row
        above = _SILENT
        if sung:
            root = acting.chord.root_pc or 0
            above = frozenset([(note - root) % 12 for note in sung])
        key = acting.name, reading, above, self.measures[number] >= 1
        return _CONTEXTS.get(key) or _CONTEXTS.recall(key, partial(_context, acting, *key[1:]))

    def _reading(self, number: int) -> Reading:
        kind, role = self.chords[number].kind, self.roles[number]
        if kind == "7":
            if number not in self._dominants:
                self._dominants[number] = self._dominant(number)
            return self._dominants[number]
        if kind == "o":
            return self._passing(number)
        if self.relations[number].is_related_ii and (role not in _AT_HOME or self.keys[number] % 2):
            return self._related_ii(number)
        if kind == "m" and self.measures[number] >= VAMP_MEASURES and self._is_vamp(number):
            why = f"one chord for {self.measures[number]:g} measures"
            return "vamp", self.chords[number].key, why, "vamp"
        if role in _FOREIGN and self._is_resolution(number):
            why = f"resolution of {self.chords[number - 1].name}"
            return "tonic", self.chords[number].key, why, "tonic"
        return self._in_key(number, role)

    def _dominant(self, number: int) -> Reading:
        ii = self.progression.ii_of(number)
        there = self.progression.resolution(number)
        resolved = None if there is None else self._resolved(number, there, ii)
        function, goal, why, row = resolved or self._unresolved(number, ii)
        if ii is not None and self.chords[ii].kind == "h" and function != "substitute-dominant":
            return "dominant", goal, f"follows {self.chords[ii].name}, {why}", TO_MINOR
        return function, goal, why, row

    def _resolved(self, number: int, there: int, ii: int | None) -> Reading | None:
        """A dominant that resolves to the chord `there`; None where it does not."""
        goal, role = self.chords[there], self.roles[number]
        if goal.kind == "7" and role == "tonic" and ii is None:
            return None  # it is at home: the I7 of a blues before its IV7
        motion = self.progression.root_motion(number, there)
        if motion == 5:
            why = f"falls a fifth to {goal.name}{', a minor chord' * goal.minor}"
            return "dominant", goal.key, why, TO_MINOR if goal.minor else "dominant"
        if motion == 11 and not self._is_blues_four(number):
            why = f"falls a half step to {goal.name}"
            return "substitute-dominant", goal.key, why, "substitute-dominant"
        if motion == 2 and goal.kind == "M" and role == "backdoor-dominant":
            return role, goal.key, f"rises a whole step to {goal.name}", role
        return None

    def _is_blues_four(self, number: int) -> bool:
        """Whether a dominant is IV7 and comes from I7: it is at home, whatever follows."""
        before = self.progression.before[number]
        if before is None or self.roles[number] != "subdominant":
            return False
        return self.chords[before].kind == "7" and self.progression.root_motion(before, number) == 5

    def _unresolved(self, number: int, ii: int | None) -> Reading:
        """A dominant that goes elsewhere is what its place in the key says."""
        role, key = self.roles[number], self.keys[number]
        if ii is not None and role != "backdoor-dominant":
            role = "dominant"
        if role != "dominant":
            return self._in_key(number, "borrowed" if role == "substitute-dominant" else role)
        tonic, minor_key = divmod(key, 2)
        aim = (self.chords[number].root + 5) % 12
        home = aim == tonic
        minor = bool(minor_key) if home else (aim - tonic) % 12 in _MINOR_DEGREES
        goal = self.names[key if home else key_of(aim, minor)]
        why = f"{self._in_key(number, role)[2]}, does not resolve"
        return role, goal, why, TO_MINOR if minor else role

    def _passing(self, number: int) -> Reading:
        there, function = self.progression.after[number], "passing-diminished"
        if there is None:
            return self._in_key(number, function)
        goal = self.chords[there]
        return function, goal.key, f"passes to {goal.name}", function

    def _is_vamp(self, number: int) -> bool:
        """Whether a minor chord that stays for long goes nowhere."""
        return not self._is_resolution(number) and not self.relations[number].is_related_ii

    def _is_resolution(self, number: int) -> bool:
        """Whether the chord before is a dominant that arrives here."""
        before = self.progression.before[number]
        return before is not None and self.relations[before].arrives

    def _related_ii(self, number: int) -> Reading:
        five = self.progression.after[number] or 0
        why = f"related ii of {self.chords[five].name}"
        return "predominant", self._reading(five)[1], why, "predominant"

    def _in_key(self, number: int, role: str) -> Reading:
        """What a chord is by its place in its key."""
        key = self.keys[number]
        name = self.names[key]
        return role, name, _numeral(self.chords[number].root, key, name), role


@lru_cache(maxsize=2048)
def _numeral(root: int, key: Key, name: str) -> str:
    """The place of a root in a key of this name, in words."""
    numeral = _NUMERALS[(root - key // 2) % 12]
    return f"{numeral} in {name.removesuffix('m')} {_MODES[key % 2]}"


def _context(chord: ActingChord, reading: Reading, sung: frozenset[int], stays: bool) -> Context:
    function, goal, why, row = reading
    return Context(function, goal, why, *tensions(chord.chord.content, row, sung, stays=stays))
