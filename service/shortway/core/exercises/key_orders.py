"""Key orders: ways through the twelve keys, and the keys of an exercise as players name them.

Knows names of keys; no chord and no path.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from math import gcd
from typing import Final

from shortway.core.charts.headers import KEY_EXPECTED, normalize_key
from shortway.core.errors import SettingError, WrongType
from shortway.core.harmony.transposition import is_minor, moved_key, tonic, usual
from shortway.core.settings.fields import read_choice

#: Most keys of a list of one's own.
MAX_KEYS: Final = 24


@dataclass(frozen=True, slots=True)
class KeyOrder:
    """A way through the twelve keys.

    Attributes
    ----------
    by : int
        Semitones up from each key to the next.
    between : int
        Semitones from the first key of a cycle to the first of the next cycle, where one does not
        pass through all twelve.
    about : str
    """

    by: int
    between: int
    about: str

    def semitones(self) -> Iterator[int]:
        """How far above the first key each of the twelve lies, 0 to 11."""
        cycles = gcd(self.by, 12)
        for cycle in range(cycles):
            for turn in range(12 // cycles):
                yield (cycle * self.between + turn * self.by) % 12


#: Common practice, no source.
KEY_ORDERS: Final[Mapping[str, KeyOrder]] = {
    "fourths": KeyOrder(5, 0, "each key a fourth above the one before"),
    "fifths": KeyOrder(7, 0, "each key a fifth above the one before"),
    "half-steps-up": KeyOrder(1, 0, "each key a half step above the one before"),
    "half-steps-down": KeyOrder(11, 0, "each key a half step below the one before"),
    "whole-steps-up": KeyOrder(2, 1, "six keys by whole steps up, then the six a half step above"),
    "whole-steps-down": KeyOrder(
        10, 11, "six keys by whole steps down, then the six a half step below"
    ),
    "minor-thirds-up": KeyOrder(3, 1, "four keys by minor thirds up, then from a half step above"),
    "minor-thirds-down": KeyOrder(
        9, 11, "four keys by minor thirds down, then from a half step below"
    ),
}


def keys_in_order(own: str, order: str | None, keys: Sequence[str] | None = None) -> list[str]:
    """The keys of an exercise in the order they are played, each as players name it.

    Parameters
    ----------
    own : str
        The chart's own key.
    order : str or None
        One of `KEY_ORDERS`.
    keys : sequence of str, optional
        In its place, 1 to `MAX_KEYS` tonics or keys of the chart's mode.

    Raises
    ------
    WrongType, SettingError
        With pointers to ``/key_order`` or below ``/keys``.

    >>> keys_in_order("Dm", "minor-thirds-up")[:5], keys_in_order("F", None, ["Bb", "C#"])
    (['Dm', 'Fm', 'Abm', 'Bm', 'Ebm'], ['Bb', 'Db'])
    """
    if keys is not None:
        if order is not None:
            detail = "an order of keys is given, and keys"
            raise SettingError.at("/keys", detail, expected="either key_order or keys")
        return [_of_mode(name, index, is_minor(own)) for index, name in enumerate(_read_keys(keys))]
    name = read_choice({"key_order": order}, "key_order", tuple(KEY_ORDERS), "fourths")
    return [moved_key(own, semitones) for semitones in KEY_ORDERS[name].semitones()]


def _read_keys(keys: object) -> Sequence[str]:
    """The caller's keys, each of which can be read."""
    if not isinstance(keys, list | tuple):
        raise WrongType.at("/keys", "expected a list of keys", expected=KEY_EXPECTED)
    if not 1 <= len(keys) <= MAX_KEYS:
        detail = f"a list of {len(keys):,} keys"
        raise SettingError.at("/keys", detail, expected=f"1 to {MAX_KEYS} keys")
    for index, name in enumerate(keys):
        if not isinstance(name, str):
            raise WrongType.at(f"/keys/{index}", "expected a string", expected=KEY_EXPECTED)
        if normalize_key(name) is None:
            detail = f"cannot read {name[:40]!r} as a key"
            raise SettingError.at(f"/keys/{index}", detail, expected=KEY_EXPECTED)
    return keys


def _of_mode(name: str, index: int, minor: bool) -> str:
    """A key of the caller's list in the mode of the chart; a tonic alone has none of its own."""
    key = normalize_key(name) or ""
    if is_minor(key) != minor and (is_minor(key) or "maj" in name):
        mode, other = ("minor", "major") if minor else ("major", "minor")
        detail = f"the chart is in {mode}, and {name[:40]} is {other}"
        raise SettingError.at(f"/keys/{index}", detail, expected=f"{tonic(key)}{'m' * minor}")
    return usual(tonic(key) + "m" * minor)
