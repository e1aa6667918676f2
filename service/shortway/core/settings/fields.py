"""Fields of a setting, read from the form in which they are given.

Knows the families, the keyboard and the prices. Every function raises `WrongType`, `UnknownField`
or `SettingError` with a JSON pointer to the field; one that is absent or null takes its default.
"""

import math
from collections.abc import Callable, Collection, Mapping
from typing import Final, cast

from shortway.core.errors import NotesNeeded, SettingError, UnknownField, WrongType, one_of, token
from shortway.core.settings.families import FAMILIES, WIDER, shared_voices
from shortway.core.settings.keyboard import REACHES
from shortway.core.settings.prices import MAX_PRICE, PRICES, priced
from shortway.core.settings.situations import Situation
from shortway.core.theory.pitch import midi_number, pitch_name

MOST_NOTES: Final = 10
Fields = Mapping[str, object]


# --- fields that hang together -------------------------------------------------------------------


def read_families_and_notes(
    fields: Fields, situation: Situation, hands: str, bass_player: bool
) -> tuple[tuple[str, ...], int | None]:
    """The families and the number of upper notes; None where it may vary.

    Raises SettingError if a family cannot be played by the hands, or has no voicings of so many
    notes, or a number is given that may vary.
    """
    families = _families(fields, situation, hands)
    given = fields.get("notes")
    if read_boolean(fields, "notes_vary", False):
        if given is not None:
            detail = "the number of notes is given, and may vary"
            raise SettingError.at("/notes", detail, expected="no notes beside notes_vary")
        return families, None
    if given is None:
        return families, _implied_notes(families, situation, bass_player)
    notes = read_integer(fields, "notes", 1, MOST_NOTES, 0)
    able = tuple(name for name in families if notes in FAMILIES[name].sizes(bass_player))
    if able and (able == families or fields.get("families") is None):
        return able, notes
    raise _cannot_take(families, notes, bass_player)


def _cannot_take(families: tuple[str, ...], notes: int, bass_player: bool) -> SettingError:
    sizes = {name: FAMILIES[name].sizes(bass_player) for name in families}
    unable = [name for name in families if notes not in sizes[name]]
    expected = "; ".join(f"{name}: {one_of([str(n) for n in sizes[name]])}" for name in unable)
    return SettingError.at(
        "/notes", f"{one_of(unable)} cannot have {notes} upper notes", expected=expected
    )


def _families(fields: Fields, situation: Situation, hands: str) -> tuple[str, ...]:
    families = read_words(fields, "families", tuple(FAMILIES), situation.families)
    if not families:
        raise SettingError.at("/families", "no family is given", expected="at least one family")
    for index, name in enumerate(families):
        if hands != "both" and hands not in FAMILIES[name].hands:
            able = [f.id for f in FAMILIES.values() if hands in f.hands]
            raise SettingError.at(
                f"/families/{index}", f"{name} needs both hands", expected=one_of(able)
            )
    return families


def _implied_notes(families: tuple[str, ...], situation: Situation, bass_player: bool) -> int:
    shared = shared_voices(families, bass_player)
    if len(shared) == 1:
        return shared[0]
    if situation.notes in shared:
        return situation.notes
    sizes = "; ".join(
        f"{name}: {one_of([str(n) for n in FAMILIES[name].sizes(bass_player)])}"
        for name in families
    )
    raise NotesNeeded.at(
        "/notes",
        "these families share no one number of upper notes: give notes or notes_vary",
        expected=sizes,
    )


def read_reach(fields: Fields) -> tuple[str | None, float]:
    """The name of the reach, if it has one, and its mm.

    Raises WrongType, SettingError if it is no number, out of range, or two names disagree.
    """
    name = read_choice(fields, "reach", tuple(REACHES), "")
    given = fields.get("reach_mm")
    if given is None:
        return name or "ninth", REACHES[name or "ninth"]
    if isinstance(given, bool) or not isinstance(given, (int, float)):
        raise WrongType.at("/reach_mm", "the reach in mm is a number", expected="a number")
    if not (math.isfinite(given) and 20 <= given <= 400):
        raise SettingError.at("/reach_mm", f"{given} mm is out of range", expected="20 to 400")
    if name and REACHES[name] != given:
        raise SettingError.at(
            "/reach_mm", f"{given} mm is not a {name}", expected=f"{REACHES[name]}, or no reach"
        )
    return name or None, float(given)


def with_neighbours(families: tuple[str, ...], notes: int | None) -> tuple[str, ...]:
    """The families and those that stand in for them."""
    neighbours = [dict(FAMILIES[name].neighbour) for name in families]
    return (*families, *(of[notes] for of in neighbours if notes in of))


def read_range(fields: Fields, situation: Situation, families: tuple[str, ...]) -> tuple[int, int]:
    """The lowest and the highest note as MIDI numbers. Raises WrongType or SettingError."""
    tops = [situation.highest, *(WIDER[name] for name in families if name in WIDER)]
    lowest = read_pitch_name(fields, "lowest", "/lowest", situation.lowest)
    highest = read_pitch_name(fields, "highest", "/highest", max(tops, key=midi_number))
    if lowest > highest:
        raise SettingError.at(
            "/lowest",
            f"the lowest note {pitch_name(lowest)} lies above the highest {pitch_name(highest)}",
            expected="lowest not above highest",
        )
    return lowest, highest


def read_prices(fields: Fields) -> tuple[int, ...]:
    """The prices in the order of the table. Raises WrongType, UnknownField or SettingError."""
    given = fields.get("prices")
    if given is not None and not isinstance(given, Mapping):
        raise WrongType.at("/prices", "prices are an object", expected="semitones by name")
    overrides: Fields = given or {}
    refuse_unknown(overrides, tuple(PRICES), "/prices")
    try:
        return priced(
            {
                name: read_integer(overrides, name, 0, MAX_PRICE, PRICES[name].default)
                for name in overrides
            }
        )
    except SettingError as error:
        raise error.under("/prices") from None


# --- one field each ------------------------------------------------------------------------------


def refuse_unknown(fields: Fields, known: Collection[str], at: str) -> None:
    """Reject a field that is not `known`. Raises UnknownField."""
    for name in fields:
        if name not in known:
            detail = f"unknown field {str(name)[:40]!r}"
            raise UnknownField.at(at + token(name), detail, expected=one_of(list(known)))


def _typed(fields: Fields, name: str, right: Callable[[object], bool], what: str) -> object:
    value = fields.get(name)
    if value is not None and not right(value):
        raise WrongType.at(f"/{name}", f"{name} must be {what}", expected=what)
    return value


def read_boolean(fields: Fields, name: str, default: bool) -> bool:
    """True or false. Raises WrongType."""
    value = _typed(fields, name, lambda v: isinstance(v, bool), "true or false")
    return default if value is None else bool(value)


def read_integer(fields: Fields, name: str, least: int, most: int, default: int) -> int:
    """A whole number from `least` to `most`. Raises WrongType or SettingError."""
    value = fields.get(name)
    if type(value) is int and least <= value <= most:
        return value
    value = _typed(fields, name, lambda v: type(v) is int, "a whole number")
    if value is None:
        return default
    number = cast("int", value)
    if not least <= number <= most:
        raise SettingError.at(f"/{name}", f"{name} is {number}", expected=f"{least} to {most}")
    return number


def read_choice(fields: Fields, name: str, choices: tuple[str, ...], default: str) -> str:
    """One of `choices`. Raises WrongType or SettingError."""
    value = fields.get(name)
    if value is None:
        return default
    if isinstance(value, str) and value in choices:
        return value
    _typed(fields, name, lambda v: isinstance(v, str), one_of(choices))
    detail = f"{str(value)[:40]!r} is not a valid {name}"
    raise SettingError.at(f"/{name}", detail, expected=one_of(choices))


def read_words(
    fields: Fields, name: str, choices: tuple[str, ...], default: tuple[str, ...]
) -> tuple[str, ...]:
    """A list of `choices`, each once. Raises WrongType or SettingError."""
    value = _typed(fields, name, lambda v: isinstance(v, (list, tuple)), "a list of words")
    if value is None:
        return default
    words = cast("list[object]", value)
    for index, word in enumerate(words):
        pointer = f"/{name}/{index}"
        if not isinstance(word, str):
            raise WrongType.at(pointer, f"{name} must be a list of words", expected=one_of(choices))
        if word not in choices:
            detail = f"{word[:40]!r} is not valid in {name}"
            raise SettingError.at(pointer, detail, expected=one_of(choices))
    return tuple(dict.fromkeys(str(word) for word in words))


def read_pitch_name(fields: Fields, name: str, pointer: str, default: str) -> int:
    """A pitch name as a MIDI number. Raises WrongType or SettingError."""
    value = fields.get(name)
    if value is not None and not isinstance(value, str):
        raise WrongType.at(pointer, f"{name} must be a pitch such as Eb3", expected="a pitch name")
    try:
        return midi_number(default if value is None else value)
    except SettingError as error:
        raise error.under(pointer) from None
