"""Scores: a paths request, how it is to be written, and timed events."""

from shortway.core.charts.headers import MAX_TITLE
from shortway.core.charts.model import MAX_STEPS
from shortway.core.rhythm.onsets import MOST_CHORUSES
from shortway.core.rhythm.patterns import PATTERNS
from shortway.core.rhythm.rhythm import (
    DENSITIES,
    MOST_HITS,
    MOST_MEASURES,
    MOST_SECTIONS,
    MOST_SEED,
    SWING,
)
from shortway.scores.display import (
    DEFAULT_WIDTH,
    HELD,
    PAGE_BREAKS,
    PAPER_SIZES,
    PICTURE_THEMES,
    PICTURES,
    WIDTH,
)
from shortway.scores.formats import FORMS
from shortway.scores.sound import DEFAULT_TEMPO, PIANO, PROGRAMS, ROOTS, TEMPO
from shortway.wire.fields import (
    Between,
    Length,
    OneOf,
    RequestSchema,
    ResponseSchema,
    StrictBoolean,
    StrictInteger,
    StrictList,
    StrictNested,
    StrictNumber,
    StrictString,
)
from shortway.wire.schemas.paths import PathRequestSchema

_NAMES = list(PATTERNS)


def _word(words: tuple[str, ...], description: str) -> StrictString:
    """One of a closed list of words, the first unless given."""
    return StrictString(description, words[0], validate=OneOf(words), default=words[0])


class ShowOptionsSchema(RequestSchema):
    """What a score shows."""

    held = _word(
        HELD,
        "Notes that stay in a hand from chord to chord: tied, or struck with each chord."
        " A note that the next chord spells otherwise is struck.",
    )
    symbols = StrictBoolean("Chord symbols over the staff.", True, default=True)
    degrees = StrictBoolean(
        "Each note's degree under its staff, from the top.", False, default=False
    )
    picture = _word(PICTURES, "What a picture (image/svg+xml) is of.")
    width = StrictNumber(
        "A picture's width in px; its rows follow from it.",
        DEFAULT_WIDTH,
        validate=Between(*WIDTH),
        default=DEFAULT_WIDTH,
        minimum=WIDTH[0],
        maximum=WIDTH[1],
    )
    paper = _word(PAPER_SIZES, "The paper of a PDF, upright.")
    theme = _word(
        PICTURE_THEMES, "The colours of a picture: for a light background, or for a dark one."
    )
    page_breaks = _word(
        PAGE_BREAKS,
        "Where a new page begins in notation: nowhere of its own accord, or with each section.",
    )


class RhythmHitInputSchema(RequestSchema):
    """A hit of a custom pattern."""

    beat = StrictNumber(
        "Where it stands, from 1 on through its measures.", 2.5, required=True, minimum=1
    )
    beats = StrictNumber("How long it lasts.", 0.5, required=True, exclusiveMinimum=0)
    anticipate = StrictBoolean("Whether it takes the next chord.", False, default=False)


class SectionRhythmInputSchema(RequestSchema):
    """The comping of a section."""

    section = StrictString("The section's name in the chart.", "B", required=True)
    rhythm = StrictString("In place of the score's.", "pushes", validate=OneOf(_NAMES))
    density = StrictString("In place of the score's.", "dense", validate=OneOf(DENSITIES))


class ScoreRequestSchema(PathRequestSchema):
    """A paths request, and how its path is to be written."""

    title = StrictString(
        "The title; the chart's own where missing.",
        "Lift to the Roof Bar",
        validate=Length(1, MAX_TITLE),
    )
    tempo = StrictNumber(
        "Quarter notes a minute; where missing, the tempi of the lead sheet, else 120.",
        DEFAULT_TEMPO,
        validate=Between(*TEMPO),
        minimum=TEMPO[0],
        maximum=TEMPO[1],
    )
    rhythm = StrictString(
        "When chords are struck, a pattern of `GET /v1/rhythms`: held where missing, and in"
        " measures that are short or of a meter that the pattern is not for. varied changes the"
        " pattern by phrase.",
        "charleston",
        validate=OneOf(_NAMES),
    )
    seed = StrictInteger(
        "Which varied rhythm: the same seed gives the same one.",
        7,
        validate=Between(0, MOST_SEED),
        default=0,
    )
    density = StrictString(
        "How many hits a varied rhythm has.", "medium", validate=OneOf(DENSITIES), default="medium"
    )
    section_rhythms = StrictList(
        StrictNested(SectionRhythmInputSchema),
        "Sections of the chart with a rhythm or density of their own.",
        [{"section": "B", "rhythm": "pushes"}],
        validate=Length(0, MOST_SECTIONS),
    )
    hits = StrictList(
        StrictNested(RhythmHitInputSchema),
        "A pattern of your own, in place of `rhythm`: hits in order, of which none lasts over the"
        " next.",
        validate=Length(1, MOST_HITS),
    )
    hits_measures = StrictInteger(
        "Measures of the hits; 1 where missing.", 1, validate=Between(1, MOST_MEASURES)
    )
    hits_meter = StrictString("Meter of the hits; 4/4 where missing.", "4/4")
    swing = StrictNumber(
        "The longer eighth note over the shorter: 1 is straight, 2 a triplet swing.",
        2.0,
        validate=Between(*SWING),
        default=1,
    )
    choruses = StrictInteger(
        "How many times the form is played. From 2 on the path is that of the loop, the last chord"
        " is struck once and held, and a varied rhythm is denser in the last one.",
        2,
        validate=Between(1, MOST_CHORUSES),
        default=1,
    )
    vary = StrictBoolean(
        "Whether each chorus has another of the next best paths, within the notes of the first.",
        False,
        default=False,
    )
    program = StrictString(
        "The instrument, of General MIDI.", PIANO, validate=OneOf(tuple(PROGRAMS)), default=PIANO
    )
    count_in = StrictBoolean(
        "Whether a MIDI file and timed events begin with a measure that counts in.",
        False,
        default=False,
    )
    roots = StrictString(
        "The chords' roots, or bass notes, where a bass player is assumed: in a MIDI file on a"
        " track of their own, which muted gives the volume 0; in timed events where audible.",
        "muted",
        validate=OneOf(ROOTS),
        default="muted",
    )
    from_measure = StrictInteger(
        "The first measure that is written, as the chart numbers them, from 1. The path is that of "
        "the whole chart.",
        1,
        validate=Between(1, MAX_STEPS),
    )
    to_measure = StrictInteger(
        "The last one. An excerpt is what is played from where one of its measures first is until "
        "another one is; that of a lead sheet has the piano alone.",
        1,
        validate=Between(1, MAX_STEPS),
    )
    show = StrictNested(ShowOptionsSchema, "What is shown.", {"held": "tied", "degrees": True})
    format = StrictString(
        "The form of the file, whatever the Accept header prefers; timed events have one form.",
        "midi",
        validate=OneOf(tuple(FORMS)),
    )


class RhythmHitSchema(ResponseSchema):
    """A hit of a pattern."""

    beat = StrictNumber("Where it stands, from 1.", 2.5)
    beats = StrictNumber("How long it lasts.", 0.5)
    anticipate = StrictBoolean("Whether it takes the next chord.", False)


class RhythmSchema(ResponseSchema):
    """A comping pattern."""

    id = StrictString("Its name, for `rhythm` in a score.", "charleston")
    about = StrictString("In words.", "one, and the off-beat of two")
    meters = StrictList(
        StrictString(), "Meters it is for, none: all; elsewhere chords are held.", ["4/4"]
    )
    measures = StrictInteger("Measures that it lasts for.", 1)
    hits = StrictList(
        StrictNested(RhythmHitSchema),
        "None: each chord is struck and held; varied has those of other patterns.",
    )


class RhythmListSchema(ResponseSchema):
    """All patterns."""

    rhythms = StrictList(StrictNested(RhythmSchema), "All of them.")


class TimedEventSchema(ResponseSchema):
    """A key struck."""

    time = StrictNumber("When it is struck, in seconds from the beginning.", 1.0, minimum=0)
    duration = StrictNumber("For how many seconds it is held.", 2.0, minimum=0)
    midi = StrictInteger("Its MIDI number.", 55, minimum=0, maximum=127)
    velocity = StrictInteger("How hard, as in MIDI.", 64, minimum=1, maximum=127)
    hand = StrictString("The hand that strikes it.", "left", enum=["left", "right"])
    step = StrictInteger("The path's step that it belongs to, from 0.", 0, minimum=0)


class RootEventSchema(ResponseSchema):
    """A root, or bass note, that a bass player would play."""

    time = StrictNumber("When it is struck, in seconds from the beginning.", 1.0, minimum=0)
    duration = StrictNumber("For how many seconds it is held.", 2.0, minimum=0)
    midi = StrictInteger("Its MIDI number.", 41, minimum=0, maximum=127)
    velocity = StrictInteger("How hard, as in MIDI.", 60, minimum=1, maximum=127)
    step = StrictInteger("The path's step that it belongs to, from 0.", 0, minimum=0)


class PerformanceSchema(ResponseSchema):
    """A path as it sounds: repeats are played, ties are one event, swing is in the times."""

    title = StrictString("The title; null where there is none.", "Lift to the Roof Bar", null=True)
    tempo = StrictNumber("Quarter notes a minute.", 120)
    duration = StrictNumber("Seconds to the end of the last measure.", 16.0, minimum=0)
    events = StrictList(
        StrictNested(TimedEventSchema), "Its events by time, those of one time from low to high."
    )
    count_in = StrictList(
        StrictNumber("A beat, in seconds from the beginning.", 0.5, minimum=0),
        "The beats that count in, where asked for; the music begins after them.",
        [0, 0.5, 1.0, 1.5],
        optional=True,
    )
    roots = StrictList(
        StrictNested(RootEventSchema), "The roots by time, where they are audible.", optional=True
    )
