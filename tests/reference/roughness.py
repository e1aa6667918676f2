"""Roughness of sounds: two published models, written here from their formulas.

Sethares 1993 (Local consonance and the relationship between timbre and scale, JASA 94) and
Hutchinson and Knopoff 1978 (The acoustic component of Western consonance, Interface 7) in
Mashinter's form; parameters as open packages in R have them. Nothing here imports ours.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import combinations
from math import exp

Partials = Sequence[tuple[float, float]]
"""Frequencies in Hz with their amplitudes."""


def hertz(midi: float) -> float:
    """Equal temperament, A4 = 440 Hz."""
    return 440.0 * 2 ** ((midi - 69) / 12)


def harmonic(chord: Iterable[int], harmonics: int = 11) -> list[tuple[float, float]]:
    """The partials of a chord of harmonic tones, the n-th 1/n as loud as the first.

    Partials of the same frequency (octaves share some) are one; their amplitudes add. Those of
    fifths and thirds beside each other in equal temperament stay two.
    """
    loud: defaultdict[float, float] = defaultdict(float)
    for midi in chord:
        for n in range(1, harmonics + 1):
            loud[round(hertz(midi) * n, 6)] += 1 / n
    return sorted(loud.items())


# --- Sethares ------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Curve:
    """Parameters of Sethares' curve; `script` are those of his later program."""

    b1: float = 3.5
    b2: float = 5.75
    least: float = 0.24
    s1: float = 0.021
    s2: float = 19.0
    factor: float = 1.0

    def pair(self, low: float, high: float) -> float:
        """Dissonance of two partials of amplitude 1."""
        s = self.least / (self.s1 * low + self.s2)
        apart = s * (high - low)
        return self.factor * (exp(-self.b1 * apart) - exp(-self.b2 * apart))


PAPER = Curve()
SCRIPT = Curve(b1=3.51, s1=0.0207, s2=18.96, factor=5.0)


def sethares(partials: Partials, curve: Curve = SCRIPT, *, product: bool = False) -> float:
    """The sum over all pairs, each as loud as its softer partial (or as the product of both)."""
    return sum(
        (a * b if product else min(a, b)) * curve.pair(low, high)
        for (low, a), (high, b) in combinations(sorted(partials), 2)
    )


# --- Hutchinson and Knopoff ----------------------------------------------------------------------


def bandwidth(a: float, b: float) -> float:
    """The critical band of two frequencies, Hz."""
    return 1.72 * ((a + b) / 2) ** 0.65


def weight(apart: float) -> float:
    """Roughness of two partials that lie so many critical bands apart, 0 from 1.2 on."""
    return 0.0 if apart > 1.2 else (apart / 0.25 * exp(1 - apart / 0.25)) ** 2


def hutchinson_knopoff(partials: Partials) -> float:
    """Roughness of a sound, 0 to about 1."""
    energy = sum(a * a for _, a in partials)
    return (
        sum(
            a * b * weight((high - low) / bandwidth(low, high))
            for (low, a), (high, b) in combinations(sorted(partials), 2)
        )
        / energy
    )
