"""Texts of pictures: titles, descriptions, positions in the chart, figures."""

from fractions import Fraction

from shortway.core.charts.model import Step
from shortway.core.solver.solve import Path


def picture_title(what: str, title: str | None) -> str:
    """A picture's title, with the title of the tune if there is one.

    >>> picture_title("Voice lines", "Late Checkout"), picture_title("Voice lines", None)
    ('Late Checkout: voice lines', 'Voice lines')
    """
    return f"{title}: {what[0].lower()}{what[1:]}" if title else what


def picture_fingerprint(path: Path, width: float) -> str:
    """Everything that a picture of a path depends on."""
    notes = [(step.step.symbol, step.voicing and step.voicing.notes) for step in path.steps]
    return repr((notes, path.motion, path.loop_motion, path.start_motion, width))


def path_summary(path: Path) -> str:
    """The figures of a path: steps, voices, motion."""
    rests = sum(1 for step in path.steps if step.voicing is None)
    parts = [pluralize(len(path.steps), "step")]
    if rests:
        parts.append(f"{rests} without a chord")
    parts += [_voices(path), f"total motion {pluralize(path.motion, 'semitone')}"]
    if path.loop_motion is not None:
        parts.append(f"{path.loop_motion} of them from the last step back to the first")
    if path.start_motion is not None:
        parts.append(f"{path.start_motion} of them from the notes that sounded before")
    if path.bass_motion:
        parts.append(f"the bass moves {pluralize(path.bass_motion, 'semitone')} more")
    return ", ".join([*parts, f"largest leap {path.largest_leap}"])


def _voices(path: Path) -> str:
    sizes = sorted({len(step.voicing.upper) for step in path.steps if step.voicing})
    if not sizes:
        return "no notes"
    bass = any(note.is_bass for step in path.steps if step.voicing for note in step.voicing.notes)
    many = f"{sizes[0]} to {sizes[-1]} voices" if len(sizes) > 1 else pluralize(sizes[0], "voice")
    return f"{many} and a bass" if bass else many


def pluralize(number: int, noun: str) -> str:
    """``1 step``, ``2 steps``."""
    return f"{number} {noun}" if number == 1 else f"{number} {noun}s"


def step_location(step: Step) -> str:
    """The position of a step: ``measure 3``, ``measure 3, beat 2 1/2``."""
    beat = "" if step.beat == 1 else f", beat {mixed_number(step.beat)}"
    return f"measure {step.measure}{beat}"


def mixed_number(beat: Fraction) -> str:
    """A fraction as a mixed number.

    >>> mixed_number(Fraction(3)), mixed_number(Fraction(5, 2)), mixed_number(Fraction(1, 3))
    ('3', '2 1/2', '1/3')
    """
    whole, rest = divmod(beat, 1)
    return f"{whole} {rest}" if whole and rest else str(rest or whole)
