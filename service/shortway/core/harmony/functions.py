"""Functions: the function of each chord of a chart, and the colours that follow from it.

Knows charts, keys, which chord follows which; no voicing. A chord is first read by where it leads
(a dominant that falls a fifth or a half step, a ii before its V, a diminished chord that passes),
then by its place in the local key. `harmony.tensions` says which degrees each function takes.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from functools import cached_property
from typing import Final

from shortway.core.cache import Memo
from shortway.core.charts import Chart, Step
from shortway.core.harmony.context import Context
from shortway.core.harmony.key_estimation import Key, key_of, local_keys, role_in
from shortway.core.harmony.key_names import names_of_keys
from shortway.core.harmony.progression import ChordSpan, Progression, chord_spans, sections
from shortway.core.harmony.tensions import DOMINANT_ROWS, TO_MINOR, tensions

#: Measures that one chord lasts for before it is a vamp and goes nowhere.
VAMP_MEASURES: Final = 4

_NUMERALS: Final = (
    "I", "bII", "II", "bIII", "III", "IV", "#IV", "V", "bVI", "VI", "bVII", "VII",
)  # fmt: skip
_MODES: Final = ("major", "minor")
#: Degrees of a major key, in semitones, on which a minor chord stands.
_MINOR_DEGREES: Final = (2, 4, 9)


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
    melody = melody and any(step.melody for step in steps)
    for section, closed in sections(chart, steps, loop):
        spans = chord_spans(chart, [steps[index] for index in section], closed)
        analysis = _Analysis(spans, Progression(spans, closed))
        for number, span in enumerate(spans):
            sung = [n for at in span.steps for n in steps[section[at]].melody] if melody else []
            context = analysis.context(number, sung)
            for at in span.steps:
                step = steps[section[at]]
                found[section[at]] = context if step.colours is None else _overridden(context, step)
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
                found[index] = context._replace(colours=("b7",), wants=())
    return found


def main_key(chart: Chart, steps: Sequence[Step]) -> str | None:
    """The key of most of a chart, the last of equals; None without a chord.

    `steps` are `shortway.core.charts.unroll(chart)`.

    >>> from shortway.core.charts import parse_text_chart, unroll
    >>> chart = parse_text_chart("| Dm7b5 | G7 |")
    >>> main_key(chart, unroll(chart))
    'Cm'
    """
    spans = chord_spans(chart, steps, loop=False)
    analysis = _Analysis(spans, Progression(spans, loop=False))
    lengths: dict[Key, float] = {}
    for span, key in reversed(list(zip(spans, analysis.keys, strict=True))):
        lengths[key] = lengths.get(key, 0.0) + span.measures
    return analysis.names[max(lengths, key=lengths.__getitem__)] if lengths else None


def _overridden(context: Context, step: Step) -> Context:
    """The context with the colours that the chart gives the step."""
    added = step.chord.content.added(step.colours or ())
    wanted = tuple(group for group in context.wants if {*group} & {*added})
    return context._replace(colours=added, wants=wanted)


#: Contexts, one object for all that are equal.
_CONTEXTS: Final[Memo[tuple[object, ...], Context]] = Memo("contexts", 4 << 20, lambda _: 700)


class _Analysis:
    """The functions of all chords of a progression."""

    def __init__(self, spans: Sequence[ChordSpan], progression: Progression) -> None:
        self.spans, self.progression = spans, progression
        evidence = [(span.root, span.kind, span.own) for span in spans]
        self.keys = local_keys(evidence, list(self._cadences()))
        self.names = names_of_keys(spans)
        self._dominants: dict[int, tuple[str, str, str, str]] = {}

    @cached_property
    def _triadic(self) -> bool:
        """Whether most chords are plain triads."""
        triads = sum(span.chord.chord_type in ("major", "minor") for span in self.spans)
        return 2 * triads > len(self.spans)

    def _cadences(self) -> Iterator[tuple[int, int, Key, bool]]:
        """Pairs of chords that establish a key, and whether the second is its tonic."""
        progression = self.progression
        for number, span in enumerate(self.spans):
            there = progression.after(number)
            if there is None:
                continue
            goal = self.spans[there]
            if progression.is_related_ii(number):
                yield number, there, self._key_of_two_five(number, there), False
            elif self._arrives(number) and not progression.is_related_ii(there):
                yield number, there, key_of(goal.root, goal.minor), True
            elif span.kind == goal.kind == "7" and progression.motion_on(number) == 7:
                yield number, there, key_of(goal.root, False), True  # IV7 to I7 of a blues
            elif span.kind == "o" and progression.motion_on(number) == 6:
                yield number, there, key_of(goal.root, goal.minor), True  # #IV diminished to I

    def _key_of_two_five(self, number: int, five: int) -> Key:
        """The key of a ii and its V: a half-diminished ii's is minor, unless V goes to major."""
        minor = self.spans[number].kind == "h"
        there = self.progression.resolution(five)
        if minor and there is not None and self.progression.root_motion(five, there) == 5:
            minor = self.spans[there].kind != "M"
        return key_of(self.spans[number].root + 10, minor)

    def _arrives(self, number: int) -> bool:
        """Whether a dominant falls a fifth or a half step to the next chord, which is none."""
        there = self.progression.after(number)
        if self.spans[number].kind != "7" or there is None:
            return False
        return self.progression.motion_on(number) in (5, 11) and self.spans[there].kind in "Mm"

    def context(self, number: int, sung: Sequence[int] = ()) -> Context:
        """The context of the chord `number` under the melody notes `sung`."""
        function, goal, why, row = self._function(number)
        span = self.spans[number]
        above = frozenset(
            [(note - (span.chord.root_pc or 0)) % 12 for note in sung] if sung else ()
        )
        if span.kind == "7" and span.chord.chord_type == "suspended" and not self._triadic:
            row = row if row in DOMINANT_ROWS else "dominant"
        stays = span.measures >= 1
        key = span.chord.name, function, goal, why, row, above, stays
        return _CONTEXTS.get(key) or _CONTEXTS.recall(
            key,
            lambda: Context(
                function, goal, why, *tensions(span.chord.content, row, above, stays=stays)
            ),
        )

    def _function(self, number: int) -> tuple[str, str, str, str]:
        """Function, goal and reason of a chord, and its row in the table of tensions."""
        span = self.spans[number]
        if span.kind == "7":
            if number not in self._dominants:
                self._dominants[number] = self._dominant(number)
            return self._dominants[number]
        if span.kind == "o":
            return self._passing(number)
        if self._is_vamp(number):
            return "vamp", span.key, f"one chord for {span.measures:g} measures", "vamp"
        return self._other(number)

    def _dominant(self, number: int) -> tuple[str, str, str, str]:
        there = self.progression.resolution(number)
        resolved = None if there is None else self._resolved(number, there)
        function, goal, why, row = resolved or self._unresolved(number)
        ii = self.progression.ii_of(number)
        if ii is not None and self.spans[ii].kind == "h" and function != "substitute-dominant":
            return "dominant", goal, f"follows {self.spans[ii].chord.name}, {why}", TO_MINOR
        return function, goal, why, row

    def _resolved(self, number: int, there: int) -> tuple[str, str, str, str] | None:
        """A dominant that resolves to the chord `there`; None where it does not."""
        if self._rests(number, there):
            return None
        goal, motion = self.spans[there], self.progression.root_motion(number, there)
        if motion == 5:
            why = f"falls a fifth to {goal.chord.name}{', a minor chord' * goal.minor}"
            return "dominant", goal.key, why, TO_MINOR if goal.minor else "dominant"
        if motion == 11 and not self._is_blues_four(number):
            why = f"falls a half step to {goal.chord.name}"
            return "substitute-dominant", goal.key, why, "substitute-dominant"
        if motion == 2 and goal.kind == "M" and self._role(number) == "backdoor-dominant":
            why = f"rises a whole step to {goal.chord.name}"
            return "backdoor-dominant", goal.key, why, "backdoor-dominant"
        return None

    def _rests(self, number: int, there: int) -> bool:
        """Whether a dominant is itself at home: the I7 of a blues before its IV7."""
        if self.spans[there].kind != "7" or self._role(number) != "tonic":
            return False
        return self.progression.ii_of(number) is None

    def _is_blues_four(self, number: int) -> bool:
        """Whether a dominant is IV7 and comes from I7: it is at home, whatever follows."""
        before = self.progression.before(number)
        if before is None or self._role(number) != "subdominant":
            return False
        return self.spans[before].kind == "7" and self.progression.root_motion(before, number) == 5

    def _unresolved(self, number: int) -> tuple[str, str, str, str]:
        """A dominant that goes elsewhere is what its place in the key says."""
        span, key, role = self.spans[number], self.keys[number], self._role(number)
        if self.progression.ii_of(number) is not None and role != "backdoor-dominant":
            role = "dominant"
        if role == "substitute-dominant":
            role = "borrowed"
        if role != "dominant":
            return role, self.names[key], self._numeral(number), role
        tonic, minor_key = divmod(key, 2)
        aim = (span.root + 5) % 12
        home = aim == tonic
        minor = bool(minor_key) if home else (aim - tonic) % 12 in _MINOR_DEGREES
        goal = self.names[key if home else key_of(aim, minor)]
        why = f"{self._numeral(number)}, does not resolve"
        return role, goal, why, TO_MINOR if minor else role

    def _passing(self, number: int) -> tuple[str, str, str, str]:
        there, function = self.progression.after(number), "passing-diminished"
        if there is None:
            return function, self.names[self.keys[number]], self._numeral(number), function
        goal = self.spans[there]
        return function, goal.key, f"passes to {goal.chord.name}", function

    def _is_vamp(self, number: int) -> bool:
        span, before = self.spans[number], self.progression.before(number)
        if span.kind != "m" or span.measures < VAMP_MEASURES:
            return False
        resolved = before is not None and self._arrives(before)
        return not resolved and not self.progression.is_related_ii(number)

    def _other(self, number: int) -> tuple[str, str, str, str]:
        """A major, minor or half-diminished chord: a ii, or what its place says."""
        span, role, key = self.spans[number], self._role(number), self.keys[number]
        at_home = role in ("mediant", "submediant") and not key % 2
        if self.progression.is_related_ii(number) and not at_home:
            five = self.progression.after(number) or 0
            why = f"related ii of {self.spans[five].chord.name}"
            return "predominant", self._function(five)[1], why, "predominant"
        before = self.progression.before(number)
        if role in ("borrowed", "other") and before is not None and self._arrives(before):
            return "tonic", span.key, f"resolution of {self.spans[before].chord.name}", "tonic"
        return role, self.names[key], self._numeral(number), role

    def _role(self, number: int) -> str:
        span = self.spans[number]
        return role_in(span.root, span.kind, self.keys[number])

    def _numeral(self, number: int) -> str:
        key = self.keys[number]
        numeral = _NUMERALS[(self.spans[number].root - key // 2) % 12]
        return f"{numeral} in {self.names[key].removesuffix('m')} {_MODES[key % 2]}"
