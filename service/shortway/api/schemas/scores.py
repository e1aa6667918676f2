"""Scores: a paths request, and how it is to be written."""

from shortway.api.fields import Between, Flag, Number, OneOf, Part, Request, Sized, Text, told
from shortway.api.schemas.paths import PathRequestSchema
from shortway.core.measures import MAX_TITLE
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
    show = Part(ShowSchema, metadata=told("What is shown.", {"held": "tied", "degrees": True}))
