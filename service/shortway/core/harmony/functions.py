"""Functions: what each chord of a chart does there, and the colours that follow from it.

Knows charts, keys, which chord follows which; no voicing. A chord is first seen by where it goes
(a dominant that falls a fifth or a half step, a two before its five, a diminished chord that
passes), then by its place in the local key. `COLOURS` says which tensions each function takes.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Final

from shortway.core.charts import Chart, Step
from shortway.core.harmony.key_estimation import Key, key_name, key_of, local_keys, place
from shortway.core.harmony.progression import Following, Run, pieces, runs_of
from shortway.core.theory.pitch import fifths_from_c, note_at_fifths, pitch_class
from shortway.core.theory.qualities import COLOURS as COLOURS_OF_TYPES
from shortway.core.theory.qualities import Quality

#: Every function that a chord may have.
FUNCTIONS: Final = (
    "tonic", "predominant", "dominant", "substitute-dominant", "backdoor-dominant", "subdominant",
    "mediant", "submediant", "passing-diminished", "borrowed", "vamp", "other",
)  # fmt: skip

# Tensions by function and chord type; what is not here takes the chord type's own
# (`qualities.COLOURS`). "dominant to minor" is a dominant whose goal is a minor
# chord. Sources: Terefenko, Jazz Theory (2014), ch. 5 (which extensions a chord type has at all);
# Hutchinson (V of a minor key printed with #9 and #5, i in minor with 6 and 9, iii without a 9);
# #11 on IV, substitutes and the backdoor is the Lydian sound of both open textbooks' chord-scale
# lists; the rest is common practice, no source.
COLOURS: Final[dict[tuple[str, str], tuple[str, ...]]] = {
    ("dominant to minor", "dominant"): ("b9", "#9", "b13"),
    ("dominant to minor", "dominant-suspended"): ("b9", "b13"),
    ("substitute-dominant", "dominant"): ("9", "#11", "13"),
    ("backdoor-dominant", "dominant"): ("9", "#11", "13"),
    ("tonic", "minor"): ("6", "7", "9"),
    ("tonic", "minor-sixth"): ("9",),
    ("mediant", "minor-seventh"): ("11",),
    ("mediant", "minor"): ("11",),
    ("subdominant", "major-seventh"): ("9", "#11", "13"),
    ("subdominant", "major-sixth"): ("9", "#11"),
    ("submediant", "major-seventh"): ("9", "#11", "13"),
    ("borrowed", "major-seventh"): ("9", "#11", "13"),
    ("vamp", "minor-seventh"): ("9", "11", "13"),
}

#: Measures that one chord lasts for before it is a vamp and goes nowhere.
VAMP_MEASURES: Final = 4

_TO_MINOR: Final = "dominant to minor"


@dataclass(frozen=True, slots=True)
class Context:
    """What a chord does where it stands.

    Attributes
    ----------
    function : str
        One of `FUNCTIONS`.
    goal : str
        The key or chord that it is heard towards, as a key is written: ``F``, ``Dm``.
    why : str
        What that was told from, in a musician's words.
    colours : tuple of str
        Degrees that may be added to what the symbol writes.
    """

    function: str
    goal: str
    why: str
    colours: tuple[str, ...]


def contexts(chart: Chart, steps: Sequence[Step], *, loop: bool = False) -> list[Context | None]:
    """What each step's chord does; None in N.C.

    Parameters
    ----------
    chart : Chart
        Its keys are a help where there are any; where it begins afresh, nothing leads in.
    steps : sequence of Step
        `shortway.core.charts.unroll(chart)`.
    loop : bool
        Whether the first step follows the last.

    >>> from shortway.core.charts import parse_text_chart, unroll
    >>> chart = parse_text_chart("| Dm7b5 | G7 | Cm6 |")
    >>> [(c.function, c.goal, c.colours) for c in contexts(chart, unroll(chart)) if c]
    ... # doctest: +NORMALIZE_WHITESPACE
    [('predominant', 'Cm', ('11',)), ('dominant', 'Cm', ('b9', '#9', 'b13')),
     ('tonic', 'Cm', ('9',))]
    """
    found: list[Context | None] = [None] * len(steps)
    for piece, closed in pieces(chart, steps, loop):
        runs = runs_of(chart, [steps[index] for index in piece], closed)
        reader = _Reader(runs, Following(runs, closed))
        for number, run in enumerate(runs):
            context = reader.context(number)
            for index in (piece[at] for at in run.steps):
                found[index] = _overridden(context, steps[index])
    return found


def main_key(chart: Chart, steps: Sequence[Step]) -> str | None:
    """The key that most of a chart is heard in, the last one's of equals; None: no chord sounds.

    `steps` are `shortway.core.charts.unroll(chart)`.

    >>> from shortway.core.charts import parse_text_chart, unroll
    >>> chart = parse_text_chart("| Dm7b5 | G7 |")
    >>> main_key(chart, unroll(chart))
    'Cm'
    """
    runs = runs_of(chart, steps, loop=False)
    reader = _Reader(runs, Following(runs, loop=False))
    heard: dict[Key, float] = {}
    for run, key in reversed(list(zip(runs, reader.keys, strict=True))):
        heard[key] = heard.get(key, 0.0) + run.measures
    return reader.names[max(heard, key=heard.__getitem__)] if heard else None


def _overridden(context: Context, step: Step) -> Context:
    """The context with the colours that the chart gives the step, where it does."""
    if step.colours is None:
        return context
    return replace(context, colours=step.chord.content.added(step.colours))


class _Reader:
    """The functions of all chords of a progression."""

    def __init__(self, runs: Sequence[Run], following: Following) -> None:
        self.runs, self.following = runs, following
        self.keys = local_keys([run.heard for run in runs], list(self._cadences()))
        self.names = _names(runs)

    def _cadences(self) -> Iterator[tuple[int, int, Key, bool]]:
        """Pairs of chords that make a key heard, and whether the second is its tonic."""
        following = self.following
        for number, run in enumerate(self.runs):
            there = following.after(number)
            if there is None:
                continue
            goal = self.runs[there]
            if following.is_two(number):
                yield number, there, key_of(run.root + 10, run.kind == "h"), False
            elif self._arrives(number, there) and not following.is_two(there):
                yield number, there, key_of(goal.root, goal.minor), True
            elif run.kind == goal.kind == "7" and following.falls(number, there) == 7:
                yield number, there, key_of(goal.root, False), True  # IV7 to I7 of a blues

    def _arrives(self, number: int, there: int) -> bool:
        """Whether a dominant falls a fifth or a half step to a chord that is none."""
        falls = self.following.falls(number, there)
        return self.runs[number].kind == "7" and falls in (5, 11) and self.runs[there].kind in "Mm"

    def context(self, number: int) -> Context:
        """What the chord `number` does."""
        run = self.runs[number]
        if run.kind == "7":
            return self._dominant(number)
        if run.kind == "o":
            return self._passing(number)
        if self._is_vamp(number):
            why = f"one chord for {run.measures:g} measures"
            return self._said(run, "vamp", run.key, why)
        return self._other(number)

    def _said(self, run: Run, function: str, goal: str, why: str, row: str = "") -> Context:
        return Context(function, goal, why, colours(run.chord.content, row or function))

    def _dominant(self, number: int) -> Context:
        run, there = self.runs[number], self.following.goal(number)
        falls = self.following.falls(number, there)
        if there is not None and not self._rests(number, there):
            goal = self.runs[there]
            if falls == 5:
                row = _TO_MINOR if goal.minor else "dominant"
                why = f"falls a fifth to {goal.chord.name}{', a minor chord' * goal.minor}"
                return self._said(run, "dominant", goal.key, why, row)
            if falls == 11:
                why = f"falls a half step to {goal.chord.name}"
                return self._said(run, "substitute-dominant", goal.key, why)
            if falls == 2 and goal.kind == "M" and self._place(number) == "backdoor-dominant":
                why = f"rises a whole step to {goal.chord.name}"
                return self._said(run, "backdoor-dominant", goal.key, why)
        return self._unresolved(number)

    def _rests(self, number: int, there: int) -> bool:
        """Whether a dominant is itself at home: the I7 of a blues before its IV7."""
        before = self.following.before(number)
        led = before is not None and self.following.is_two(before)
        return self._place(number) == "tonic" and self.runs[there].kind == "7" and not led

    def _unresolved(self, number: int) -> Context:
        """A dominant that goes elsewhere is what its place in the key says."""
        run, key, where = self.runs[number], self.keys[number], self._place(number)
        if where != "dominant":
            return self._said(run, where, self.names[key], self._numeral(number))
        tonic, minor_key = divmod(key, 2)
        aim = (run.root + 5) % 12
        home = aim == tonic
        minor = bool(minor_key) if home else (aim - tonic) % 12 in _MINOR_DEGREES
        goal = self.names[key if home else key_of(aim, minor)]
        why = f"{self._numeral(number)}, and goes elsewhere"
        return self._said(run, where, goal, why, _TO_MINOR if minor else where)

    def _passing(self, number: int) -> Context:
        run, there = self.runs[number], self.following.after(number)
        if there is None:
            goal, why = self.names[self.keys[number]], self._numeral(number)
        else:
            goal, why = self.runs[there].key, f"passes to {self.runs[there].chord.name}"
        return self._said(run, "passing-diminished", goal, why)

    def _is_vamp(self, number: int) -> bool:
        run, before = self.runs[number], self.following.before(number)
        resolved = before is not None and self._arrives(before, number)
        still = run.kind == "m" and run.measures >= VAMP_MEASURES
        return still and not resolved and not self.following.is_two(number)

    def _other(self, number: int) -> Context:
        """A major, minor or half-diminished chord: a two, or what its place says."""
        run, where, key = self.runs[number], self._place(number), self.keys[number]
        at_home = where in ("mediant", "submediant") and not key % 2
        if self.following.is_two(number) and not at_home:
            five = self.following.after(number) or 0
            why = f"the two of {self.runs[five].chord.name}"
            return self._said(run, "predominant", self._dominant(five).goal, why)
        before = self.following.before(number)
        if where in ("borrowed", "other") and before is not None and self._arrives(before, number):
            why = f"where {self.runs[before].chord.name} arrives"
            return self._said(run, "tonic", run.key, why)
        return self._said(run, where, self.names[key], self._numeral(number))

    def _place(self, number: int) -> str:
        return place(self.runs[number].heard, self.keys[number])

    def _numeral(self, number: int) -> str:
        key = self.keys[number]
        numeral = _NUMERALS[(self.runs[number].root - key // 2) % 12]
        return f"{numeral} in {self.names[key].removesuffix('m')} {_MODES[key % 2]}"


_NUMERALS: Final = (
    "I", "bII", "II", "bIII", "III", "IV", "#IV", "V", "bVI", "VI", "bVII", "VII",
)  # fmt: skip
_MODES: Final = ("major", "minor")
#: Fifths from a five and from a half-diminished two down to their tonic.
_FALLS: Final = {"7": 1, "h": 2}
#: Tonics by fifths, Gb to A#.
_PLAIN: Final = range(-6, 11)
#: Degrees of a major key, in semitones, on which a minor chord stands.
_MINOR_DEGREES: Final = (2, 4, 9)


def _names(runs: Sequence[Run]) -> list[str]:
    """Names of the 24 keys: as the chart names or spells them, else as they usually are.

    A key that is not heard itself is spelled as its five or its two is: Bbm7b5 Eb7 go to Abm.
    """
    names = [key_name(key) for key in range(24)]
    for run in reversed(runs):
        if run.kind in _FALLS:
            for key, name in _goals(run.chord.root or "", _FALLS[run.kind]):
                names[key] = name
    for run in reversed(runs):
        if run.kind in "Mm":
            names[key_of(run.root, run.minor)] = run.key
    for run in reversed(runs):
        if run.named is not None and run.heard.own is not None:
            names[run.heard.own] = run.named
    return names


@lru_cache(maxsize=256)
def _goals(root: str, fall: int) -> tuple[tuple[Key, str], ...]:
    """Major and minor key `fall` fifths below a root, by its spelling; none for Cb, Fb, E#, B#."""
    at = fifths_from_c(root) - fall
    if at not in _PLAIN:
        return ()
    tonic = note_at_fifths(at)
    return tuple(
        (key_of(pitch_class(tonic), minor), tonic + "m" * minor) for minor in (False, True)
    )


@lru_cache(maxsize=4096)
def colours(quality: Quality, function: str) -> tuple[str, ...]:
    """The degrees that `quality` may take under a function, as far as theory allows them.

    `function` is one of `FUNCTIONS`, or ``dominant to minor``.

    >>> from shortway.core.symbols.parser import parse
    >>> colours(parse("G7b9").content, "dominant"), colours(parse("G7").content, "tonic")
    (('13',), ('9', '13'))
    """
    row = COLOURS.get((function, quality.chord_type))
    if row is None:
        row = (
            COLOURS_OF_TYPES[quality.chord_type]
            if quality.chord_type == "dominant"
            else quality.colours
        )
    return tuple(degree for degree in row if quality.allows(degree))
