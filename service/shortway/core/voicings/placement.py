"""Placement: the templates of a family on the keyboard, in every register and both hands.

Knows templates, setting and keyboard. Templates are placed in every register of the range, over
every bass note where there is no bass player; low interval limits and the hands' reach exclude what
cannot be played, and each rule counts what it excludes.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from itertools import accumulate, product
from typing import Final

import numpy as np
from numpy.typing import NDArray

from shortway.core.settings.families import FAMILIES
from shortway.core.settings.keyboard import FINGERS, muddy, muddy_over, within_reach
from shortway.core.settings.setting import Setting
from shortway.core.voicings.available_tones import AvailableTones
from shortway.core.voicings.candidate_arrays import Mask, Notes
from shortway.core.voicings.enumeration import MOST_VOICINGS, enumerate_voicings, refuse
from shortway.core.voicings.templates import templates
from shortway.core.voicings.templates.rules import Template

#: Roots that are placed at once; every set of keys is enumerated for one alone.
ROOTS: Final = tuple(range(12))

#: Highest bass note of two hands without a bass player, unless the range begins higher (common
#: practice, no source): G3, and up to B3 for what has no place else, such as a third close above a
#: root, which is muddy below C3.
BASS_TOPS: Final = (55, 59)

# Cost of a seating above the least, tried in order until one is playable.
_SPARE: Final = (0, 2, 4, 6, 8)
_WITH_SEATS: Final = ("seats", "colours")


@dataclass(frozen=True, slots=True)
class Placed:
    """Playable placements: notes, root, left hand's share, index of each row's recipe."""

    notes: Notes
    root: Notes
    left: NDArray[np.int16]
    recipe: NDArray[np.int64]
    recipes: tuple[tuple[str, Template | None], ...]


def joined(parts: Sequence[Placed]) -> Placed:
    """The placements of several families or sizes."""
    if len(parts) == 1:
        return parts[0]
    width = max((part.notes.shape[1] for part in parts), default=1)
    firsts = accumulate((len(part.recipes) for part in parts), initial=0)
    return Placed(
        np.concatenate([_widen(part.notes, width) for part in parts]),
        np.concatenate([part.root for part in parts]),
        np.concatenate([part.left for part in parts]),
        np.concatenate([part.recipe + first for part, first in zip(parts, firsts, strict=False)]),
        tuple(recipe for part in parts for recipe in part.recipes),
    )


@dataclass(frozen=True)
class Placement:
    """The placement of one quality's templates on the keyboard under a setting.

    `bass` is in semitones above the root; `excluded` has the counts of each root.
    """

    available: AvailableTones
    bass: int
    setting: Setting
    excluded: tuple[dict[str, int], ...] = field(default_factory=lambda: tuple({} for _ in ROOTS))

    def place_family(self, family: str, size: int, roots: Sequence[int]) -> Placed:
        """The placements of `family`, or of its neighbour above roots where it has none."""
        if FAMILIES[family].built == "every":
            return joined([self._every(family, size, root) for root in roots])
        low_bass = self.setting.hands == "both" and not self.setting.bass_player
        tops = BASS_TOPS if low_bass else BASS_TOPS[:1]
        found = []
        for available, spare, top in product(self._tones, _spares(family), tops):
            made = templates(family, available, size, self.setting.waive, spare)
            found.append(self._place(family, made, size, top, roots))
            served = {*found[-1].root.tolist()}
            roots = [root for root in roots if root not in served]
            if not roots:
                return joined(found)
        neighbour = dict(FAMILIES[family].neighbour).get(size)
        if neighbour is not None:
            found.append(self.place_family(neighbour, size, roots))
        return joined(found)

    @property
    def _tones(self) -> tuple[AvailableTones, ...]:
        """The available tones, and where no row has a place with the root, without asking for it.

        Such is ``Cmaj9/E`` in one hand: no root lies above a major seventh (common practice).
        """
        free = replace(self.available, wants_root=False)
        return (self.available, free) if self.available.wants_root else (free,)

    def _every(self, family: str, size: int, root: int) -> Placed:
        """Every playable voicing, split where two hands share it most evenly."""
        notes = enumerate_voicings(self.available, root, size, self.setting)
        row = np.zeros(len(notes), np.intp)
        share = np.array([size // 2], np.int16)
        every = np.full(len(notes), root, np.int16)
        placed = self._playable(notes, every, row, share, ((family, None),), BASS_TOPS[0])
        refuse(len(placed.notes), MOST_VOICINGS, "voicings")
        return placed

    def _place(
        self, family: str, made: tuple[Template, ...], size: int, top: int, roots: Sequence[int]
    ) -> Placed:
        offsets = np.array([template.offsets for template in made], np.int16).reshape(-1, size)
        notes, root, row = _registers(offsets, roots, self.setting)
        seen = np.zeros((len(ROOTS), len(made)), np.bool_)
        seen[root, row] = True
        for k in roots:
            self._exclude("range", k, len(made) - int(seen[k].sum()))
        preferred = np.array(
            [_preferred_share(family, template, self.setting) for template in made], np.int16
        )
        recipes = tuple((family, template) for template in made)
        return self._playable(notes, root, row, preferred, recipes, top)

    def _playable(
        self,
        notes: Notes,
        root: Notes,
        row: NDArray[np.intp],
        preferred: NDArray[np.int16],
        recipes: tuple[tuple[str, Template | None], ...],
        top: int,
    ) -> Placed:
        """What the bass, the low interval limits and the hands leave of placed upper notes."""
        if not self.setting.bass_player:
            notes, root, row = self._over_bass(notes, root, row, top)
        clear = ~self._too_low(notes, root)
        self._count("low-interval-limits", root[~clear])
        notes, root, row = notes[clear], root[clear], row[clear]
        left = _hands(notes, preferred[row], self.setting)
        held = left >= 0
        self._count("reach", root[~held])
        recipe = row[held].astype(np.int64)
        return Placed(notes[held], root[held], left[held], recipe, recipes)

    def _over_bass(
        self, upper: Notes, root: Notes, row: NDArray[np.intp], top: int
    ) -> tuple[Notes, Notes, NDArray[np.intp]]:
        """Every upper structure over every place of the bass note below it."""
        places = _bass_places(root + self.bass, self.setting, top)
        below = (places >= 0) & (places < upper[:, :1])
        rows, columns = np.nonzero(below)
        self._count("bass-below", root[~below.any(axis=1)])
        notes = np.column_stack([places[rows, columns], upper[rows]]).astype(np.int16)
        return notes, root[rows], row[rows]

    def _too_low(self, notes: Notes, root: Notes) -> Mask:
        """Which rows lie too low; under a written slash bass no root is assumed."""
        setting = self.setting
        if setting.low_interval_limits == "off":
            return np.zeros(len(notes), np.bool_)
        found = muddy(notes)
        assumed = setting.bass_player and setting.low_interval_limits == "assumed-root"
        if assumed and not self.bass:
            found |= muddy_over(root, notes[:, 0])
        return found

    def _count(self, rule: str, roots: Notes) -> None:
        """Count what a rule excludes; `roots` has the root of each."""
        for root, count in enumerate(np.bincount(roots, minlength=len(ROOTS)).tolist()):
            self._exclude(rule, root, count)

    def _exclude(self, rule: str, root: int, count: int) -> None:
        if count:
            self.excluded[root][rule] = self.excluded[root].get(rule, 0) + count


def _spares(family: str) -> tuple[int, ...]:
    """What fillings of a family's seats may cost above the least, tried in order."""
    return _SPARE if FAMILIES[family].built in _WITH_SEATS else _SPARE[:1]


def _registers(
    offsets: Notes, roots: Sequence[int], setting: Setting
) -> tuple[Notes, Notes, NDArray[np.intp]]:
    """Every template above every root in every octave within the range; root and template of each.

    `offsets` is of shape (templates, voices); notes of shape (placed, voices), roots and templates
    of shape (placed,).
    """
    lowest, highest = setting.lowest - offsets[:, :1], setting.highest - offsets[:, -1:]
    places = np.arange(lowest.min(initial=0), highest.max(initial=0) + 1, dtype=np.int16)
    places = places[np.isin(places % 12, roots)]
    row, column = np.nonzero((places >= lowest) & (places <= highest))
    at = places[column]
    return offsets[row] + at[:, None], at % 12, row


def _bass_places(bass: Notes, setting: Setting, top: int) -> Notes:
    """Where the bass notes may lie: two hands leave the low register to them, one hand does not.

    `bass` has their pitch classes, shape (upper,); the result is of shape (upper, octaves), -1
    where there is no further one.
    """
    top = max(top, setting.lowest + 11) if setting.hands == "both" else setting.highest
    lowest = setting.lowest + (bass - setting.lowest) % 12
    places = lowest[:, None] + np.arange(0, top - setting.lowest + 1, 12, dtype=np.int16)
    return np.where(places <= top, places, -1).astype(np.int16)


def _hands(notes: Notes, preferred: NDArray[np.int16], setting: Setting) -> NDArray[np.int16]:
    """The left hand's share of each row: the nearest to `preferred` within reach, else -1."""
    left = np.full(len(notes), -1, np.int16)
    distance = np.full(len(notes), notes.shape[1] + 1, np.int16)
    for k in left_hand_shares(notes.shape[1], setting):
        nearer = within_reach(notes, k, setting.reach_mm) & (abs(preferred - k) < distance)
        left[nearer], distance[nearer] = k, abs(preferred - k)[nearer]
    return left


def _preferred_share(family: str, template: Template, setting: Setting) -> int:
    """How many notes the family gives the left hand, the bass among them."""
    bass = int(not setting.bass_player)
    if "both" in FAMILIES[family].hands:
        return bass + template.left
    return bass if bass else len(template.degrees)


def left_hand_shares(voices: int, setting: Setting) -> range:
    """The left hand's possible shares of so many notes."""
    if setting.hands == "both":
        fewest = max(voices - FINGERS, int(not setting.bass_player))
        return range(fewest, min(voices, FINGERS) + 1)
    share = voices if setting.hands == "left" else 0
    return range(share, share + 1) if voices <= FINGERS else range(0)


def _widen(notes: Notes, width: int) -> Notes:
    filler = np.full((len(notes), width - notes.shape[1]), -1, np.int16)
    return np.concatenate([notes, filler], axis=1)
