"""Comfort prices counted once more, note by note in plain Python, for tests to judge the core by.

Of the core only the facts of a chord are taken (`available_tones`: its guide tones, what it writes,
what it may add); every count is made here, from the notes and degrees of one voicing at a time.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import cache
from itertools import combinations, pairwise

from shortway.core.theory.chord import Chord
from shortway.core.voicings.available_tones import AvailableTones
from shortway.core.voicings.model import Voicing
from support.plain import semitones

Wants = Sequence[Sequence[str]]

#: Pairs of degrees that one voicing never holds, unless the symbol writes both (contract, 3).
CLASHES = {
    frozenset(pair.split())
    for pair in (
        "9 b9", "9 #9", "13 b13", "6 b13", "6 13", "5 #5", "5 b13", "5 b5", "11 #11",
    )
}  # fmt: skip


def place(degree: str) -> int:
    """Semitones of a degree above the root; a bb7 is a sixth."""
    return 9 if degree == "bb7" else semitones(degree)


def voicing_counts(voicing: Voicing, of: AvailableTones, wants: Wants, home: int) -> dict[str, int]:
    """How often each price of a voicing is due; those that are not due are left out."""
    upper = [n for n in voicing.notes if not n.is_bass]
    bass = next((n for n in voicing.notes if n.is_bass), None)
    heard = [place(n.degree) for n in upper]
    struck = {*heard} | ({place(bass.degree)} if bass else set())
    guides = [g for g in (of.third, of.seventh) if g]
    counts = dict.fromkeys(("guide-tone-doubled", "guide-tone-missing", "sixth-for-seventh"), 0)
    for guide in guides:
        if of.chord_type != "diminished-seventh":
            counts["guide-tone-doubled"] += max(0, heard.count(place(guide)) - 1)
        if place(guide) not in struck:
            sixth = guide == of.seventh and of.sixth is not None and 9 in heard
            counts["sixth-for-seventh" if sixth else "guide-tone-missing"] += 1
    missing = [degree for degree in of.required if place(degree) not in struck]
    if of.by_choice:
        missing = missing[:1] if len(missing) == len(of.required) else []
    counts["written-degree-missing"] = len(missing)
    counts["pitch-class-missing"] = max(0, min(len(upper), most_classes(of)) - len({*heard}))
    able = [g for g in wants if {place(d) for d in g} & {place(d) for d in of.pool}]
    lacking = [group for group in able if not {place(d) for d in group} & struck]
    counts["context-colour-missing"] = min(2, len(lacking))
    both = {"b9", "#9"} <= {*of.pool} and {1, 3, 7} <= {*heard}
    counts["fifth-under-altered-ninths"] = int(both)
    return {k: v for k, v in {**counts, **_places(voicing, of, home)}.items() if v}


def _places(voicing: Voicing, of: AvailableTones, home: int) -> dict[str, int]:
    """What is due for where the notes lie."""
    upper = [n.midi for n in voicing.notes if not n.is_bass]
    above = {n.midi: place(n.degree) for n in voicing.notes}
    bass = [n for n in voicing.notes if n.is_bass]
    hands = voicing.left[-1:] + voicing.right[:1]
    size = len(upper)
    third = [of.third] if of.third in ("3", "b3") else []
    return {
        "cluster": sum(c - a <= 4 for a, _, c in zip(upper, upper[1:], upper[2:], strict=False)),
        "half-step-at-root": sum(
            b - a == 1 and 0 in (above[a], above[b]) for a, b in pairwise(upper)
        ),
        "half-step-between-hands": int(len(hands) == 2 and hands[1].midi - hands[0].midi == 1),
        "register": max(0, abs(sum(upper) - size * home) - 4 * size) // size,
        "high-top-note": max(0, upper[-1] - home - 14),
        "gap-over-bass": max(0, upper[0] - bass[0].midi - 12) // 2 if bass else 0,
        "bass-third-doubled": sum(
            place(n.degree) == place(third[0])
            for n in voicing.notes
            if not n.is_bass and bass and third and place(bass[0].degree) == place(third[0])
        ),
    }


@cache
def most_classes(of: AvailableTones) -> int:
    """How many degrees of a chord may sound together at most; four where it is complete."""
    if of.chord_type == "diminished-seventh":
        return 4
    pool = [d for d in of.pool if d in of.together]
    free = [d for d in of.pool if d not in of.together]
    best = 0
    for size in range(len(of.pool) + 1):
        for chosen in combinations((*pool, *free), size):
            pairs = {frozenset(pair) for pair in combinations(chosen, 2)}
            if not any(pair in CLASHES and not pair <= {*of.together} for pair in pairs):
                best = max(best, len({place(d) for d in chosen}))
    return best


def move_counts(
    before: tuple[Chord, AvailableTones, Voicing], after: tuple[Chord, AvailableTones, Voicing]
) -> dict[str, int]:
    """How often each price of a move is due."""
    (old, old_of, a), (new, new_of, b) = before, after
    if (old.root_pc, old.degrees, old.written) == (new.root_pc, new.degrees, new.written):
        return {}
    counts = {
        "unheard-change": int(a.midi_notes == b.midi_notes),
        "top-note-held": int(a.midi_notes[-1] == b.midi_notes[-1]),
    }
    resolves = old.root_pc == new.root_pc and old_of.third in ("4", "11") and new_of.third == "3"
    if resolves:
        low, high = ([n.midi for n in v.notes if not n.is_bass] for v in (a, b))
        fourths = [k for k, n in enumerate(low) if (n - (old.root_pc or 0)) % 12 == 5]
        falls = [
            low[k] - 1 == high[k] if len(low) == len(high) else low[k] - 1 in high for k in fourths
        ]
        counts["suspension-unresolved"] = falls.count(False)
    return {k: v for k, v in counts.items() if v}
