"""Situations: what a setting defaults to for the hands that play and who plays the bass. Data.

Knows nothing. Ranges: the left hand alone a sixth either side of middle C (as taught for rootless
voicings), from E2, the bass's lowest string, without a bass player. Homes follow the medians of
real playing; `prices.COMFORTABLE_TOP` above them is the highest tenth of its top notes. Mean
pitch: 59 with a bass player (three transcribed piano stems, 213 chords), 57 in pop accompaniments
(POP909; Wang et al., ISMIR 2020), 58 in trios and solos (Cheston 2025), 60.5 in solos with melody
and bass (Chord-Jazzification; Chen et al., ISMIR 2020), 61 for the notes between these two. Top
note, highest tenth: 75 with a bass player, 78 mixed. Two hands with tensions lie a little higher
(common practice, no source).
"""

from dataclasses import dataclass
from typing import Final


@dataclass(frozen=True, slots=True)
class Situation:
    """What a setting defaults to.

    `notes`: upper notes, where the families share more than one number. `lowest`, `highest`: the
    range. `home`: where the mean pitch of the upper notes is at home.
    """

    families: tuple[str, ...]
    notes: int
    lowest: str
    highest: str
    home: str


_TWO_HANDS: Final = ("guide-tone-extended", "guide-tone-colours", "fourths", "upper-structure")

#: Defaults by (hands, bass player).
SITUATIONS: Final[dict[tuple[str, bool], Situation]] = {
    ("both", True): Situation(_TWO_HANDS, 5, "Eb3", "C6", "D4"),
    ("left", True): Situation(("rootless",), 4, "Eb3", "A4", "B3"),
    ("right", True): Situation(("rootless",), 4, "Eb3", "C6", "D4"),
    ("both", False): Situation(("spread", "rootless"), 4, "E2", "C6", "C4"),
    ("left", False): Situation(("shell",), 1, "E2", "A4", "B3"),
    ("right", False): Situation(("shell",), 2, "E2", "C6", "D4"),
}
