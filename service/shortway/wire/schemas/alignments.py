"""Alignments: how a MIDI file is placed along a chart."""

from typing import Any, Final

from marshmallow import ValidationError

from shortway.scores.sound import TEMPO
from shortway.wire.fields import (
    Between,
    FieldError,
    Length,
    RequestSchema,
    StrictInteger,
    StrictList,
    StrictNested,
    StrictNumber,
)

#: Quarter notes before which everything happens, and by which a note may be early at most.
LAST, EARLIEST = 100_000, 4
#: Most tempi of a map.
MOST_TEMPI: Final = 4096


class TempoChangeSchema(RequestSchema):
    """A tempo that was really played."""

    at = StrictNumber("From this quarter note on.", 0, required=True, validate=Between(0, LAST))
    tempo = StrictNumber("Quarter notes a minute.", 132, required=True, validate=Between(*TEMPO))


def _refuse_disorder(tempi: list[dict[str, Any]]) -> None:
    """Reject a tempo map that does not begin at 0, or whose tempi do not ascend."""
    for index, tempo in enumerate(tempi):
        if tempo["at"] <= tempi[index - 1]["at"] if index else tempo["at"]:
            detail, expected = "tempi begin at 0 and ascend", "more than the one before"
            raise ValidationError({index: {"at": [FieldError("out-of-range", detail, expected)]}})


class MidiAlignmentSchema(RequestSchema):
    """How a MIDI file is laid along the chart; times are quarter notes."""

    start = StrictNumber(
        "Where the chart begins, from the file's beginning; 0 unless given.",
        4,
        validate=Between(0, LAST),
    )
    early = StrictNumber(
        "A note that is struck less than so much before the next step belongs to that, as an "
        "anticipation does; 0.5 unless given, and never more than half of the step before.",
        0.5,
        validate=Between(0, EARLIEST),
    )
    tempo_map = StrictList(
        StrictNested(TempoChangeSchema),
        "For a recording made without a click: the tempi that were really played, the first at "
        "0. The file's seconds then tell its quarter notes; without it the file's own beats "
        "hold.",
        [{"at": 0, "tempo": 132}, {"at": 16, "tempo": 126}],
        validate=(Length(1, MOST_TEMPI), _refuse_disorder),
    )
    channels = StrictList(
        StrictInteger("A channel.", 1, validate=Between(1, 16)),
        "MIDI channels that count; all but 10, the drums, and those of volume 0 unless given.",
        [1],
        validate=Length(1, 16),
    )
