"""Candidates: every playable voicing of one chord under a setting, in the stable order.

Knows templates, setting and keyboard. Templates are placed in every register of the range, over
every bass note where there is no bass player; low interval limits and the hands' reach exclude what
cannot be played, and each rule counts what it excludes.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from functools import partial
from itertools import product
from typing import Final

import numpy as np
from numpy.typing import NDArray

from shortway.core.cache import Cache
from shortway.core.settings.families import FAMILIES
from shortway.core.settings.keyboard import FINGERS, muddy, muddy_over, within_reach
from shortway.core.settings.setting import Setting
from shortway.core.theory.chord import Chord
from shortway.core.theory.pitch import pitch_class
from shortway.core.voicings.available_tones import AvailableTones, available_tones
from shortway.core.voicings.enumeration import MOST_VOICINGS, enumerate_voicings, refuse
from shortway.core.voicings.model import Candidates, Mask, Notes
from shortway.core.voicings.template_rules import Template
from shortway.core.voicings.templates import templates

#: Highest bass note of two hands without a bass player, unless the range begins higher (common
#: practice, no source): G3, and up to B3 for what has no place else, such as a third close above a
#: root, which is muddy below C3.
BASS_TOPS: Final = (55, 59)

# Cost of a seating above the least, tried in order until one is playable.
_SPARE: Final = (0, 2, 4, 6, 8)
_WITH_SEATS: Final = ("seats", "colours")


def candidates(
    chord: Chord, setting: Setting, colours: tuple[str, ...] | None = None
) -> Candidates:
    """Every voicing of `chord` under `setting`; empty only where the rules exclude all.

    Chords of one quality, root and bass share the result, whatever their spelling. `colours` are
    the degrees that may be added to what the symbol writes; None leaves that to the setting. A
    triad with too few tones for a recipe, such as C5 in one hand, takes its tensions too.
    """
    root = pitch_class(chord.root or "C")
    bass = root if chord.bass is None else pitch_class(chord.bass)

    def found(added: tuple[str, ...], interval: int) -> Candidates:
        of = available_tones(chord.content, added, interval, own_bass=not setting.bass_player)
        make = partial(_candidates, of, root, bass, setting)
        return _CANDIDATES.get((of, root, bass, setting), make)

    proper = found(_added(chord, setting, colours), (bass - root) % 12)
    few = len(proper) == 0 and proper.available.is_triad and "any-playable" not in setting.families
    return found(chord.content.tensions, 0) if few else proper


def _added(chord: Chord, setting: Setting, colours: tuple[str, ...] | None) -> tuple[str, ...]:
    if colours is None:
        return () if setting.tensions == "written" else chord.colours
    return chord.content.added(colours)


_CANDIDATES: Final[Cache[tuple[AvailableTones, int, int, Setting], Candidates]] = Cache(
    "candidates", 32 << 20, lambda found: found.nbytes + 64 * len(found.recipes) + 1000
)


def _candidates(available: AvailableTones, root: int, bass: int, setting: Setting) -> Candidates:
    placement = _Placement(available, root, bass, setting)
    placed = [
        placement.place_family(family, size)
        for size in setting.sizes
        for family in setting.families
        if size in FAMILIES[family].sizes(setting.bass_player)
    ]
    width = max((part.notes.shape[1] for part in placed), default=1)
    notes = np.concatenate([_widen(part.notes, width) for part in placed])
    left = np.concatenate([part.left for part in placed])
    recipes = tuple(recipe for part in placed for recipe in part.recipes)
    firsts = np.cumsum([0, *(len(part.recipes) for part in placed)])
    numbers = [part.recipe + first for part, first in zip(placed, firsts, strict=False)]
    recipe = np.concatenate(numbers)
    order = _stable_order(notes, recipe, left, recipes, setting)
    kept = order[_first_of_family(notes[order], recipe[order], recipes)]
    has_bass = not setting.bass_player
    sizes = (notes[kept] >= 0).sum(axis=1).astype(np.int16) - has_bass
    width = int(sizes.max(initial=1)) + has_bass  # a larger size may have left nothing
    return Candidates(
        notes[kept, :width],
        sizes,
        left[kept],
        recipe[kept],
        recipes,
        available,
        root,
        has_bass,
        placement.excluded,
        shared=True,
    )


@dataclass(frozen=True, slots=True)
class _Placed:
    """Playable placements of one family: notes, left hand's share, index of each row's recipe."""

    notes: Notes
    left: NDArray[np.int16]
    recipe: NDArray[np.int64]
    recipes: tuple[tuple[str, Template | None], ...]


@dataclass(frozen=True)
class _Placement:
    """The placement of one chord's templates on the keyboard under a setting."""

    available: AvailableTones
    root: int
    bass: int
    setting: Setting
    excluded: dict[str, int] = field(default_factory=dict)

    def place_family(self, family: str, size: int) -> _Placed:
        """The placements of `family`, or of its neighbour where it has none."""
        if FAMILIES[family].built == "every":
            return self._every(family, size)
        low_bass = self.setting.hands == "both" and not self.setting.bass_player
        tops = BASS_TOPS if low_bass else BASS_TOPS[:1]
        for available, spare, top in product(self._tones, _spares(family), tops):
            made = templates(family, available, size, self.setting.waive, spare)
            placed = self._place(family, made, size, top)
            if len(placed.notes):
                return placed
        neighbour = dict(FAMILIES[family].neighbour).get(size)
        return placed if neighbour is None else self.place_family(neighbour, size)

    @property
    def _tones(self) -> tuple[AvailableTones, ...]:
        """The available tones, and where no row has a place with the root, without asking for it.

        Such is ``Cmaj9/E`` in one hand: no root lies above a major seventh (common practice).
        """
        free = replace(self.available, wants_root=False)
        return (self.available, free) if self.available.wants_root else (free,)

    def _every(self, family: str, size: int) -> _Placed:
        """Every playable voicing, split where two hands share it most evenly."""
        notes = enumerate_voicings(self.available, self.root, size, self.setting)
        row = np.zeros(len(notes), np.intp)
        share = np.array([size // 2], np.int16)
        placed = self._playable(notes, row, share, ((family, None),))
        refuse(len(placed.notes), MOST_VOICINGS, "voicings")
        return placed

    def _place(self, family: str, made: tuple[Template, ...], size: int, top: int) -> _Placed:
        offsets = np.array([template.offsets for template in made], np.int16).reshape(-1, size)
        notes, row = _registers(offsets + self.root, self.setting)
        self._count("range", len(made), len(np.unique(row)))
        preferred = np.array(
            [_preferred_share(family, template, self.setting) for template in made], np.int16
        )
        recipes = tuple((family, template) for template in made)
        return self._playable(notes, row, preferred, recipes, top)

    def _playable(
        self,
        notes: Notes,
        row: NDArray[np.intp],
        preferred: NDArray[np.int16],
        recipes: tuple[tuple[str, Template | None], ...],
        top: int = BASS_TOPS[0],
    ) -> _Placed:
        """What the bass, the low interval limits and the hands leave of placed upper notes."""
        if not self.setting.bass_player:
            notes, row = self._over_bass(notes, row, top)
        clear = ~self._too_low(notes)
        self._count("low-interval-limits", len(notes), int(clear.sum()))
        notes, row = notes[clear], row[clear]
        left = _hands(notes, preferred[row], self.setting)
        held = left >= 0
        self._count("reach", len(notes), int(held.sum()))
        return _Placed(notes[held], left[held], row[held].astype(np.int64), recipes)

    def _over_bass(
        self, upper: Notes, row: NDArray[np.intp], top: int
    ) -> tuple[Notes, NDArray[np.intp]]:
        """Every upper structure over every place of the bass note below it."""
        places = _bass_places(self.bass, self.setting, top)
        below = places[None, :] < upper[:, :1]
        rows, columns = np.nonzero(below)
        self._count("bass-below", len(upper), int(below.any(axis=1).sum()))
        return np.column_stack([places[columns], upper[rows]]).astype(np.int16), row[rows]

    def _too_low(self, notes: Notes) -> Mask:
        """Which rows lie too low; under a written slash bass no root is assumed."""
        setting = self.setting
        if setting.low_interval_limits == "off":
            return np.zeros(len(notes), np.bool_)
        found = muddy(notes)
        assumed = setting.bass_player and setting.low_interval_limits == "assumed-root"
        if assumed and self.bass == self.root:
            found |= muddy_over(self.root, notes[:, 0])
        return found

    def _count(self, rule: str, before: int, after: int) -> None:
        if before > after:
            self.excluded[rule] = self.excluded.get(rule, 0) + before - after


def _spares(family: str) -> tuple[int, ...]:
    """What fillings of a family's seats may cost above the least, tried in order."""
    return _SPARE if FAMILIES[family].built in _WITH_SEATS else _SPARE[:1]


def _registers(offsets: Notes, setting: Setting) -> tuple[Notes, NDArray[np.intp]]:
    """Every octave of every template that lies within the range, and the template of each."""
    octaves = np.arange(-2, 11, dtype=np.int16) * 12
    every = (offsets[:, None, :] + octaves[None, :, None]).reshape(-1, offsets.shape[1])
    inside = (every[:, 0] >= setting.lowest) & (every[:, -1] <= setting.highest)
    return every[inside], np.repeat(np.arange(len(offsets)), len(octaves))[inside]


def _bass_places(bass: int, setting: Setting, top: int) -> Notes:
    """Where the bass note may lie: two hands leave the low register to it, one hand does not."""
    top = max(top, setting.lowest + 11) if setting.hands == "both" else setting.highest
    lowest = setting.lowest + (bass - setting.lowest) % 12
    return np.arange(lowest, top + 1, 12, dtype=np.int16)


# --- hands ---------------------------------------------------------------------------------------


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


# --- order ---------------------------------------------------------------------------------------


def _widen(notes: Notes, width: int) -> Notes:
    filler = np.full((len(notes), width - notes.shape[1]), -1, np.int16)
    return np.concatenate([notes, filler], axis=1)


def _stable_order(
    notes: Notes,
    recipe: NDArray[np.int64],
    left: NDArray[np.int16],
    recipes: tuple[tuple[str, Template | None], ...],
    setting: Setting,
) -> NDArray[np.int64]:
    rank = np.array([_family_rank(family, setting) for family, _ in recipes], np.int64)
    keys = np.column_stack([notes, rank[recipe], left, recipe])
    return np.lexsort(keys.T[::-1])


def _family_rank(family: str, setting: Setting) -> int:
    """The setting's order; a neighbour that it does not name comes after, in the table's order."""
    named = setting.families
    return named.index(family) if family in named else len(named) + list(FAMILIES).index(family)


def _first_of_family(
    notes: Notes, recipe: NDArray[np.int64], recipes: tuple[tuple[str, Template | None], ...]
) -> Mask:
    """Of rows with the same notes and family, the first."""
    keep = np.ones(len(notes), np.bool_)
    if len(notes) > 1:
        names = [family for family, _ in recipes]
        number = np.array([names.index(family) for family in names], np.int64)[recipe]
        keep[1:] = (notes[1:] != notes[:-1]).any(axis=1) | (number[1:] != number[:-1])
    return keep
