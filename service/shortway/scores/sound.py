"""How a score sounds: tempo, instrument, count-in, the track of roots, loudness.

Knows no music. Velocities are below the middle of MIDI's range: a file is as loud as the device
that plays it, and headphones may be on.
"""

from dataclasses import dataclass
from typing import Final

#: Programs by name: number from 0, and title (General MIDI System Level 1, MMA 1991: sound set).
PROGRAMS: Final = {
    "acoustic-grand-piano": (0, "Piano"),
    "electric-piano-1": (4, "Electric piano"),
    "electric-piano-2": (5, "Electric piano"),
    "vibraphone": (11, "Vibraphone"),
    "acoustic-guitar-nylon": (24, "Guitar"),
    "acoustic-guitar-steel": (25, "Guitar"),
    "electric-guitar-jazz": (26, "Electric guitar"),
    "electric-guitar-clean": (27, "Electric guitar"),
}
#: Quarter notes a minute: the least and the most, and the default.
TEMPO: Final = (20, 400)
DEFAULT_TEMPO: Final = 120
PIANO: Final = "acoustic-grand-piano"
#: What the track of the roots is: left out, written with the volume 0, or heard.
ROOTS: Final = ("off", "muted", "audible")

#: MIDI velocities: the lowest and the top note of a chord, the notes between, roots, count-in.
VELOCITY: Final = 64
_OUTER: Final = 60
_INNER: Final = 56
ROOT_VELOCITY: Final = 60
CLICK_VELOCITY: Final = 52
#: How much louder a short or an anticipated chord is.
_ACCENT: Final = 4


@dataclass(frozen=True, slots=True)
class ScoreSound:
    """One of `PROGRAMS`, whether a measure is counted in, one of `ROOTS`."""

    program: str = PIANO
    count_in: bool = False
    roots: str = "muted"


DEFAULT_SOUND: Final = ScoreSound()


def velocity(place: int, voices: int, *, accent: bool = False) -> int:
    """The velocity of the voice `place` of a chord of `voices`, from 0 at the bottom.

    The top voice is a little louder than the inner ones (common practice, no source).

    >>> [velocity(k, 4) for k in range(4)]
    [60, 56, 56, 64]
    """
    own = VELOCITY if place == voices - 1 else _INNER if place else _OUTER
    return own + _ACCENT * accent
