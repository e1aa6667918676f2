"""What the service answers and takes, as frozen values; field names are the wire's.

Knows nothing but the standard library. A field named otherwise than on the wire says so in its
metadata. Answers may carry more fields than these; they are passed over. Fields with a default
may be absent from an answer; all others must be there.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal


@dataclass(frozen=True, slots=True)
class Tone:
    """A degree of a chord: its spelled note, without octave, and pitch class 0 to 11."""

    degree: str
    note: str
    pitch_class: int


@dataclass(frozen=True, slots=True)
class KindDegree:
    """A MusicXML ``degree`` child: value, alter in semitones, and add, alter or subtract."""

    value: int
    alter: int
    type: str


@dataclass(frozen=True, slots=True)
class Chord:
    """What a chord symbol stands for; ``N.C.`` has no root and no tones.

    `tones` are all that the symbol implies; `tensions` what theory adds; `avoid` the degrees that
    rub against it. `bass` is set only where the symbol writes a slash bass.
    """

    symbol: str
    name: str
    root: str | None
    bass: str | None
    kind: str
    kind_degrees: tuple[KindDegree, ...]
    harte: str
    tones: tuple[Tone, ...]
    guide_tones: tuple[str, ...]
    tensions: tuple[Tone, ...]
    avoid: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Fault:
    """One thing wrong: where (a JSON pointer), the character's index, what was expected there."""

    pointer: str
    detail: str
    position: int | None = None
    expected: str | None = None


@dataclass(frozen=True, slots=True)
class ProblemDetails:
    """A refusal in the service's own words (RFC 9457); `code` never changes its meaning."""

    status: int
    code: str
    title: str
    detail: str
    type: str = "about:blank"
    errors: tuple[Fault, ...] = ()


@dataclass(frozen=True, slots=True)
class UnreadableSymbol:
    """A symbol among many that could not be read."""

    symbol: str
    problem: ProblemDetails


@dataclass(frozen=True, slots=True)
class Recipe:
    """Seats from low to high, the first `left` of them for the left hand; the chords served."""

    seats: tuple[str, ...]
    left: int
    serves: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Neighbour:
    """The family that plays what another cannot, at a number of voices."""

    voices: int
    family: str


@dataclass(frozen=True, slots=True)
class Situation:
    """Which hands play, and whether there is a bass player."""

    hands: str
    bass_player: bool


@dataclass(frozen=True, slots=True)
class Family:
    """A recipe for voicings: the hands that take it, its numbers of notes, the chords it serves.

    `voices_alone` are the numbers without a bass player, the bass note not counted; `built` says
    by which rule it is made, `recipes` its rows where it has some, `drops` the voices from the
    top that go an octave down; `default_for` where it is used unless families are given.
    """

    id: str
    about: str
    hands: tuple[str, ...]
    voices: tuple[int, ...]
    voices_alone: tuple[int, ...]
    built: str
    recipes: tuple[Recipe, ...]
    drops: tuple[int, ...]
    serves: tuple[str, ...]
    neighbours: tuple[Neighbour, ...]
    default_for: tuple[Situation, ...]


@dataclass(frozen=True, slots=True)
class Note:
    """A note that a hand strikes; C4 is MIDI 60."""

    midi: int
    note: str
    degree: str
    bass: bool


@dataclass(frozen=True, slots=True)
class Span:
    """Between the outer keys' centres of each hand, in millimetres; None for an idle hand."""

    left: float | None
    right: float | None


@dataclass(frozen=True, slots=True)
class Voicing:
    """The notes one player strikes, low to high, by hand; `midi` has all of them, ascending.

    `motion` is there where voicings were ranked after a sounding one: semitones moved from it.
    """

    family: str
    form: str | None
    left: tuple[Note, ...]
    right: tuple[Note, ...]
    midi: tuple[int, ...]
    span_mm: Span
    motion: int | None = None

    @property
    def notes(self) -> tuple[Note, ...]:
        """All its notes, ascending."""
        return self.left + self.right


@dataclass(frozen=True, slots=True)
class Range:
    """Lowest and highest note that may be struck, such as ``Eb3`` and ``C6``."""

    lowest: str | None = None
    highest: str | None = None


@dataclass(frozen=True, slots=True)
class Setting:
    """Who plays and what is allowed; a field left out is the service's choice.

    In an answer the setting is resolved: send it back to repeat the call.
    """

    bass_player: bool | None = None
    hands: str | None = None
    families: tuple[str, ...] | None = None
    notes: int | Literal["free"] | None = None
    split_cost: int | None = None
    tensions: str | None = None
    reach: str | None = None
    reach_mm: float | None = None
    range: Range | None = None
    home: str | None = None
    repeats: str | None = None
    low_interval_limits: str | None = None
    waive: tuple[str, ...] | None = None
    melody: str | None = None
    preset: str | None = None


@dataclass(frozen=True, slots=True)
class Stroke:
    """A hit of a pattern: its beat from 1, its length, whether it takes the next chord."""

    beat: float
    beats: float
    anticipate: bool


@dataclass(frozen=True, slots=True)
class Rhythm:
    """A comping pattern; without hits each chord is struck once and held."""

    id: str
    about: str
    meters: tuple[str, ...]
    measures: int
    hits: tuple[Stroke, ...]


@dataclass(frozen=True, slots=True)
class Preset:
    """A setting by situation: whom it is for, what it sets, and the setting in full."""

    id: str
    about: str
    sets: Setting
    setting: Setting


@dataclass(frozen=True, slots=True)
class VoicingPage:
    """A page of the voicings of a chord; `total` counts them over all pages."""

    chord: Chord
    setting: Setting
    total: int
    voicings: tuple[Voicing, ...]


@dataclass(frozen=True, slots=True)
class Entry:
    """A chord symbol in a measure and its beats, with what holds over it.

    `melody` are the notes that someone else sings or plays, `ceiling` what every note stays below,
    `top` the note on top, each by name; `colours` the degrees that may be added to the symbol's.
    """

    symbol: str
    beats: float
    melody: tuple[str, ...] | None = None
    ceiling: str | None = None
    top: str | None = None
    colours: tuple[str, ...] | None = None


@dataclass(frozen=True, slots=True)
class MeterChange:
    """Another meter from a measure on, numbered from 1."""

    measure: int
    meter: str


@dataclass(frozen=True, slots=True)
class KeyChange:
    """Another key from a measure on, numbered from 1."""

    measure: int
    key: str


@dataclass(frozen=True, slots=True)
class Chart:
    """Measures of chord symbols; `order` the measures in playing order, numbered from 1.

    `fresh` are measures that begin afresh: no chord before them is heard as leading into them.
    """

    measures: tuple[tuple[Entry, ...], ...]
    meter: str = "4/4"
    key: str | None = None
    title: str | None = None
    order: tuple[int, ...] | None = None
    meters: tuple[MeterChange, ...] | None = None
    keys: tuple[KeyChange, ...] | None = None
    fresh: tuple[int, ...] | None = None


@dataclass(frozen=True, slots=True)
class ChartStep:
    """One chord occurrence in the unrolled chart; measure and beat count from 1."""

    measure: int
    beat: float
    beats: float
    symbol: str
    melody: tuple[str, ...] = ()
    ceiling: str | None = None
    top: str | None = None
    colours: tuple[str, ...] | None = None


@dataclass(frozen=True, slots=True)
class ChartReading:
    """A chart as the service read it, and its steps in playing order."""

    chart: Chart
    steps: tuple[ChartStep, ...]


@dataclass(frozen=True, slots=True)
class Pin:
    """What a step must be, by one or more of notes, family, form and top note; `step` from 0."""

    step: int
    midi: tuple[int, ...] | None = None
    family: str | None = None
    form: str | None = None
    top: str | None = None


@dataclass(frozen=True, slots=True)
class Move:
    """How one voice, counted from the bottom, came into a step; from and to are MIDI numbers."""

    voice: int
    from_midi: int = field(metadata={"wire": "from"})
    to_midi: int = field(metadata={"wire": "to"})
    semitones: int
    from_degree: str | None
    to_degree: str


@dataclass(frozen=True, slots=True)
class Motion:
    """Semitones moved over a path: in all, back to its first step, in the bass, and the widest.

    `top_line` are those by which the top voice goes against what was asked of it.
    """

    total: int
    loop: int | None
    bass: int
    largest_leap: int
    start: int | None = None
    top_line: int | None = None


@dataclass(frozen=True, slots=True)
class Size:
    """What was searched: steps, candidates over all steps, transitions between them."""

    steps: int
    candidates: int
    transitions: int


@dataclass(frozen=True, slots=True)
class Context:
    """What a chord does where it stands, why, and the degrees that it may add and asks for."""

    function: str
    goal: str
    why: str
    colours: tuple[str, ...]
    wants: tuple[tuple[str, ...], ...] = ()


@dataclass(frozen=True, slots=True)
class PathStep:
    """A step with its voicing, the motion and moves into it, and a remark; N.C. has no voicing."""

    measure: int
    beat: float
    beats: float
    symbol: str
    voicing: Voicing | None
    motion: int | None
    moves: tuple[Move, ...]
    remark: str
    melody: tuple[str, ...] | None = None
    ceiling: str | None = None
    top: str | None = None
    colours: tuple[str, ...] | None = None
    context: Context | None = None


@dataclass(frozen=True, slots=True)
class Path:
    """One voicing a step, with the least motion of all paths when `optimal`."""

    motion: Motion
    optimal: bool
    size: Size
    setting: Setting
    steps: tuple[PathStep, ...]
    alternatives: tuple[Path, ...] = ()


@dataclass(frozen=True, slots=True)
class InKey:
    """Where an exercise is in one key: its first measure, from 1, its steps, from 0.

    `semitones` is how far a melody moves, `motion` the join: what is moved into its first chord.
    """

    key: str
    semitones: int
    measure: int
    step: int
    steps: int
    motion: int | None


@dataclass(frozen=True, slots=True)
class Exercise:
    """A chart through the keys as one chart, and the path with the least motion through it.

    `key` is the chart's own, `inferred` whether it was read off the chords.
    """

    key: str
    inferred: bool
    way: str | tuple[str, ...]
    keys: tuple[InKey, ...]
    chart: Chart
    path: Path


@dataclass(frozen=True, slots=True)
class PathRequest:
    """One of many charts to find a path through; without an id it gets its number from 0."""

    chart: Chart | str
    setting: Setting | None = None
    loop: bool | None = None
    pins: tuple[Pin, ...] | None = None
    start_from: tuple[int, ...] | None = None
    alternatives: int | None = None
    differs_in: int | None = None
    top_line: str | None = None
    id: str | None = None


@dataclass(frozen=True, slots=True)
class PathResult:
    """What became of one of many requests: its path, or else the problem; `index` from 0."""

    index: int
    id: str
    path: Path | None = None
    problem: ProblemDetails | None = None


@dataclass(frozen=True, slots=True)
class PlayedNote:
    """A note that was played; `part` is tone, tension, bass, foreign, or free where no chord is."""

    midi: int
    note: str
    degree: str | None
    bass: bool
    part: str


@dataclass(frozen=True, slots=True)
class Hands:
    """How two hands can share what was played, by MIDI numbers."""

    left: tuple[int, ...]
    right: tuple[int, ...]
    span_mm: Span


@dataclass(frozen=True, slots=True)
class Played:
    """What was played at a step; `hands` is None where none can, `family` where none lists it."""

    midi: tuple[int, ...]
    notes: tuple[PlayedNote, ...]
    hands: Hands | None
    family: str | None
    form: str | None


@dataclass(frozen=True, slots=True)
class Finding:
    """One thing found: a stable `code`, fault or remark, words, the notes and degrees concerned."""

    code: str
    severity: str
    words: str
    notes: tuple[int, ...]
    degrees: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Onward:
    """The best continuation from what was played: what remains to move, and what comes next."""

    motion: int
    voicing: Voicing | None


@dataclass(frozen=True, slots=True)
class StepReview:
    """A step, what was played there, and what is said of it.

    `excess` is what it cost beyond the least, `distance` how far it is from `best`, the best path's
    voicing; all are None where nothing was played.
    """

    measure: int
    beat: float
    beats: float
    symbol: str
    played: Played | None
    findings: tuple[Finding, ...]
    motion: int | None
    moves: tuple[Move, ...]
    excess: int | None
    distance: int | None
    best: Voicing | None
    onward: Onward | None


@dataclass(frozen=True, slots=True)
class Alignment:
    """How many notes of a MIDI file fell within the chart, and how many beside it."""

    taken: int
    left_out: int


@dataclass(frozen=True, slots=True)
class Review:
    """What was played, step by step; `excess` is its motion less the best path's."""

    excess: int
    faults: int
    remarks: int
    motion: Motion
    best: Motion
    alignment: Alignment | None
    setting: Setting
    steps: tuple[StepReview, ...]


@dataclass(frozen=True, slots=True)
class Tempo:
    """A tempo that was really played: from which quarter note on, quarter notes a minute."""

    at: float
    tempo: float


@dataclass(frozen=True, slots=True)
class Align:
    """How a MIDI file is laid along a chart; times are quarter notes, a field left out is usual."""

    start: float | None = None
    early: float | None = None
    tempo_map: tuple[Tempo, ...] | None = None
    channels: tuple[int, ...] | None = None


@dataclass(frozen=True, slots=True)
class Health:
    """How the service says it is."""

    status: str
