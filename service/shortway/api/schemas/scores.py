"""Scores: a paths request, and how it is to be written."""

from typing import Any

from shortway.api.fields import (
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
from shortway.api.schemas.paths import PathRequestSchema
from shortway.core.measures import MAX_TITLE
from shortway.core.patterns import MOST_HITS, MOST_MEASURES, PATTERNS, SWING
from shortway.score.music import DEFAULT_TEMPO, DEFAULT_WIDTH, HELD, PICTURES, TEMPO, WIDTH


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


_NAME: dict[str, Any] = {"type": "string", "enum": list(PATTERNS)}
_HIT: dict[str, Any] = {
    "type": "object",
    "required": ["beat", "beats"],
    "additionalProperties": False,
    "properties": {
        "beat": {"type": "number", "minimum": 1, "description": "Where it stands, from 1."},
        "beats": {"type": "number", "exclusiveMinimum": 0, "description": "How long it lasts."},
        "anticipate": {"type": "boolean", "description": "Whether it takes the next chord."},
    },
}
RHYTHM: dict[str, Any] = {
    "oneOf": [
        _NAME,
        {
            "type": "object",
            "additionalProperties": False,
            "properties": {
                "pattern": _NAME | {"description": "A pattern of `GET /v1/rhythms`."},
                "hits": {"type": "array", "items": _HIT, "minItems": 1, "maxItems": MOST_HITS},
                "measures": {"type": "integer", "minimum": 1, "maximum": MOST_MEASURES},
                "meter": {"type": "string", "description": "Of the hits; 4/4 where missing."},
                "swing": {
                    "type": "number",
                    "minimum": SWING[0],
                    "maximum": SWING[1],
                    "description": "The longer eighth note over the shorter: 2 is a triplet swing.",
                },
            },
        },
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
    rhythm = Raw(RHYTHM, metadata=told("When chords are struck: held where missing.", "charleston"))
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


class RhythmsSchema(Answer):
    """All patterns."""

    rhythms = Several(Part(RhythmSchema), required=True, metadata=told("All of them."))
