"""Tensions by function: which degrees a chord may add where it stands, and which it asks for.

Knows qualities, no chart. `COLOURS` says what each function may add, `WANTS` what it asks for, and
a melody note steers both.
"""

from __future__ import annotations

from functools import lru_cache
from typing import Final

from shortway.core.theory.pitch import DEGREES
from shortway.core.theory.qualities import COLOURS as COLOURS_OF_TYPES
from shortway.core.theory.qualities import Quality
from shortway.core.theory.quality_names import ALT_WRITTEN

Degrees = tuple[str, ...]
Groups = tuple[Degrees, ...]

#: The row of a dominant whose goal is minor, or that follows a half-diminished chord.
TO_MINOR: Final = "dominant to minor"

#: Tensions by function and chord type; a pair that is missing takes the chord type's own
#: (`qualities.COLOURS`). Sources: Terefenko, Jazz Theory (2014), ch. 5 (which extensions a chord
#: type has at all); Hutchinson, Music Theory for the 21st-Century Classroom, jazz unit (V of a
#: minor key printed with #9 and #5, i in minor with 6 and 9, iii without a 9); the chord-scale
#: lists of Hutchinson and of Open Music Theory (#11, the Lydian fourth, on IV, substitutes and the
#: backdoor). #11 on a dominant that does not resolve by a fifth or a half step: common practice,
#: no source; so is the rest.
COLOURS: Final[dict[tuple[str, str], Degrees]] = {
    (TO_MINOR, "dominant"): ("b9", "#9", "b13"),
    (TO_MINOR, "dominant-suspended"): ("b9", "b13"),
    ("substitute-dominant", "dominant"): ("9", "#11", "13"),
    ("backdoor-dominant", "dominant"): ("9", "#11", "13"),
    ("borrowed", "dominant"): ("9", "#11", "13"),
    ("tonic", "minor"): ("6", "9"),
    ("tonic", "minor-sixth"): ("9",),
    ("mediant", "minor-seventh"): ("11",),
    ("mediant", "minor"): ("11",),
    ("subdominant", "major-seventh"): ("9", "#11", "13"),
    ("subdominant", "major-sixth"): ("9", "#11"),
    ("submediant", "major-seventh"): ("9", "#11", "13"),
    ("borrowed", "major-seventh"): ("9", "#11", "13"),
    ("vamp", "minor-seventh"): ("9", "11", "13"),
}

_ALTERED: Final[Groups] = (("b9", "#9"), ("b13", "#5"))

#: What a function asks for; nothing where a pair is missing. The altered ninth and thirteenth of V
#: in minor: Hutchinson, as above; of an ``alt`` wherever it stands: Levine, The Jazz Theory Book
#: (1995), figures 3-62 and 3-114, which voice one with #9 and b13. The 13 of V in major and the
#: #11 of a substitute: common practice, no source.
WANTS: Final[dict[tuple[str, str], Groups]] = {
    ("dominant", "dominant"): (("13",),),
    (TO_MINOR, "dominant"): _ALTERED,
    ("substitute-dominant", "dominant"): (("#11",),),
}
#: The #11 of a IV that stays, in major: the same sources as its colour.
_STAYS: Final[Groups] = (("#11",),)

#: Rows in which a suspended chord without a number has a b7.
DOMINANT_ROWS: Final = ("dominant", TO_MINOR, "substitute-dominant", "backdoor-dominant")

_FIFTH, _FLAT_THIRTEENTH = 7, 8
#: The natural fifth and thirteenth, in semitones, which a b13 disagrees with.
_NATURAL: Final = frozenset({7, 9})
#: The degrees of each sung colour that disagree with it, by semitones above the root.
_DISAGREE: Final[dict[int, Degrees]] = {
    1: ("9",), 2: ("b9", "#9"), 3: ("9",), 5: ("#11",), 6: ("11",), 7: ("b13",),
    8: ("13", "6"), 9: ("b13",),
}  # fmt: skip


@lru_cache(maxsize=4096)
def colours(quality: Quality, function: str) -> Degrees:
    """The degrees that `quality` may add under a function, as far as theory allows them.

    `function` is one of `harmony.context.FUNCTIONS`, or `TO_MINOR`. A suspended chord without a
    number takes a b7 where it acts as a dominant.

    >>> from shortway.core.symbols.parser import parse
    >>> colours(parse("G7b9").content, "dominant"), colours(parse("G7").content, "tonic")
    (('13',), ('9', '13'))
    >>> colours(parse("Gsus").content, "dominant")
    ('b7', '9', '13')
    """
    if quality.chord_type == "suspended" and "4" in quality.degrees and function in DOMINANT_ROWS:
        return "b7", *colours(_with_seventh(quality), function)
    dominant = quality.chord_type == "dominant"
    own = COLOURS_OF_TYPES["dominant"] if dominant else quality.colours
    row = COLOURS.get((function, quality.chord_type), own)
    return tuple(degree for degree in row if quality.allows(degree))


def _with_seventh(quality: Quality) -> Quality:
    return Quality((*quality.degrees, "b7"), quality.written)


@lru_cache(maxsize=8192)
def tensions(
    quality: Quality, function: str, sung: frozenset[int] = frozenset(), *, stays: bool = False
) -> tuple[Degrees, Groups]:
    """The degrees that a chord may add, and the groups of them that it asks for.

    Parameters
    ----------
    quality : Quality
    function : str
        As for `colours`.
    sung : frozenset of int
        The melody's pitch classes in semitones above the root. A sung b13 makes a dominant an
        altered one; a sung ninth or thirteenth rules out what disagrees with it.
    stays : bool
        Whether the chord lasts a measure or more.

    Returns
    -------
    added : tuple of str
    wanted : tuple of tuple of str
        Groups that neither the symbol nor the melody satisfies, and that `added` can.

    >>> from shortway.core.symbols.parser import parse
    >>> g7 = parse("G7").content
    >>> tensions(g7, "dominant"), tensions(g7, "dominant", frozenset({8}))
    ((('9', '13'), (('13',),)), (('b9', '#9', 'b13'), (('b9', '#9'),)))
    """
    if function == "dominant" and _FLAT_THIRTEENTH in sung and sung.isdisjoint(_NATURAL):
        function = TO_MINOR
    added = _agreeing(quality, colours(quality, function), sung)
    groups = WANTS.get((function, quality.chord_type), ())
    if quality.written == ALT_WRITTEN:
        groups = tuple(g for g in _ALTERED if sung.isdisjoint(DEGREES[degree] for degree in g))
        return added, groups
    if stays and (function, quality.chord_type) == ("subdominant", "major-seventh"):
        groups = _STAYS
    wanted = filter(lambda group: _is_open(group, quality, added, sung), groups)
    return added, tuple(wanted)


def _is_open(group: Degrees, quality: Quality, added: Degrees, sung: frozenset[int]) -> bool:
    """Whether a group can be satisfied, and nothing satisfies it yet."""
    heard = sung | {DEGREES[degree] for degree in quality.degrees}
    return not {*group}.isdisjoint(added) and heard.isdisjoint(DEGREES[d] for d in group)


def _agreeing(quality: Quality, added: Degrees, sung: frozenset[int]) -> Degrees:
    """The colours that agree with a melody; a dominant takes a sung ninth or thirteenth's kind.

    Where the melody sings both kinds, what it sings stays.
    """
    if not sung:
        return added
    found = _taken(added, sung) if quality.chord_type == "dominant" else added
    own = {DEGREES[degree] for degree in quality.degrees} - {_FIFTH}
    against = {degree for note in sung - own for degree in _DISAGREE.get(note, ())}
    kept = (d for d in found if d not in against or DEGREES[d] in sung)
    return tuple(d for d in kept if d == "b7" or quality.allows(d))


def _taken(added: Degrees, sung: frozenset[int]) -> Degrees:
    for natural, altered in (("9", ("b9", "#9")), ("13", ("b13",))):
        sings_natural = DEGREES[natural] in sung
        sings_altered = not sung.isdisjoint(DEGREES[d] for d in altered)
        if sings_altered and not sings_natural and natural in added:
            added = tuple(
                dict.fromkeys(d for a in added for d in (altered if a == natural else (a,)))
            )
        elif sings_natural and not sings_altered and altered[0] in added:
            added = tuple(dict.fromkeys(natural if a in altered else a for a in added))
    return added
