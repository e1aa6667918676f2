"""Setting: who plays and what is allowed, resolved from whatever part of it was given.

Knows the families and the keyboard, no chord. `resolve` is the only way in: it refuses unknown
fields, wrong types and impossible values with a pointer to the field, and fills the rest from
the situation (which hands, with or without a bass player).
"""

from __future__ import annotations

import math
from collections.abc import Callable, Collection, Mapping
from dataclasses import dataclass
from dataclasses import fields as fields_of
from functools import cached_property, lru_cache
from typing import Final, Literal, TypeVar, cast

from shortway.core.errors import NotesNeeded, SettingError, UnknownField, WrongType, one_of, token
from shortway.core.settings.families import FAMILIES, WIDER, shared_voices
from shortway.core.settings.keyboard import REACHES
from shortway.core.settings.presets import PRESETS
from shortway.core.settings.prices import (
    DEFAULT_PRICES,
    MAX_PRICE,
    MOVE_PRICES,
    NO_PRICES,
    PRICES,
    PRICING,
    priced,
)
from shortway.core.settings.situations import SITUATIONS, Situation
from shortway.core.theory.pitch import midi_number, pitch_name

Hands = Literal["both", "left", "right"]

HANDS: Final = ("both", "left", "right")
TENSIONS: Final = ("written", "available", "in-context")
REPEATS: Final = ("hold", "change")
#: What is done about a melody over the chords: kept clear of, kept under, carried on top, nothing.
MELODY: Final = ("avoid", "below", "carry", "ignore")
LOW_LIMITS: Final = ("assumed-root", "usual", "off")
#: Hard rules that a setting may leave off.
RULES: Final = ("guide-tones", "colours", "minor-ninths")
MOST_NOTES: Final = 10

FIELDS: Final = (
    "bass_player", "hands", "families", "notes", "split_cost", "tensions", "reach", "reach_mm",
    "range", "home", "repeats", "low_interval_limits", "waive", "melody", "prices", "pricing",
)  # fmt: skip


@dataclass(frozen=True)
class Setting:
    """A resolved setting; hashable, so that it can key a cache.

    Attributes
    ----------
    notes : int or None
        Upper notes of every voicing, bass excluded; None is ``free``.
    split_cost : int
        Semitones that a split or merge of voices costs where sizes differ.
    reach_mm : float
        Greatest distance between the outer key centres of one hand, in mm.
    lowest, highest, home : int
        MIDI numbers.
    waive : tuple of str
        Hard rules left off, in the order of `RULES`.
    melody : str
        What is done about notes that someone else sings or plays, one of `MELODY`.
    prices : tuple of int
        Semitones, in the order of `shortway.core.settings.prices.PRICES`.
    pricing : str
        Whether the prices count, one of `PRICING`.
    """

    bass_player: bool
    hands: Hands
    families: tuple[str, ...]
    notes: int | None
    split_cost: int
    tensions: str
    reach: str | None
    reach_mm: float
    lowest: int
    highest: int
    home: int
    repeats: str
    low_interval_limits: str
    waive: tuple[str, ...]
    melody: str = "avoid"
    prices: tuple[int, ...] = DEFAULT_PRICES
    pricing: str = "comfort"

    def __hash__(self) -> int:
        return self._hash

    @cached_property
    def _hash(self) -> int:
        return hash(tuple(getattr(self, field.name) for field in fields_of(self)))

    @property
    def sizes(self) -> tuple[int, ...]:
        """Numbers of upper notes that the voicings may have, ascending."""
        if self.notes is not None:
            return (self.notes,)
        every = (FAMILIES[name].sizes(self.bass_player) for name in self.families)
        return tuple(sorted(set().union(*every)))

    @property
    def voicing_prices(self) -> tuple[int, ...]:
        """The prices of voicings, in the order of `VOICING_PRICES`; zeros where none count."""
        return self._charged[: -len(MOVE_PRICES)]

    @property
    def move_prices(self) -> tuple[int, ...]:
        """The prices of moves, in the order of `MOVE_PRICES`; zeros where none count."""
        return self._charged[-len(MOVE_PRICES) :]

    @property
    def _charged(self) -> tuple[int, ...]:
        return self.prices if self.pricing == "comfort" else NO_PRICES


def resolve(given: Mapping[str, object] | Setting | None = None) -> Setting:
    """The full setting that `given` stands for.

    Parameters
    ----------
    given : mapping or Setting, optional
        Fields of the wire form, all optional, and ``preset``, whose fields they override.

    Raises
    ------
    SettingError
        ``unknown-field``, ``wrong-type``, ``out-of-range`` or ``notes-needed``, with a JSON
        pointer relative to the setting.

    >>> setting = resolve({"hands": "left"})
    >>> setting.families, setting.notes, setting.reach_mm
    (('rootless',), 4, 198.0)
    """
    if isinstance(given, Setting):
        return given
    if given is not None and not isinstance(given, Mapping):
        raise WrongType.at("", "a setting is an object", expected="an object of settings")
    _refuse_unknown(given or {}, ("preset", *FIELDS), "")
    fields = _with_preset(given or {})
    bass_player = _boolean(fields, "bass_player", True)
    hands: Hands = _choice(fields, "hands", HANDS, "both")  # type: ignore[assignment]
    situation = SITUATIONS[hands, bass_player]
    families, notes = _families_and_notes(fields, situation, hands, bass_player)
    reach, reach_mm = _reach(fields)
    lowest, highest = _range(fields, situation, _with_neighbours(families, notes))
    setting = Setting(
        bass_player=bass_player,
        hands=hands,
        families=families,
        notes=notes,
        split_cost=_integer(fields, "split_cost", 0, 127, 12),
        tensions=_choice(fields, "tensions", TENSIONS, "in-context"),
        reach=reach,
        reach_mm=reach_mm,
        lowest=lowest,
        highest=highest,
        home=_pitch(fields, "home", "/home", situation.home),
        repeats=_choice(fields, "repeats", REPEATS, "hold"),
        low_interval_limits=_choice(fields, "low_interval_limits", LOW_LIMITS, "assumed-root"),
        waive=_listed(fields, "waive", RULES, ()),
        melody=_choice(fields, "melody", MELODY, "avoid"),
        prices=_prices(fields),
        pricing=_choice(fields, "pricing", PRICING, "comfort"),
    )
    return _one(setting)


@lru_cache(maxsize=1024)
def _one(setting: Setting) -> Setting:
    """The one object for all settings that are equal, so that look-ups need not compare them."""
    return setting


def setting_json(setting: Setting) -> dict[str, object]:
    """The wire form, in full: `resolve` of it is the same setting."""
    return {
        "bass_player": setting.bass_player,
        "hands": setting.hands,
        "families": list(setting.families),
        "notes": "free" if setting.notes is None else setting.notes,
        "split_cost": setting.split_cost,
        "tensions": setting.tensions,
        **({"reach": setting.reach} if setting.reach else {}),
        "reach_mm": setting.reach_mm,
        "range": {"lowest": pitch_name(setting.lowest), "highest": pitch_name(setting.highest)},
        "home": pitch_name(setting.home),
        "repeats": setting.repeats,
        "low_interval_limits": setting.low_interval_limits,
        "waive": list(setting.waive),
        "melody": setting.melody,
        "prices": dict(zip(PRICES, setting.prices, strict=True)),
        "pricing": setting.pricing,
    }


def _with_preset(fields: Mapping[str, object]) -> Mapping[str, object]:
    """The fields of the preset that is named, and over them those that are given.

    A reach is one field under two names.
    """
    name = _choice(fields, "preset", tuple(PRESETS), "")
    if not name:
        return fields
    own = {field: value for field, value in fields.items() if field != "preset"}
    sets = dict(PRESETS[name].sets)
    if "reach_mm" in own:
        sets.pop("reach", None)
    return {**sets, **own}


# --- fields that hang together -------------------------------------------------------------------


def _families_and_notes(
    fields: Mapping[str, object], situation: Situation, hands: str, bass_player: bool
) -> tuple[tuple[str, ...], int | None]:
    families = _families(fields, situation, hands)
    given = fields.get("notes")
    if given == "free":
        return families, None
    if given is None:
        return families, _implied_notes(families, situation, bass_player)
    notes = _integer(fields, "notes", 1, MOST_NOTES, 0, 'a whole number of upper notes or "free"')
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


def _families(fields: Mapping[str, object], situation: Situation, hands: str) -> tuple[str, ...]:
    families = _listed(fields, "families", tuple(FAMILIES), situation.families)
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
        "these families share no one number of upper notes: say how many, or free",
        expected=sizes,
    )


def _reach(fields: Mapping[str, object]) -> tuple[str | None, float]:
    name = _choice(fields, "reach", tuple(REACHES), "")
    given = fields.get("reach_mm")
    if given is None:
        return name or "ninth", REACHES[name or "ninth"]
    if isinstance(given, bool) or not isinstance(given, (int, float)):
        raise WrongType.at("/reach_mm", "the reach in mm is a number", expected="a number")
    if not (math.isfinite(given) and 20 <= given <= 400):
        raise SettingError.at("/reach_mm", f"no hand reaches {given} mm", expected="20 to 400")
    if name and REACHES[name] != given:
        raise SettingError.at(
            "/reach_mm", f"{given} mm is not a {name}", expected=f"{REACHES[name]}, or no reach"
        )
    return name or None, float(given)


def _with_neighbours(families: tuple[str, ...], notes: int | None) -> tuple[str, ...]:
    """The families and those that stand in for them."""
    neighbours = [dict(FAMILIES[name].neighbour) for name in families]
    return (*families, *(of[notes] for of in neighbours if notes in of))


def _range(
    fields: Mapping[str, object], situation: Situation, families: tuple[str, ...]
) -> tuple[int, int]:
    given = fields.get("range")
    if given is not None and not isinstance(given, Mapping):
        raise WrongType.at("/range", "a range is an object", expected="lowest and highest")
    ends: Mapping[str, object] = given or {}
    _refuse_unknown(ends, ("lowest", "highest"), "/range")
    tops = [situation.highest, *(WIDER[name] for name in families if name in WIDER)]
    lowest = _pitch(ends, "lowest", "/range/lowest", situation.lowest)
    highest = _pitch(ends, "highest", "/range/highest", max(tops, key=midi_number))
    if lowest > highest:
        raise SettingError.at(
            "/range",
            f"the lowest note {pitch_name(lowest)} lies above the highest {pitch_name(highest)}",
            expected="lowest not above highest",
        )
    return lowest, highest


def _prices(fields: Mapping[str, object]) -> tuple[int, ...]:
    given = fields.get("prices")
    if given is not None and not isinstance(given, Mapping):
        raise WrongType.at("/prices", "prices are an object", expected="semitones by name")
    overrides: Mapping[str, object] = given or {}
    _refuse_unknown(overrides, tuple(PRICES), "/prices")
    try:
        return priced(
            {
                name: _integer(overrides, name, 0, MAX_PRICE, PRICES[name].default)
                for name in overrides
            }
        )
    except SettingError as error:
        raise error.under("/prices") from None


# --- one field each ------------------------------------------------------------------------------

T = TypeVar("T")


def _refuse_unknown(fields: Mapping[str, object], known: Collection[str], at: str) -> None:
    for name in fields:
        if name not in known:
            detail = f"{str(name)[:40]!r} is no field of it"
            raise UnknownField.at(at + token(name), detail, expected=one_of(list(known)))


def _typed(
    fields: Mapping[str, object], name: str, right: Callable[[object], bool], what: str
) -> object:
    value = fields.get(name)
    if value is not None and not right(value):
        raise WrongType.at(f"/{name}", f"{name} is {what}", expected=what)
    return value


def _boolean(fields: Mapping[str, object], name: str, default: bool) -> bool:
    value = _typed(fields, name, lambda v: isinstance(v, bool), "true or false")
    return default if value is None else bool(value)


def _integer(
    fields: Mapping[str, object],
    name: str,
    least: int,
    most: int,
    default: int,
    what: str = "a whole number",
) -> int:
    value = _typed(fields, name, lambda v: type(v) is int, what)
    if value is None:
        return default
    number = cast("int", value)
    if not least <= number <= most:
        raise SettingError.at(f"/{name}", f"{name} is {number}", expected=f"{least} to {most}")
    return number


def _choice(fields: Mapping[str, object], name: str, choices: tuple[str, ...], default: str) -> str:
    value = _typed(fields, name, lambda v: isinstance(v, str), "a word")
    if value is None:
        return default
    if value not in choices:
        raise SettingError.at(
            f"/{name}", f"{name} cannot be {str(value)[:40]!r}", expected=one_of(choices)
        )
    return str(value)


def _listed(
    fields: Mapping[str, object], name: str, choices: tuple[str, ...], default: tuple[str, ...]
) -> tuple[str, ...]:
    value = _typed(fields, name, lambda v: isinstance(v, (list, tuple)), "a list of words")
    if value is None:
        return default
    words = cast("list[object]", value)
    for index, word in enumerate(words):
        pointer = f"/{name}/{index}"
        if not isinstance(word, str):
            raise WrongType.at(pointer, f"{name} is a list of words", expected=one_of(choices))
        if word not in choices:
            detail = f"{name} cannot have {word[:40]!r}"
            raise SettingError.at(pointer, detail, expected=one_of(choices))
    return tuple(dict.fromkeys(str(word) for word in words))


def _pitch(fields: Mapping[str, object], name: str, pointer: str, default: str) -> int:
    value = fields.get(name)
    if value is not None and not isinstance(value, str):
        raise WrongType.at(pointer, f"{name} is a pitch such as Eb3", expected="a pitch name")
    try:
        return midi_number(default if value is None else value)
    except SettingError as error:
        raise error.under(pointer) from None
