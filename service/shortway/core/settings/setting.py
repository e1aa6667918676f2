"""Setting: who plays and what is allowed, resolved from whatever part of it was given.

Knows the families and the keyboard, no chord. `resolve` is the only way in: it refuses unknown
fields, wrong types and impossible values with a pointer to the field, and fills the rest from
the situation (which hands, with or without a bass player).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from dataclasses import fields as fields_of
from functools import cached_property, lru_cache
from typing import Final, Literal

from shortway.core.cache import Memo
from shortway.core.errors import WrongType
from shortway.core.settings.families import FAMILIES
from shortway.core.settings.fields import (
    read_boolean,
    read_choice,
    read_families_and_notes,
    read_integer,
    read_pitch_name,
    read_prices,
    read_range,
    read_reach,
    read_words,
    refuse_unknown,
    with_neighbours,
)
from shortway.core.settings.presets import PRESETS
from shortway.core.settings.prices import DEFAULT_PRICES, MOVE_PRICES, NO_PRICES, PRICES, PRICING
from shortway.core.settings.situations import SITUATIONS
from shortway.core.theory.chord import Chord
from shortway.core.theory.pitch import pitch_name

Hands = Literal["both", "left", "right"]

HANDS: Final = ("both", "left", "right")
TENSIONS: Final = ("written", "available", "in-context")
REPEATS: Final = ("hold", "change")
#: What is done about a melody over the chords: kept clear of, kept under, carried on top, nothing.
MELODY: Final = ("avoid", "below", "carry", "ignore")
LOW_LIMITS: Final = ("assumed-root", "usual", "off")
#: Hard rules that a setting may leave off.
RULES: Final = ("guide-tones", "colours", "minor-ninths")

FIELDS: Final = (
    "bass_player", "hands", "families", "notes", "notes_vary", "split_cost", "tensions",
    "reach", "reach_mm", "lowest", "highest", "home", "repeats", "low_interval_limits", "waive",
    "melody", "prices", "pricing",
)  # fmt: skip


@dataclass(frozen=True)
class Setting:
    """A resolved setting; hashable, so that it can key a cache.

    Attributes
    ----------
    notes : int or None
        Upper notes of every voicing, bass excluded; None where sizes may differ (``notes_vary``).
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


def resolve(
    given: Mapping[str, object] | Setting | None = None, chords: Sequence[Chord] = ()
) -> Setting:
    """The full setting that `given` stands for.

    `given`: fields of the wire form, all optional, and ``preset``, whose fields they override.
    `chords`: the chords of the chart's steps: `tensions` is ``written`` by default where more than
    half of them are plain triads.

    Raises SettingError: ``unknown-field``, ``wrong-type``, ``out-of-range`` or ``notes-needed``,
    with a JSON pointer relative to the setting.

    >>> setting = resolve({"hands": "left"})
    >>> setting.families, setting.notes, setting.reach_mm
    (('rootless',), 4, 198.0)
    """
    if isinstance(given, Setting):
        return given
    if given is not None and not isinstance(given, Mapping):
        raise WrongType.at("", "a setting is an object", expected="an object of settings")
    tensions = default_tensions(chords)
    key = repr(given), tensions
    if len(key[0]) > _LONG:
        return _resolved(given or {}, tensions)
    return _RESOLVED.get(key) or _RESOLVED.recall(key, lambda: _resolved(given or {}, tensions))


#: Characters of a setting as given, up to which it is held with what it resolves to.
_LONG: Final = 2_000
_RESOLVED: Final[Memo[tuple[str, str], Setting]] = Memo("settings", 1 << 20, lambda _: 2_000)


def _resolved(given: Mapping[str, object], tensions: str) -> Setting:
    refuse_unknown(given, ("preset", *FIELDS), "")
    fields = _with_preset(given)
    bass_player = read_boolean(fields, "bass_player", True)
    hands: Hands = read_choice(fields, "hands", HANDS, "both")  # type: ignore[assignment]
    situation = SITUATIONS[hands, bass_player]
    families, notes = read_families_and_notes(fields, situation, hands, bass_player)
    reach, reach_mm = read_reach(fields)
    lowest, highest = read_range(fields, situation, with_neighbours(families, notes))
    setting = Setting(
        bass_player=bass_player,
        hands=hands,
        families=families,
        notes=notes,
        split_cost=read_integer(fields, "split_cost", 0, 127, 12),
        tensions=read_choice(fields, "tensions", TENSIONS, tensions),
        reach=reach,
        reach_mm=reach_mm,
        lowest=lowest,
        highest=highest,
        home=read_pitch_name(fields, "home", "/home", situation.home),
        repeats=read_choice(fields, "repeats", REPEATS, "hold"),
        low_interval_limits=read_choice(fields, "low_interval_limits", LOW_LIMITS, "assumed-root"),
        waive=read_words(fields, "waive", RULES, ()),
        melody=read_choice(fields, "melody", MELODY, "avoid"),
        prices=read_prices(fields),
        pricing=read_choice(fields, "pricing", PRICING, "comfort"),
    )
    return _one(setting)


def default_tensions(chords: Sequence[Chord]) -> str:
    """The default of `tensions` for the chords of a chart's steps; N.C. does not count."""
    plain = [chord.content.is_plain_triad for chord in chords if chord.root is not None]
    return "written" if 2 * sum(plain) > len(plain) else "in-context"


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
        **({} if setting.notes is None else {"notes": setting.notes}),
        "notes_vary": setting.notes is None,
        "split_cost": setting.split_cost,
        "tensions": setting.tensions,
        **({"reach": setting.reach} if setting.reach else {}),
        "reach_mm": setting.reach_mm,
        "lowest": pitch_name(setting.lowest),
        "highest": pitch_name(setting.highest),
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
    name = read_choice(fields, "preset", tuple(PRESETS), "")
    if not name:
        return fields
    own = {field: value for field, value in fields.items() if field != "preset"}
    sets = dict(PRESETS[name].sets)
    if "reach_mm" in own:
        sets.pop("reach", None)
    return {**sets, **own}
