"""Functions: the function of each chord of a chart, and the colours that follow from it.

Knows charts, keys, which chord follows which; no voicing. A chord is first read by where it leads
(a dominant that falls a fifth or a half step, a ii before its V, a diminished chord that passes),
then by its place in the local key. `harmony.tensions` says which degrees each function takes.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from functools import cached_property, partial
from typing import Final

from shortway.core.cache import Memo
from shortway.core.charts import Chart, Step
from shortway.core.harmony.context import Context
from shortway.core.harmony.key_estimation import CLASSES, Key, local_keys, read_key, roles_in
from shortway.core.harmony.key_names import names_of_keys, place_in
from shortway.core.harmony.progression import ActingChord, Progression, sections
from shortway.core.harmony.tensions import DOMINANT_ROWS, TO_MINOR, tensions

#: Measures that one chord lasts for before it is a vamp and goes nowhere.
VAMP_MEASURES: Final = 4

#: Degrees of a major key, in semitones, on which a minor chord stands.
_MINOR_DEGREES: Final = (2, 4, 9)
#: Places of a minor chord in a major key that need no V to explain them, and those that say little.
_AT_HOME: Final = ("mediant", "submediant")
_FOREIGN: Final = ("borrowed", "other")
_SUBSTITUTE, _BACKDOOR = "substitute-dominant", "backdoor-dominant"


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
    found: list[Context | None] = []
    steered = [step for step in steps if step.melody or step.colours is not None]
    first, parts = sections(chart, steps, loop)
    for section, closed in parts:
        progression = Progression(chart, section, closed)
        sung = _melody_above(progression, section if melody and steered else ())
        of_chords: list[Context | None] = [*_contexts(progression, sung), None]
        found += [of_chords[run] for run in progression.runs]
    found = found[-first:] + found[:-first]
    for step in steered:
        found[step.number] = _overridden(found[step.number], step)
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
    progression = Progression(chart, steps, loop=False)
    analysis = _Analysis(progression)
    lengths: dict[Key, float] = {}
    for measures, key in reversed(list(zip(progression.measures, analysis.keys, strict=True))):
        lengths[key] = lengths.get(key, 0.0) + measures
    return analysis.names[max(lengths, key=lengths.__getitem__)] if lengths else None


def _overridden(context: Context | None, step: Step) -> Context | None:
    """The context with the colours that the chart gives the step."""
    if context is None or step.colours is None:
        return context
    added = step.chord.content.added(step.colours)
    wanted = tuple(group for group in context.wants if {*group} & {*added})
    return replace(context, colours=added, wants=wanted)


def _melody_above(progression: Progression, steps: Sequence[Step]) -> list[frozenset[int]]:
    """What the melody sings over each chord, in semitones above the root."""
    sung: list[frozenset[int]] = [frozenset()] * len(progression.chords)
    for step, run in zip(steps, progression.runs, strict=False):
        if step.melody and step.chord.root_pc is not None:
            sung[run] |= {(note - step.chord.root_pc) % 12 for note in step.melody}
    return sung


#: Function, goal, reason, what the reason names, and the row in the table of tensions. A reason
#: with a place names the key in which the chord has it.
Reading = tuple[str, str, str, str, str]

#: What a dominant is by the semitones up to its goal and the goal's class: function, reason, row.
_RESOLUTIONS: Final = {
    **{(5, kind): ("dominant", "falls a fifth to {}", "dominant") for kind in "M7o"},
    **{(5, kind): ("dominant", "falls a fifth to {}, a minor chord", TO_MINOR) for kind in "mh"},
    **{(11, kind): (_SUBSTITUTE, "falls a half step to {}", _SUBSTITUTE) for kind in CLASSES},
    (2, "M"): (_BACKDOOR, "rises a whole step to {}", _BACKDOOR),
}
_IN_KEY: Final = "{place}"
_UNRESOLVED: Final = "{place}, does not resolve"

#: A chord's name, what the melody sings above it, whether it stays, and its reading.
_Key = tuple[str, frozenset[int], bool, str, str, str, str, str]
#: Contexts, one object for all that are equal.
_CONTEXTS: Final[Memo[_Key, Context]] = Memo("contexts", 14 << 20, lambda _: 300)


def _contexts(progression: Progression, melody: Sequence[frozenset[int]]) -> list[Context]:
    """The context of each chord under what the melody sings above its root."""
    found = []
    recall, known = _CONTEXTS.recall, _CONTEXTS.get
    chords, readings = progression.chords, _Analysis(progression).readings()
    columns = chords, melody, progression.measures, readings
    for chord, sung, lasts, reading in zip(*columns, strict=True):
        place = chord.name, sung, lasts >= 1
        key = place + reading
        found.append(known(key) or recall(key, partial(_context, chord, key)))
    return found


def _context(chord: ActingChord, key: _Key) -> Context:
    _, sung, stays, function, goal, why, of, row = key
    place = place_in(chord.root, of) if "{place}" in why else ""
    added = tensions(chord.chord.content, row, sung, stays=stays)
    return Context(function, goal, why.format(of, place=place), *added)


class _Analysis:
    """The functions of all chords of a progression."""

    def __init__(self, progression: Progression) -> None:
        self.progression = progression
        self.chords, self.relations = progression.chords, progression.relations
        own = [None if name is None else read_key(name) for name in progression.named]
        self.keys = local_keys(progression.numbers, own, self._cadences())
        self.names = names_of_keys(self.chords, progression.named)
        self.roles = roles_in(progression.numbers, self.keys)

    def _cadences(self) -> Iterator[tuple[int, int, Key, bool]]:
        """Pairs of chords that establish a key, and whether the second is its tonic."""
        relations = self.relations
        for number, relation in enumerate(relations):
            if relation.key is not None:
                there = number + 1 - len(relations)
                key = (relation.key + 2 * self.chords[number].root) % 24
                if relation.is_related_ii:
                    yield number, there, self._key_of_two_five(number, key), False
                elif not (relation.arrives and relations[there].is_related_ii):
                    yield number, there, key, True

    def _key_of_two_five(self, number: int, major: Key) -> Key:
        """The key of a ii and its V: a half-diminished ii's is minor, unless V goes to major."""
        if self.chords[number].kind != "h":
            return major
        there, relation = self.progression.resolution((number + 1) % len(self.chords))
        return major + (relation.motion != 5 or self.chords[there].kind != "M")

    def readings(self) -> list[Reading]:
        """How each chord is read, the last first: a ii takes its dominant's goal."""
        chords, relations, measures = self.chords, self.relations, self.progression.measures
        found: list[Reading] = []
        goal = self._dominant(0)[1] if relations[-1].is_related_ii else ""
        columns = map(reversed, (range(len(chords)), chords, self.roles, self.keys))
        for number, chord, role, key in zip(*columns, strict=True):
            if chord.kind == "7":
                reading = self._dominant(number)
            elif chord.kind == "o":
                reading = self._passing(number)
            elif relations[number].is_related_ii and (role not in _AT_HOME or key % 2):
                five = chords[number + 1 - len(chords)].name
                reading = "predominant", goal, "related ii of {}", five, "predominant"
            elif measures[number] >= VAMP_MEASURES and self._is_vamp(number):
                lasts = f"{measures[number]:g}"
                reading = "vamp", chord.key, "one chord for {} measures", lasts, "vamp"
            elif role in _FOREIGN and relations[number - 1].arrives:
                before = chords[number - 1].name
                reading = "tonic", chord.key, "resolution of {}", before, "tonic"
            else:
                reading = self._in_key(number, role)
            goal = reading[1]
            found.append(reading)
        return found[::-1]

    def _is_vamp(self, number: int) -> bool:
        """Whether a chord that stays for long is minor and goes nowhere."""
        leads, arrives = self.relations[number].is_related_ii, self.relations[number - 1].arrives
        return self.chords[number].kind == "m" and not (leads or arrives)

    def _in_key(self, number: int, role: str) -> Reading:
        """What a chord is by its place in its key."""
        name = self.names[self.keys[number]]
        return role, name, _IN_KEY, name, role

    @cached_property
    def _triadic(self) -> bool:
        """Whether most chords are plain triads."""
        triads = sum(of.chord.chord_type in ("major", "minor") for of in self.chords)
        return 2 * triads > len(self.chords)

    def _dominant(self, number: int) -> Reading:
        ii = self.progression.ii_of(number)
        reading = self._resolved(number, ii) or self._unresolved(number, ii)
        if ii is not None and ii.kind == "h" and reading[0] != _SUBSTITUTE:
            _, goal, why, of, _ = reading
            reading = "dominant", goal, f"follows {ii.name}, {why}", of, TO_MINOR
        if self.chords[number].suspended and not self._triadic:
            row = reading[-1]
            reading = *reading[:-1], row if row in DOMINANT_ROWS else "dominant"
        return reading

    def _resolved(self, number: int, ii: ActingChord | None) -> Reading | None:
        """A dominant that resolves; None where it does not, or is at home in its key."""
        there, relation = self.progression.resolution(number)
        goal = self.chords[there]
        resolution = _RESOLUTIONS.get((relation.motion, goal.kind))
        if resolution is None:
            return None
        function, why, row = resolution
        role = self.roles[number]
        if role == "tonic" and goal.kind == "7" and ii is None:
            return None  # the I7 of a blues before its IV7
        if function == _SUBSTITUTE and role == "subdominant" and self._follows_one(number):
            return None  # the IV7 of a blues, whatever follows
        if function == _BACKDOOR != role:
            return None
        return function, goal.key, why, goal.name, row

    def _follows_one(self, number: int) -> bool:
        """Whether a IV7 comes from the I7."""
        return self.relations[number - 1].motion == 5 and self.chords[number - 1].kind == "7"

    def _unresolved(self, number: int, ii: ActingChord | None) -> Reading:
        """A dominant that goes elsewhere is what its place in the key says."""
        role, key = self.roles[number], self.keys[number]
        if ii is not None and role != _BACKDOOR:
            role = "dominant"
        if role != "dominant":
            return self._in_key(number, "borrowed" if role == _SUBSTITUTE else role)
        tonic, minor = divmod(key, 2)
        aim = (self.chords[number].root + 5) % 12
        if aim != tonic:
            minor = (aim - tonic) % 12 in _MINOR_DEGREES
        goal = self.names[2 * aim + minor]
        return role, goal, _UNRESOLVED, self.names[key], TO_MINOR if minor else role

    def _passing(self, number: int) -> Reading:
        function = "passing-diminished"
        if self.relations[number].motion < 0:
            return self._in_key(number, function)
        goal = self.chords[number + 1 - len(self.chords)]
        return function, goal.key, "passes to {}", goal.name, function
