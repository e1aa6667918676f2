"""Candidates: every playable voicing of one chord under a setting, in the stable order.

Knows chord, setting and placement. Of placements with the same notes and family the first stays.
"""

from functools import partial
from typing import Final

import numpy as np
from numpy.typing import NDArray

from shortway.core.cache import Cache
from shortway.core.settings.families import FAMILIES
from shortway.core.settings.setting import Setting
from shortway.core.theory.chord import Chord
from shortway.core.theory.pitch import pitch_class
from shortway.core.voicings.available_tones import AvailableTones, available_tones
from shortway.core.voicings.candidate_arrays import Candidates, Mask, RootBlock
from shortway.core.voicings.placement import ROOTS, Placed, Placement, joined


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
        roots = (root,) if "any-playable" in setting.families else ROOTS
        make = partial(_block, of, roots, (bass - root) % 12, setting)
        return _BLOCKS.get((of, roots, (bass - root) % 12, setting), make).above(root)

    proper = found(_added(chord, setting, colours), (bass - root) % 12)
    few = len(proper) == 0 and proper.available.is_triad and "any-playable" not in setting.families
    return found(chord.content.tensions, 0) if few else proper


def _added(chord: Chord, setting: Setting, colours: tuple[str, ...] | None) -> tuple[str, ...]:
    if colours is None:
        return () if setting.tensions == "written" else chord.colours
    return chord.content.added(colours)


_BLOCKS: Final[Cache[tuple[AvailableTones, tuple[int, ...], int, Setting], RootBlock]] = Cache(
    "candidates", 32 << 20, lambda found: found.nbytes + 64 * len(found.recipes) + 12_000
)


def _block(
    available: AvailableTones, roots: tuple[int, ...], bass: int, setting: Setting
) -> RootBlock:
    """The candidates above each of `roots`, the bass `bass` semitones above it."""
    placement = Placement(available, bass, setting)
    placed = [
        placement.place_family(family, size, roots)
        for size in setting.sizes
        for family in setting.families
        if size in FAMILIES[family].sizes(setting.bass_player)
    ]
    every = joined(placed)
    order = _stable_order(every, setting)
    kept = order[_first_of_family(every, order)]
    has_bass = not setting.bass_player
    notes = every.notes[kept]
    sizes = (notes >= 0).sum(axis=1).astype(np.int16) - has_bass
    return RootBlock(
        notes,
        sizes,
        every.left[kept],
        every.recipe[kept],
        every.recipes,
        available,
        0,
        has_bass,
        shared=True,
        roots=every.root[kept],
        excluded_by_root=placement.excluded,
    )


def _stable_order(every: Placed, setting: Setting) -> NDArray[np.int64]:
    rank = {family: _family_rank(family, setting) for family, _ in every.recipes}
    ranks = np.array([rank[family] for family, _ in every.recipes], np.int64)[every.recipe]
    notes = every.notes.T[::-1]
    return np.lexsort((every.recipe, every.left, ranks, *notes, every.root))


def _family_rank(family: str, setting: Setting) -> int:
    """The setting's order; a neighbour that it does not name comes after, in the table's order."""
    named = setting.families
    return named.index(family) if family in named else len(named) + list(FAMILIES).index(family)


def _first_of_family(every: Placed, order: NDArray[np.int64]) -> Mask:
    """Of rows in `order` with the same root, notes and family, the first; of shape (rows,)."""
    names = [family for family, _ in every.recipes]
    number = np.array([names.index(family) for family in names], np.int64)[every.recipe]
    keys = np.column_stack([every.root, every.notes, number])[order]
    keep = np.ones(len(keys), np.bool_)
    keep[1:] = (keys[1:] != keys[:-1]).any(axis=1)
    return keep
