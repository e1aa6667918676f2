"""The table of families as JSON values."""

from collections.abc import Iterable

from shortway.core.settings.families import OWN_ROWS, Family
from shortway.core.settings.situations import SITUATIONS
from shortway.core.theory.qualities import CHORD_TYPES, TRIADS
from shortway.wire.serializers import Json


def family_json(family: Family) -> Json:
    """A row of the table of families.

    ``seats`` go from low to high, the first ``left`` of them to the left hand of two; ``serves``
    names chord types, and `neighbours` who plays what a family cannot, by number of voices.
    """
    common = [name for name in CHORD_TYPES if name not in (*TRIADS, *OWN_ROWS)]
    return {
        "id": family.id,
        "about": family.about,
        "hands": list(family.hands),
        "voices": list(family.sizes(True)),
        "voices_alone": list(family.sizes(False)),
        "built": family.built,
        "recipes": [
            {"seats": list(row.seats), "left": row.left, "serves": list(row.chord_types or common)}
            for row in family.recipes
        ],
        "drops": list(family.drops),
        "serves": [sort for sort in CHORD_TYPES if sort not in family.unserved],
        "neighbours": [{"voices": count, "family": name} for count, name in family.neighbour],
        "default_for": [
            {"hands": hands, "bass_player": bass_player}
            for (hands, bass_player), situation in SITUATIONS.items()
            if family.id in situation.families
        ],
    }


def families_json(families: Iterable[Family]) -> Json:
    """The table of families, in its order."""
    return {"families": [family_json(family) for family in families]}
