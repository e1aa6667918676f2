"""Strengths: what was played well, as findings beside the faults and remarks.

Knows findings and contexts. What counts as good is common practice, no source.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Final

from shortway.core.harmony.context import Context
from shortway.core.review.findings import Finding, VoicingContext, make_finding
from shortway.core.theory.pitch import DEGREES

#: Fewest upper notes of a voicing that is worth praise.
_FEWEST: Final = 2


def find_strengths(
    context: VoicingContext, harmony: Context | None, found: Sequence[Finding], excess: int | None
) -> Iterator[Finding]:
    """What is good in notes over a chord without a fault.

    Parameters
    ----------
    harmony : Context or None
        What the chord does there, where the setting asks for tensions in context.
    found : sequence of Finding
        Faults and remarks.
    excess : int or None
        What the way into the step cost beyond the least; None where nothing leads in.
    """
    is_faulty = any(finding.severity == "fault" for finding in found)
    if is_faulty or len(context.upper) < _FEWEST:
        return
    heard = {(note.midi - (context.chord.root_pc or 0)) % 12 for note in context.notes}
    groups = [(degree,) for degree in context.chord.guide_tones]
    sounding = [_heard(group, heard) for group in (*groups, *(harmony.wants if harmony else ()))]
    if groups and all(sounding):
        names = [f"the {context.spelled(degree)}" for degree in sounding]
        verb = "sounds" if len(names) == 1 else "sound"
        yield make_finding("well-voiced", f"{' and '.join(names)} {verb}", (), *sounding)
    if excess is not None and excess <= 0:
        yield make_finding(
            "well-led", "no move into this chord costs less in the end", context.upper
        )


def _heard(group: tuple[str, ...], heard: set[int]) -> str:
    return next((degree for degree in group if DEGREES[degree] in heard), "")
