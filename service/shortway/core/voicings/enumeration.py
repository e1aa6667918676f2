"""Every playable voicing: all sets of keys that the rules allow, with no recipe, as arrays.

Knows available tones, setting and keyboard. Voicings grow note by note from the bottom, as arrays;
a set that breaks a rule between notes is dropped at once. The rules beyond those of all families
are common practice: no half step between the two top notes, no three notes within a whole step, no
gap over an octave above the bass note, no altered tension twice.
"""

from collections.abc import Callable
from typing import Final

import numpy as np
from numpy.typing import NDArray

from shortway.core.cancellation import checkpoint
from shortway.core.errors import TooLarge
from shortway.core.settings.keyboard import muddy
from shortway.core.settings.setting import Setting
from shortway.core.theory.pitch import DEGREES
from shortway.core.voicings.available_tones import ALTERED, AvailableTones

Notes = NDArray[np.int16]
Mask = NDArray[np.bool_]

#: Most sets of keys that are grown at a time: 10 notes of 2 bytes, 20 MB.
MOST_GROWN: Final = 1_000_000
#: Most voicings of one chord.
MOST_VOICINGS: Final = 20_000


def degrees_by_class(available: AvailableTones) -> dict[int, str]:
    """The degree that each pitch class above the root is played as, the chord's own first."""
    by_class: dict[int, str] = {}
    own = (available.third, available.seventh, *available.required)
    for degree in sorted(available.pool, key=lambda d: d not in own):
        by_class.setdefault(DEGREES[degree], degree)
    return by_class


def enumerate_voicings(
    available: AvailableTones, root: int, voices: int, setting: Setting
) -> Notes:
    """All sets of upper notes that may sound, in no order; hands and a bass are checked later.

    `root`: pitch class. `voices`: upper notes.

    Returns
    -------
    int16, shape (voicings, voices)
        MIDI numbers, ascending along the voices.

    Raises
    ------
    TooLarge
        There are more than `MOST_GROWN` at any size; before the memory is taken.
    """
    names = degrees_by_class(available)
    keys = np.arange(setting.lowest, setting.highest + 1, dtype=np.int16)
    keys = keys[np.isin((keys - root) % 12, list(names))]
    grown = keys[:, None]
    for height in range(1, voices):
        checkpoint()
        grown = _grown(grown, keys, root, "b9" in available.pool, height == voices - 1, setting)
    return grown[_agrees(grown, available, names, root, setting)]


def _grown(
    below: Notes, keys: Notes, root: int, has_b9: bool, top: bool, setting: Setting
) -> Notes:
    """Every set of `below` with every key above it that the rules between notes allow."""
    gap = keys[None, :] - below[:, -1:]
    fits = (gap > int(top)) & (gap <= 12)
    refuse(int(fits.sum()), MOST_GROWN, "sets of keys")
    rows, columns = np.nonzero(fits)
    grown = np.column_stack([below[rows], keys[columns]])
    bad = _minor_ninths(grown, root, has_b9) if "minor-ninths" not in setting.waive else False
    if grown.shape[1] > 2:
        bad |= grown[:, -1] - grown[:, -3] <= 2
    if setting.low_interval_limits != "off":
        bad |= muddy(grown[:, -2:])
    return grown if bad is False else grown[~bad]


def _minor_ninths(grown: Notes, root: int, has_b9: bool) -> Mask:
    """Whether the top note is a minor ninth above another, but for a root's own b9."""
    apart = grown[:, -1:] - grown[:, :-1]
    excused = (grown[:, :-1] - root) % 12 == 0 if has_b9 else False
    return np.asarray(((apart > 12) & (apart % 12 == 1) & ~np.asarray(excused)).any(axis=1))


def _agrees(
    notes: Notes, available: AvailableTones, names: dict[int, str], root: int, setting: Setting
) -> Mask:
    """Which sets have their guide tones, the symbol's own degrees, and colours that agree."""
    classes = (notes - root) % 12
    count = {pc: (classes == pc).sum(axis=1) for pc in names}
    nothing = np.zeros(len(notes), np.int64)

    def has(degree: str) -> Mask:
        return np.asarray(count.get(DEGREES[degree], nothing) > 0)

    fits = np.ones(len(notes), np.bool_)
    if "guide-tones" not in setting.waive:
        fits &= _led(available, has)
    if "colours" not in setting.waive:
        for one, other in available.conflicts():
            if one in available.pool and other in available.pool:
                fits &= ~(has(one) & has(other))
    missing = sum(2 * (~has(degree)).astype(np.int64) for degree in available.required)
    if available.wants_root:
        missing = missing + ~has("1")
    fits &= missing <= available.may_miss(notes.shape[1])
    if "guide-tones" not in setting.waive:
        fits &= _own_tones_first(available, classes, count)
    for pc, degree in names.items():
        if degree in ALTERED:
            fits &= count[pc] < 2
    return fits


def _own_tones_first(
    available: AvailableTones, classes: Notes, count: dict[int, NDArray[np.int64]]
) -> Mask:
    """Which sets keep `AvailableTones.has_own_tones_first`.

    `classes` are semitones above the root, shape (sets, voices), and `count` how many voices of
    each set have one of them.
    """
    fits = np.ones(len(classes), np.bool_)
    third = available.third
    if available.is_triad and third is not None and third not in available.doubling:
        fits &= count[DEGREES[third]] < 2
    if available.is_diminished_seventh:
        if classes.shape[1] >= len(available.chord_tones):
            for degree in available.chord_tones:
                fits &= count[DEGREES[degree]] > 0
        added = [DEGREES[degree] for degree in available.unwritten]
        fits &= ~np.isin(classes[:, :-1], added).any(axis=1)
    return fits


def _led(available: AvailableTones, has: Callable[[str], Mask]) -> Mask:
    """Which sets have the third, the seventh or sixth, and a half-diminished chord's flat fifth."""
    heard: Mask = np.asarray(True)
    if available.third is not None:
        heard = heard & has(available.third)
    if available.seventh is not None:
        sixth = available.sixth is not None and has(available.sixth)
        heard = heard & (has(available.seventh) | sixth)
    return heard & has("b5") if available.flat_fifth else heard


def refuse(count: int, most: int, what: str) -> None:
    """Raises `TooLarge` where one chord has more than `most` of something."""
    if count > most:
        detail = f"any-playable would weigh {count:,} {what} of one chord"
        expected = f"at most {most:,}: a narrower range, a shorter reach, or other notes"
        raise TooLarge.at("/setting", detail, expected=expected)
