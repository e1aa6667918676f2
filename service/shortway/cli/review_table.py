"""A review as text: one row per step, then the totals."""

from collections.abc import Iterator, Mapping
from typing import Any

from shortway.cli.table import (
    CAUTION,
    count_noun,
    format_hands,
    format_position,
    format_table,
    wrap,
)

Wire = Mapping[str, Any]

HEADS = ("step", "bar", "chord", "left hand", "| right hand", "move", "excess", "findings")


def format_review(review: Wire) -> Iterator[str]:
    """A review: table, totals, caution."""
    yield from format_table(HEADS, [_row(step) for step in review["steps"]])
    yield ""
    motion, best = review["totals"]["motion"], review["best_totals"]["motion"]
    told = (
        f"Motion {count_noun(motion, 'semitone')}, {best} on the best path; "
        f"cost {review['excess']} over the best. {count_noun(review['faults'], 'fault')}, "
        f"{count_noun(review['remarks'], 'remark')}."
    )
    yield from wrap(told)
    aligned = review["alignment"]
    if aligned is not None:
        yield (
            f"{count_noun(aligned['taken'], 'note')} of the MIDI file within the chart, "
            f"{aligned['left_out']} outside."
        )
    yield from wrap(CAUTION)


def _row(step: Wire) -> tuple[str, ...]:
    played = step["played"]
    found = "\n".join(f["words"] for f in step["findings"] or step["strengths"])
    return (
        str(step["step"]),
        format_position(step),
        step["symbol"],
        *(_hands(played) if played else ("(nothing)", "")),
        "" if step["motion"] is None else str(step["motion"]),
        "" if step["excess"] is None else str(step["excess"]),
        found or ("clean" if played else ""),
    )


def _hands(played: Wire) -> tuple[str, str]:
    """Notes over degrees for each hand; all in the left column if no hands fit."""
    left = len(played["midi_notes"]) if played["hands"] is None else len(played["hands"]["left"])
    notes = [note | {"degree": note["degree"] or ""} for note in played["notes"]]
    return format_hands({"left": notes[:left], "right": notes[left:]})
