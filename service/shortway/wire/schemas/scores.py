"""Scores: a paths request, and how it is to be written."""

from typing import Any

from shortway.core.charts.model import MAX_TITLE
from shortway.core.rhythm.patterns import MOST_HITS, MOST_MEASURES, PATTERNS, SWING
from shortway.scores.notation.model import (
    DEFAULT_TEMPO,
    DEFAULT_WIDTH,
    HELD,
    PICTURES,
    TEMPO,
    WIDTH,
)
from shortway.wire.schemas.fields import (
    Answer,
    Between,
    Flag,
    Number,
    OneOf,
    Part,
    Raw,
    Request,
    Several,
    Sized,
    Text,
    Whole,
    told,
)
from shortway.wire.schemas.paths import PathRequestSchema

_NAMES = list(PATTERNS)


class ShowSchema(Request):
    """What a score shows."""

    held = Text(
        validate=OneOf(HELD),
        metadata=told(
            "Notes that stay in a hand from chord to chord: tied, or struck with each chord."
            " A note that the next chord spells otherwise is struck.",
            HELD[0],
            enum=list(HELD),
        ),
    )
    symbols = Flag(metadata=told("Chord symbols over the staff.", True))
    degrees = Flag(metadata=told("Each note's degree under its staff, from the top.", False))
    picture = Text(
        validate=OneOf(PICTURES),
        metadata=told("What a picture (image/svg+xml) is of.", PICTURES[0], enum=list(PICTURES)),
    )
    width = Number(
        validate=Between(*WIDTH),
        metadata=told(
            "A picture's width in px; its rows follow from it.",
            DEFAULT_WIDTH,
            minimum=WIDTH[0],
            maximum=WIDTH[1],
        ),
    )


class StrokeInputSchema(Request):
    """A hit of a pattern of one's own."""

    beat = Number(
        required=True,
        metadata=told("Where it stands, from 1 on through its measures.", 2.5, minimum=1),
    )
    beats = Number(required=True, metadata=told("How long it lasts.", 0.5, exclusiveMinimum=0))
    anticipate = Flag(metadata=told("Whether it takes the next chord.", False))


class RhythmInputSchema(Request):
    """A comping pattern by name, or hits of one's own, straight or swung."""

    pattern = Text(metadata=told("A pattern of `GET /v1/rhythms`.", "charleston", enum=_NAMES))
    hits = Several(
        Part(StrokeInputSchema),
        metadata=told("In order; none lasts over the next.", minItems=1, maxItems=MOST_HITS),
    )
    measures = Whole(metadata=told("Measures of the hits.", 1, minimum=1, maximum=MOST_MEASURES))
    meter = Text(metadata=told("Of the hits; 4/4 where missing.", "4/4"))
    swing = Number(
        metadata=told(
            "The longer eighth note over the shorter: 1 is straight, 2 a triplet swing.",
            2.0,
            minimum=SWING[0],
            maximum=SWING[1],
        )
    )


RHYTHM: dict[str, Any] = {
    "oneOf": [
        {"type": "string", "enum": _NAMES},
        {"$ref": "#/components/schemas/RhythmInput"},
    ]
}


class ScoreRequestSchema(PathRequestSchema):
    """A paths request, and how its path is to be written."""

    title = Text(
        validate=Sized(1, MAX_TITLE),
        metadata=told("The title; the chart's own where missing.", "Lift to the Roof Bar"),
    )
    tempo = Number(
        validate=Between(*TEMPO),
        metadata=told("Quarter notes a minute.", DEFAULT_TEMPO, minimum=TEMPO[0], maximum=TEMPO[1]),
    )
    rhythm = Raw(
        RHYTHM,
        metadata=told(
            "When chords are struck: held where missing, and in measures that are short or of a"
            " meter that the pattern is not for.",
            "charleston",
        ),
    )
    show = Part(ShowSchema, metadata=told("What is shown.", {"held": "tied", "degrees": True}))


class StrokeSchema(Answer):
    """A hit of a pattern."""

    beat = Number(required=True, metadata=told("Where it stands, from 1.", 2.5))
    beats = Number(required=True, metadata=told("How long it lasts.", 0.5))
    anticipate = Flag(required=True, metadata=told("Whether it takes the next chord.", False))


class RhythmSchema(Answer):
    """A comping pattern."""

    id = Text(required=True, metadata=told("Its name, for `rhythm` in a score.", "charleston"))
    about = Text(required=True, metadata=told("In words.", "one, and the off-beat of two"))
    meters = Several(
        Text(),
        required=True,
        metadata=told("Meters it is for, none: all; elsewhere chords are held.", ["4/4"]),
    )
    measures = Whole(required=True, metadata=told("Measures that it lasts for.", 1))
    hits = Several(
        Part(StrokeSchema), required=True, metadata=told("None: each chord is struck and held.")
    )


class RhythmListSchema(Answer):
    """All patterns."""

    rhythms = Several(Part(RhythmSchema), required=True, metadata=told("All of them."))
