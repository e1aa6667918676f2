"""Families: the recipes for voicings."""

from shortway.core.settings.families import FAMILIES
from shortway.core.settings.setting import HANDS
from shortway.core.theory.qualities import SORTS
from shortway.wire.schemas.fields import Answer, Flag, Part, Several, Text, Whole, told

_SORT = Text(metadata=told("A sort of chord.", "dominant", enum=list(SORTS)))


class RecipeSchema(Answer):
    """One row of seats."""

    seats = Several(
        Text(metadata=told("A seat, by the degree that it is for.", "3")),
        required=True,
        metadata=told("Seats from low to high.", ["3", "7", "9", "5", "1"]),
    )
    left = Whole(
        required=True,
        metadata=told("How many of them the left hand takes where two hands play.", 2),
    )
    serves = Several(
        _SORT, required=True, metadata=told("Sorts of chord that the row is for.", ["dominant"])
    )


class NeighbourSchema(Answer):
    """Who plays what a family cannot."""

    voices = Whole(required=True, metadata=told("A number of upper notes.", 4))
    family = Text(
        required=True, metadata=told("The family that takes over.", "close", enum=list(FAMILIES))
    )


class SituationSchema(Answer):
    """Who plays."""

    hands = Text(required=True, metadata=told("The hands that play.", "left", enum=list(HANDS)))
    bass_player = Flag(required=True, metadata=told("Whether somebody else plays the bass.", True))


class FamilySchema(Answer):
    """A recipe for voicings, by its trade name."""

    id = Text(
        required=True,
        metadata=told("What a setting calls it.", "rootless", enum=list(FAMILIES)),
    )
    about = Text(
        required=True,
        metadata=told("The recipe in words.", "third and seventh left, root and fifth right"),
    )
    hands = Several(
        Text(metadata=told("Hands.", "both", enum=list(HANDS))),
        required=True,
        metadata=told("Hands that may play it; both needs two.", ["left", "right"]),
    )
    voices = Several(
        Whole(), required=True, metadata=told("How many notes it can have with a bass player.", [4])
    )
    voices_alone = Several(
        Whole(),
        required=True,
        metadata=told("The same without one, the bass note not counted.", [4]),
    )
    built = Text(
        required=True,
        metadata=told("seats: from its recipes; else by the rule of that name.", "seats"),
    )
    recipes = Several(
        Part(RecipeSchema),
        required=True,
        metadata=told("Its rows of seats, where it has some.",
                      [{"seats": ["3", "7", "1", "5"], "left": 2, "serves": ["dominant"]}]),
    )  # fmt: skip
    drops = Several(
        Whole(),
        required=True,
        metadata=told("Voices from the top that go an octave down.", [2]),
    )
    serves = Several(
        _SORT, required=True, metadata=told("Sorts of chord that it serves.", ["dominant"])
    )
    neighbours = Several(
        Part(NeighbourSchema),
        required=True,
        metadata=told("Who plays what it cannot.", [{"voices": 4, "family": "close"}]),
    )
    default_for = Several(
        Part(SituationSchema),
        required=True,
        metadata=told("Where it is used unless families are given.",
                      [{"hands": "left", "bass_player": True}]),
    )  # fmt: skip


class FamilyListSchema(Answer):
    """The table of families, in its order."""

    families = Several(Part(FamilySchema), required=True, metadata=told("All of them."))
