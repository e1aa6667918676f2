"""Spelling: a voicing with the note names that a player reads.

Knows voicings and names. The names in an answer follow the chord; scores, pictures, the command
line and the page show these.
"""

from collections.abc import Collection
from dataclasses import replace
from functools import lru_cache

from shortway.core.theory.chord import Chord
from shortway.core.theory.enharmonics import practical_name, triad_names
from shortway.core.theory.pitch import with_octave
from shortway.core.voicings.model import Note, Voicing

#: The family whose right hand is a triad, which is spelled in thirds.
_TRIADS = "upper-structure"
_FLATS = ("Cb", "Fb")
#: Degrees of a chord stacked in thirds, without its extensions.
_STACK = ("b3", "3", "b5", "5", "b7", "7")


def practical_spelling(voicing: Voicing, chord: Chord, signature: Collection[str] = ()) -> Voicing:
    """`voicing` with practical note names; all else is equal.

    `chord`: its root and bass keep their names; on a flat root so do Cb and Fb as its third, fifth
    and seventh. `signature`: names that the key signature has, such as ``Cb`` in Gb major; they
    stay, too.

    >>> from shortway.core.solver.solve import voicings
    >>> listing = voicings("A7#9", {"families": ["rootless"], "hands": "left"})
    >>> read = practical_spelling(listing.voicings[0].voicing, listing.chord)
    >>> [note.note for note in read.notes if note.degree == "#9"]
    ['C4']
    """
    keep = frozenset({*signature, chord.root or "", chord.bass or "", *_flat_thirds(chord)})
    left, right = (
        tuple([_named(note, practical_name(note.note, keep)) for note in hand])
        for hand in (voicing.left, voicing.right)
    )
    if voicing.family == _TRIADS:
        right = _in_thirds(right)
    same = left == voicing.left and right == voicing.right
    return voicing if same else replace(voicing, left=left, right=right)


def _named(note: Note, name: str) -> Note:
    return note if name == note.note else replace(note, note=name)


@lru_cache(maxsize=1024)
def _flat_thirds(chord: Chord) -> tuple[str, ...]:
    """Cb and Fb as chord tones over a flat root: Abm7 is Ab Cb Eb Gb, in thirds.

    Gould, Behind Bars (2011), has chords spelled in thirds (from memory, no page).
    """
    if chord.root is None or not chord.root.endswith("b"):
        return ()
    return tuple(t.note for t in chord.tones if t.note in _FLATS and t.degree in _STACK)


def _in_thirds(notes: tuple[Note, ...]) -> tuple[Note, ...]:
    names = triad_names([note.note.rstrip("-0123456789") for note in notes])
    return tuple(
        replace(note, note=with_octave(names[note.midi % 12], note.midi)) if names else note
        for note in notes
    )
