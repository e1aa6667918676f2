"""Presets: settings by situation, in plain words. Data; common practice, no source.

Knows nothing. `settings.setting` reads a preset's fields as if they had been given; fields
given beside it override them.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final


@dataclass(frozen=True, slots=True)
class Preset:
    """A setting with a name: whom it is for, and the fields that it sets."""

    id: str
    about: str
    sets: Mapping[str, object]


PRESETS: Final[dict[str, Preset]] = {
    preset.id: preset
    for preset in (
        Preset(
            "with-bass-two-hands",
            "both hands comp in a band; the bass player has the roots",
            {"bass_player": True, "hands": "both"},
        ),
        Preset(
            "solo",
            "one pianist alone: a bass note low in the left hand, the chord above it",
            {"bass_player": False, "hands": "both"},
        ),
        Preset(
            "left-hand-under-a-solo",
            "the left hand comps while the right hand plays a line; a bass player has the roots",
            {"bass_player": True, "hands": "left"},
        ),
        Preset(
            "small-hands",
            "both hands in a band, and neither stretches beyond an octave",
            {"bass_player": True, "hands": "both", "reach": "octave"},
        ),
        Preset(
            "beginner-guide-tones",
            "third and seventh in the left hand, root and fifth in the right, nothing added",
            {"bass_player": True, "hands": "both", "families": ("guide-tone",),
             "tensions": "written"},
        ),
    )
}  # fmt: skip
