"""Families: the recipes for voicings."""

from shortway.core.settings.families import FAMILIES
from shortway.core.settings.setting import HANDS
from shortway.core.theory.qualities import CHORD_TYPES
from shortway.wire.fields import (
    ResponseSchema,
    StrictBoolean,
    StrictInteger,
    StrictList,
    StrictNested,
    StrictString,
    doc,
)

_CHORD_TYPE = StrictString(metadata=doc("A chord type.", "dominant", enum=list(CHORD_TYPES)))


class RecipeSchema(ResponseSchema):
    """One row of seats."""

    seats = StrictList(
        StrictString(metadata=doc("A seat, by the degree that it is for.", "3")),
        required=True,
        metadata=doc("Seats from low to high.", ["3", "7", "9", "5", "1"]),
    )
    left = StrictInteger(
        required=True,
        metadata=doc("How many of them the left hand takes where two hands play.", 2),
    )
    serves = StrictList(
        _CHORD_TYPE,
        required=True,
        metadata=doc("Chord types that the row is for.", ["dominant"]),
    )


class NeighbourSchema(ResponseSchema):
    """Who plays what a family cannot."""

    voices = StrictInteger(required=True, metadata=doc("A number of upper notes.", 4))
    family = StrictString(
        required=True, metadata=doc("The family that takes over.", "close", enum=list(FAMILIES))
    )


class SituationSchema(ResponseSchema):
    """Who plays."""

    hands = StrictString(
        required=True, metadata=doc("The hands that play.", "left", enum=list(HANDS))
    )
    bass_player = StrictBoolean(
        required=True, metadata=doc("Whether somebody else plays the bass.", True)
    )


class FamilySchema(ResponseSchema):
    """A recipe for voicings, by its trade name."""

    id = StrictString(
        required=True,
        metadata=doc("What a setting calls it.", "rootless", enum=list(FAMILIES)),
    )
    about = StrictString(
        required=True,
        metadata=doc("The recipe in words.", "third and seventh left, root and fifth right"),
    )
    hands = StrictList(
        StrictString(metadata=doc("Hands.", "both", enum=list(HANDS))),
        required=True,
        metadata=doc("Hands that may play it; both needs two.", ["left", "right"]),
    )
    voices = StrictList(
        StrictInteger(),
        required=True,
        metadata=doc("How many notes it can have with a bass player.", [4]),
    )
    voices_alone = StrictList(
        StrictInteger(),
        required=True,
        metadata=doc("The same without one, the bass note not counted.", [4]),
    )
    built = StrictString(
        required=True,
        metadata=doc("seats: from its recipes; else by the rule of that name.", "seats"),
    )
    recipes = StrictList(
        StrictNested(RecipeSchema),
        required=True,
        metadata=doc("Its rows of seats, where it has some.",
                      [{"seats": ["3", "7", "1", "5"], "left": 2, "serves": ["dominant"]}]),
    )  # fmt: skip
    drops = StrictList(
        StrictInteger(),
        required=True,
        metadata=doc("Voices from the top that go an octave down.", [2]),
    )
    serves = StrictList(
        _CHORD_TYPE, required=True, metadata=doc("Chord types that it serves.", ["dominant"])
    )
    neighbours = StrictList(
        StrictNested(NeighbourSchema),
        required=True,
        metadata=doc("Who plays what it cannot.", [{"voices": 4, "family": "close"}]),
    )
    default_for = StrictList(
        StrictNested(SituationSchema),
        required=True,
        metadata=doc("Where it is used unless families are given.",
                      [{"hands": "left", "bass_player": True}]),
    )  # fmt: skip


class FamilyListSchema(ResponseSchema):
    """The table of families, in its order."""

    families = StrictList(StrictNested(FamilySchema), required=True, metadata=doc("All of them."))
