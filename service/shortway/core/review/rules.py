"""Rules: what is wrong, or worth knowing, in the notes that were played over one chord.

Knows findings and the keyboard; neither what came before nor what would be better. The rules are
those that the candidates of a path obey, read off single notes. A note that is foreign to the chord
is named as that alone: its colours and ninths are not judged besides.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from itertools import combinations, pairwise
from typing import Final

from shortway.core.review.findings import CODES, Finding, VoicingContext, make_finding
from shortway.core.review.note_naming import NamedNote
from shortway.core.review.wrong_notes import excuse_pedals, guides_missing, merge_slips
from shortway.core.settings.families import FAMILIES
from shortway.core.settings.keyboard import FINGERS, LOW_INTERVAL_LIMITS, distance_mm
from shortway.core.settings.setting import Setting
from shortway.core.theory.pitch import pitch_name
from shortway.core.voicings.available_tones import ALTERED
from shortway.core.voicings.melody_constraints import clashes_with
from shortway.core.voicings.placement import BASS_TOPS, left_hand_shares
from shortway.core.voicings.templates import templates
from shortway.core.voicings.templates.stacking import stands_on


def check_voicing(case: VoicingContext) -> tuple[Finding, ...]:
    """All that is found in notes over a chord, at least one, in the order of `CODES`."""
    everything = [finding for rule in _RULES for finding in rule(case)]
    everything = list(excuse_pedals(list(merge_slips(everything, case)), case))
    order = list(CODES)
    return tuple(sorted(everything, key=lambda finding: order.index(finding.code)))


# --- degrees -------------------------------------------------------------------------------------


def _guide_tones(case: VoicingContext) -> Iterator[Finding]:
    """The third and the seventh, as far as so many notes have seats for them."""
    of, degrees = case.available, case.degrees
    if "guide-tones" in case.setting.waive:
        return
    seats = len(case.upper)
    # Under a root in the melody the available has the sixth for a seventh, which may sound as well.
    plays_own = of.seventh not in case.chord.degrees and {*case.chord.guide_tones} <= {*degrees}
    enough = of.has_open_guide_tones if _stack_of_fourths(case.upper) else of.has_guide_tones
    if not (plays_own or enough((*degrees, "b5"), seats) or _is_row(case)):
        sixth = of.sixth in degrees
        guides = [of.third, None if sixth else of.seventh]
        missing = [guide for guide in guides if guide and guide not in degrees]
        yield guides_missing(case, missing)
    if of.flat_fifth and seats >= 3 and "b5" not in degrees:
        text = f"the {case.spelled('b5')} is missing, which makes the chord {case.chord.symbol}"
        yield make_finding("flat-fifth-missing", text, (), "b5")


def _is_row(case: VoicingContext) -> bool:
    """Whether a family of the setting has these degrees as a row, which may leave out a guide."""
    setting, played = case.setting, tuple(note.degree for note in case.upper)
    return any(
        played == template.degrees
        for family in setting.families
        if len(played) in FAMILIES[family].voices
        for template in templates(family, case.available, len(played), setting.waive)
    )


def _stack_of_fourths(notes: Sequence[NamedNote]) -> bool:
    """Three notes or more in fourths of some size, the top interval a fourth or a third."""
    pairs = list(pairwise(notes))
    return len(pairs) > 1 and all(
        high.midi - low.midi < 12 and stands_on(low.degree, high.degree, k == len(pairs))
        for k, (low, high) in enumerate(pairs, start=1)
    )


def _foreign(case: VoicingContext) -> Iterator[Finding]:
    for note in case.notes:
        if note.part == "foreign":
            avoid = note.degree in case.chord.avoid
            why = "an avoid note, a half step above a chord tone" if avoid else "neither in it"
            more = "" if avoid else " nor a tension of it"
            words = f"{note.note} would be the {note.degree} of {case.chord.symbol}: {why}{more}"
            yield make_finding("foreign-note", words, [note])


def _colours(case: VoicingContext) -> Iterator[Finding]:
    if "colours" in case.setting.waive:
        return
    own = [note for note in case.own if not note.is_bass]
    # A natural 11 and a major third: the available has the one or the other.
    suspended = ("3", "11") if not {"3", "11"} <= set(case.available.pool) else ("", "")
    for pair in (*case.available.conflicts(), suspended):
        notes = [note for note in own if note.degree in pair]
        if {note.degree for note in notes} == set(pair):
            words = f"the {case.spelled(pair[0])} and the {case.spelled(pair[1])} clash"
            yield make_finding("colours-clash", words, notes)


def _written(case: VoicingContext) -> Iterator[Finding]:
    """What the symbol writes, as far as there is room; a root over a slash bass is no matter."""
    of = case.available
    told = "b5" if of.flat_fifth else ""
    missing = [degree for degree in of.required if degree not in (*case.degrees, told)]
    if 2 * len(missing) <= of.may_miss(len(case.upper)):
        return
    names = " and ".join(f"the {case.spelled(degree)}" for degree in missing)
    verb = "are" if len(missing) > 1 else "is"
    words = f"{names} {verb} missing, though there is room"
    yield make_finding("written-missing", words, (), *missing)


def _beyond(case: VoicingContext) -> Iterator[Finding]:
    pool = {*case.available.pool, *case.chord.degrees, case.available.sixth}
    for note in case.notes:
        if note.part == "tension" and note.degree not in pool:
            words = f"{note.note} is the {note.degree}, which the setting does not add here"
            yield make_finding("beyond-setting", words, [note])


def _doubled(case: VoicingContext) -> Iterator[Finding]:
    """An altered tension twice; the fifth of a diminished or augmented chord is none."""
    tensions = ALTERED - set(case.available.fifths)
    for degree in sorted(tensions):
        notes = [note for note in case.upper if note.degree == degree and note.part != "foreign"]
        if len(notes) > 1:
            words = f"the {case.spelled(degree)} sounds twice; an alteration is best heard once"
            yield make_finding("alteration-doubled", words, notes)


# --- notes ---------------------------------------------------------------------------------------


def _minor_ninths(case: VoicingContext) -> Iterator[Finding]:
    """A b9 may lie above its root, and anything above a written slash bass."""
    if "minor-ninths" in case.setting.waive:
        return
    for low, high in combinations(case.own, 2):
        apart = high.midi - low.midi
        if apart <= 12 or apart % 12 != 1 or (low.degree, high.degree) == ("1", "b9"):
            continue
        if not (low.part == "bass" and case.chord.bass is not None):
            size = "a minor ninth" if apart == 13 else "a minor ninth and an octave or more"
            yield make_finding(
                "minor-ninth", f"{low.note} and {high.note} are {size} apart", [low, high]
            )


def _mud(case: VoicingContext) -> Iterator[Finding]:
    rule = case.setting.low_interval_limits
    if rule == "off":
        return
    for low, high in pairwise(case.notes):
        limit = LOW_INTERVAL_LIMITS.get(high.midi - low.midi, 0)
        if low.midi < limit:
            words = f"{low.note} and {high.note} lie too low for so close an interval"
            yield make_finding("mud", f"{words}: not below {pitch_name(limit)}", [low, high])
    assumed = case.setting.bass_player and rule == "assumed-root"
    if assumed and case.chord.bass_pc in (None, case.chord.root_pc):
        yield from _mud_over_root(case)


def _mud_over_root(case: VoicingContext) -> Iterator[Finding]:
    lowest = case.notes[0]
    interval = (lowest.midi - (case.chord.root_pc or 0)) % 12
    root, limit = lowest.midi - interval, LOW_INTERVAL_LIMITS.get(interval, 0)
    if root < limit:
        words = f"{lowest.note} is too low over the root, which the bass player is assumed to play"
        least = pitch_name(limit + interval)
        yield make_finding("mud", f"{words}: not below {least}", [lowest])


def _range(case: VoicingContext) -> Iterator[Finding]:
    low, high = case.setting.lowest, case.setting.highest
    outside = [note for note in case.notes if not low <= note.midi <= high]
    if outside:
        names = " ".join(note.note for note in outside)
        verb = "lies" if len(outside) == 1 else "lie"
        words = f"{names} {verb} outside {pitch_name(low)} to {pitch_name(high)}"
        yield make_finding("out-of-range", words, outside)


def _bass(case: VoicingContext) -> Iterator[Finding]:
    lowest, own = case.notes[0], case.chord.bass or case.chord.root or ""
    target = case.chord.root_pc if case.chord.bass_pc is None else case.chord.bass_pc
    is_bass = lowest.midi % 12 == target
    if case.setting.bass_player:
        if is_bass and lowest.midi <= BASS_TOPS[0]:
            words = f"{lowest.note} at the bottom is the bass player's note"
            yield make_finding("bass-doubled", words, [lowest])
    elif not is_bass and lowest.part != "foreign":
        words = f"{lowest.note} is the lowest note; without a bass player that is {own}"
        yield make_finding("bass-wrong", words, [lowest])


# --- over the step -------------------------------------------------------------------------------


def _melody(case: VoicingContext) -> Iterator[Finding]:
    """Minor seconds and ninths against the melody; where it is to lie above, what does not."""
    melody, how = case.wish.melody, case.setting.melody
    if how == "ignore" or not melody or case.listed:
        return
    for sung in melody:
        for note in case.notes:
            own = note.midi in melody
            if not own and clashes_with(note, sung, case.chord) and _counts(case, note, sung):
                words = f"{note.note} clashes with the melody's {pitch_name(sung)}"
                yield make_finding("against-melody", words, [note])
    over = [note for note in case.notes if note.midi >= min(melody)]
    if how == "below" and over:
        names = " ".join(note.note for note in over)
        words = f"{names} does not lie below the melody's {pitch_name(min(melody))}"
        yield make_finding("over-melody", words, over)


def _counts(case: VoicingContext, note: NamedNote, sung: int) -> bool:
    """Minor ninths count unless they are waived."""
    return abs(note.midi - sung) == 1 or "minor-ninths" not in case.setting.waive


def _register(case: VoicingContext) -> Iterator[Finding]:
    """The ceiling, and the note that is to be on top."""
    ceiling, top = case.wish.ceiling, case.wish.on_top(case.setting.melody)
    if case.listed:  # where nothing carries the melody, a voicing need not
        top = case.wish.top
    above = [note for note in case.notes if ceiling is not None and note.midi >= ceiling]
    if ceiling is not None and above:
        names = " ".join(note.note for note in above)
        words = f"{names} does not stay below {pitch_name(ceiling)}"
        yield make_finding("above-ceiling", words, above)
    highest = case.notes[-1]
    if top is not None and highest.midi != top:
        words = f"{highest.note} is on top; the chart asks for {pitch_name(top)}"
        yield make_finding("not-on-top", words, [highest])


# --- hands ---------------------------------------------------------------------------------------


def split(notes: Sequence[int], setting: Setting, wished: int | None = None) -> int | None:
    """How many of `notes`, ascending, the left hand takes; None where no hands can play them.

    The share nearest to `wished`, else to the half, that lies within reach, the smaller of two.

    >>> from shortway.core.settings.setting import resolve
    >>> split([53, 59, 64, 69, 74], resolve()), split([36, 60, 84], resolve())
    (2, None)
    """
    wish = len(notes) // 2 if wished is None else wished
    able = [k for k in left_hand_shares(len(notes), setting) if _in_reach(notes, k, setting)]
    return min(able, key=lambda k: (abs(k - wish), k), default=None)


def _in_reach(notes: Sequence[int], left: int, setting: Setting) -> bool:
    hands = (hand for hand in (notes[:left], notes[left:]) if hand)
    return all(distance_mm(hand[0], hand[-1]) <= setting.reach_mm for hand in hands)


def _hands(case: VoicingContext) -> Iterator[Finding]:
    midi, setting = [note.midi for note in case.notes], case.setting
    fingers = FINGERS * (2 if setting.hands == "both" else 1)
    if len(midi) > fingers:
        words = f"{len(midi)} notes are too many for {fingers} fingers"
        yield make_finding("too-many-notes", words, case.notes)
    elif split(midi, setting) is None:
        who = "two hands" if setting.hands == "both" else f"the {setting.hands} hand"
        words = f"{who} cannot reach {case.notes[0].note} to {case.notes[-1].note}"
        more = f"with a reach of {setting.reach_mm:g} mm, key to key"
        yield make_finding("stretch", f"{words} {more}", case.notes)


_RULES: Final[tuple[Callable[[VoicingContext], Iterator[Finding]], ...]] = (
    _guide_tones, _foreign, _colours, _written, _beyond, _doubled,
    _minor_ninths, _mud, _range, _melody, _register, _bass, _hands,
)  # fmt: skip
