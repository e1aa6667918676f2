"""Templates: degrees low to high free of key and register, and the hard rules that need no more.

Knows available tones. Each voice of a template lies as near above the one below as its degree
allows.
"""

from dataclasses import dataclass
from itertools import combinations

from shortway.core.theory.pitch import DEGREES
from shortway.core.voicings.available_tones import AvailableTones

Degrees = tuple[str, ...]
Waive = tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Template:
    """Degrees low to high, offsets in semitones above the root's pitch class, left hand's share."""

    degrees: Degrees
    offsets: tuple[int, ...]
    left: int


def stacked(degrees: Degrees) -> tuple[int, ...]:
    """Offsets of `degrees`, each the nearest above the one before.

    >>> stacked(("3", "b7", "9", "5", "1"))
    (4, 10, 14, 19, 24)
    """
    offsets: list[int] = []
    for degree in degrees:
        below = offsets[-1] if offsets else -1
        offsets.append(below + 1 + (DEGREES[degree] - below - 1) % 12)
    return tuple(offsets)


def minor_ninth(degrees: Degrees, offsets: tuple[int, ...]) -> bool:
    """Whether two voices are a minor ninth (or its octave compounds) apart.

    Excused above the root of a chord with b9 (common practice; the ninth is then the chord's own).
    """
    return any(
        high - low > 12 and (high - low) % 12 == 1 and not (degree == "1" and above == "b9")
        for (degree, low), (above, high) in combinations(zip(degrees, offsets, strict=True), 2)
    )


def has_half_step_on_top(offsets: tuple[int, ...]) -> bool:
    """Whether the two top voices are a half step apart (common practice)."""
    return len(offsets) > 1 and offsets[-1] - offsets[-2] == 1


def is_sound(
    available: AvailableTones, degrees: Degrees, offsets: tuple[int, ...], waive: Waive
) -> bool:
    """Whether colours agree and no voices are a minor ninth apart, as far as `waive` asks."""
    return not (
        ("colours" not in waive and available.clashes(degrees))
        or ("minor-ninths" not in waive and minor_ninth(degrees, offsets))
    )


def is_playable(available: AvailableTones, template: Template, waive: Waive) -> bool:
    """Whether a finished template keeps every hard rule of this module."""
    own_first = "guide-tones" in waive or available.has_own_tones_first(template.degrees)
    return (
        own_first
        and not has_half_step_on_top(template.offsets)
        and is_sound(available, template.degrees, template.offsets, waive)
    )


def is_complete(available: AvailableTones, degrees: Degrees) -> bool:
    """Whether the symbol's own degrees sound as far as the guide tones leave room."""
    return available.missing(degrees) <= available.may_miss(len(degrees))


def root_over_seventh(degrees: Degrees) -> bool:
    """Whether the root lies above a major seventh."""
    return "7" in degrees and "1" in degrees[degrees.index("7") :]


def as_thirteenth(available: AvailableTones, degrees: Degrees) -> Degrees:
    """A 6 is called 13 where the seventh sounds, too."""
    if "6" not in degrees or available.seventh in (None, "6") or available.seventh not in degrees:
        return degrees
    return tuple("13" if degree == "6" else degree for degree in degrees)


def as_sixth(available: AvailableTones, degrees: Degrees) -> Degrees:
    """A 13 is called 6 where it stands for a seventh that does not sound."""
    if available.sixth is None or available.seventh in degrees:
        return degrees
    return tuple("6" if degree == "13" else degree for degree in degrees)
