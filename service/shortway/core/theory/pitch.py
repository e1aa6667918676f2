"""Note names, pitch classes, MIDI numbers and the spelling of degrees.

Knows errors only. A name is a letter and ``b``/``#`` (doubled where the spelling needs it); with
an octave it is a pitch, C4 = MIDI 60. A degree is a name such as ``b3`` or ``#11`` counted from a
root: its number fixes the letter, its sign the semitones.
"""

import re
from functools import lru_cache

from shortway.core.errors import SettingError

LETTERS = "CDEFGAB"
NATURALS = (0, 2, 4, 5, 7, 9, 11)
SIGNS = {"": 0, "b": -1, "#": 1, "bb": -2, "##": 2}
SIGN_OF = {semitones: sign for sign, semitones in SIGNS.items()}

#: Every degree of the contract with its semitones above the root.
DEGREES: dict[str, int] = {
    "1": 0, "b9": 1, "9": 2, "#9": 3, "b3": 3, "3": 4, "4": 5, "11": 5, "#11": 6, "b5": 6,
    "5": 7, "#5": 8, "b13": 8, "6": 9, "13": 9, "bb7": 9, "b7": 10, "7": 11,
}  # fmt: skip

_PITCH = re.compile(r"([A-G])(##|bb|#|b)?(-?\d)")


#: Letters on the line of fifths: a key's notes are neighbours there, and a sharp is seven further.
_LINE = "FCGDAEB"


def fifths_from_c(name: str) -> int:
    """A note's place on the line of fifths, C being 0.

    >>> fifths_from_c("F"), fifths_from_c("Bb"), fifths_from_c("F#")
    (-1, -2, 6)
    """
    return _LINE.index(name[0]) - 1 + 7 * SIGNS[name[1:]]


def note_at_fifths(place: int) -> str:
    """The note at a place on the line of fifths, with as many signs as it needs.

    >>> note_at_fifths(-1), note_at_fifths(-9), note_at_fifths(6)
    ('F', 'Bbb', 'F#')
    """
    signs = (place + 1) // 7
    return _LINE[(place + 1) % 7] + ("#" * signs or "b" * -signs)


def letter_steps(degree: str) -> int:
    """Letters from the root to `degree`, 0 to 6: a third is 2 away, whatever its sign.

    >>> letter_steps("b3"), letter_steps("#11"), letter_steps("13")
    (2, 3, 5)
    """
    return (int(degree.lstrip("b#")) - 1) % 7


def pitch_class(name: str) -> int:
    """Pitch class 0 to 11 of a note name without octave.

    >>> pitch_class("Bb"), pitch_class("Cb"), pitch_class("F##")
    (10, 11, 7)
    """
    return (NATURALS[LETTERS.index(name[0])] + SIGNS[name[1:]]) % 12


@lru_cache(maxsize=4096)
def spell(root: str, degree: str) -> str:
    """The note that `degree` is above `root`; a triple accidental gives way to the plain note.

    >>> spell("Gb", "3"), spell("F#", "3"), spell("Gb", "b3"), spell("Cb", "bb7")
    ('Bb', 'A#', 'Bbb', 'Ab')
    """
    return note_above(root, letter_steps(degree), DEGREES[degree])


def note_above(root: str, steps: int, semitones: int) -> str:
    """The note so many letters and semitones above `root`; the plain one beyond two signs."""
    target = (pitch_class(root) + semitones) % 12
    letter = (LETTERS.index(root[0]) + steps) % 7
    sign = (target - NATURALS[letter] + 6) % 12 - 6
    return LETTERS[letter] + SIGN_OF[sign] if sign in SIGN_OF else plain_name(target)


def plain_name(pitch_class_: int) -> str:
    """The name of a pitch class out of any context: flats for the black keys.

    >>> [plain_name(pc) for pc in (1, 3, 6, 8, 10)]
    ['Db', 'Eb', 'Gb', 'Ab', 'Bb']
    """
    return ("C", "Db", "D", "Eb", "E", "F", "Gb", "G", "Ab", "A", "Bb", "B")[pitch_class_ % 12]


@lru_cache(maxsize=8192)
def with_octave(name: str, midi: int) -> str:
    """`name` with the octave that makes it sound as `midi`.

    >>> with_octave("Cb", 59), with_octave("B#", 60), with_octave("Bb", 58)
    ('Cb4', 'B#3', 'Bb3')
    """
    natural = NATURALS[LETTERS.index(name[0])] + SIGNS[name[1:]]
    return f"{name}{(midi - natural) // 12 - 1}"


def midi_number(text: str) -> int:
    """MIDI number of a pitch such as ``Eb3``.

    Raises SettingError if `text` is no pitch or lies outside 0 to 127.

    >>> midi_number("C4"), midi_number("Eb3"), midi_number("C6")
    (60, 51, 84)
    """
    match = _PITCH.fullmatch(text)
    if match is None:
        raise SettingError.at(
            "", f"{text[:20]!r} is not a pitch", 0, "a letter A to G, b or #, and an octave: Eb3"
        )
    letter, sign, octave = match.groups()
    midi = 12 * (int(octave) + 1) + NATURALS[LETTERS.index(letter)] + SIGNS[sign or ""]
    if not 0 <= midi <= 127:
        raise SettingError.at("", f"{text} is outside MIDI 0 to 127", 0, "C-1 to G9")
    return midi


def pitch_name(midi: int) -> str:
    """A pitch's name out of any chord's context.

    >>> pitch_name(60), pitch_name(51)
    ('C4', 'Eb3')
    """
    return with_octave(plain_name(midi), midi)
