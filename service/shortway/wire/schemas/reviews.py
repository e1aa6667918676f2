"""Reviews: what somebody played over a chart, judged and compared."""

from typing import Any, Final

from shortway.core.charts import MAX_STEPS
from shortway.core.review.findings import CODES
from shortway.core.review.input import HIGHEST_KEY, LOWEST_KEY, MOST_PLAYED
from shortway.wire.fields import (
    Between,
    Length,
    ResponseSchema,
    StrictInteger,
    StrictList,
    StrictNested,
    StrictString,
)
from shortway.wire.schemas.alignments import MidiAlignmentSchema
from shortway.wire.schemas.charts import ChartStepSchema
from shortway.wire.schemas.paths import PlayedChartSchema, VoiceMoveSchema
from shortway.wire.schemas.settings import ResolvedSettingSchema
from shortway.wire.schemas.voicings import HandSpansSchema, NoteSchema, VoicingSchema


class PlayedField(StrictList):
    """The notes of each step; null is none."""

    def _deserialize(self, value: Any, *rest: Any, **more: Any) -> list[Any]:
        if isinstance(value, list):
            value = [[] if step is None else step for step in value]
        return super()._deserialize(value, *rest, **more)


_KEY: Final = StrictInteger("A MIDI number.", 56, validate=Between(LOWEST_KEY, HIGHEST_KEY))


class ReviewRequestSchema(PlayedChartSchema):
    """A chart and what was played over it: notes for each step, or a MIDI file, not both."""

    played = PlayedField(
        StrictList(
            _KEY, "MIDI numbers; none where nothing was played.", validate=Length(0, MOST_PLAYED)
        ),
        "What was played at each step of the unrolled chart, N.C. and held chords counted.",
        [[56, 60, 63, 67], []],
        validate=Length(0, MAX_STEPS),
    )
    midi_file = StrictString(
        "A Standard MIDI File in base64, format 0 or 1, of 256 KiB at most: laid along the "
        "chart by its beats. A note belongs to the step in which it is struck, and to each "
        "further one through more than half of which it is held, by finger or pedal.",
        "TVRoZAAAAAYAAAABAeBNVHJrAAAAFQCQPEAAkEBAg2CAPAAAgEAAAP8vAA==",
    )
    align = StrictNested(MidiAlignmentSchema, "How the MIDI file is laid along the chart.")


class PathTotalsSchema(ResponseSchema):
    """Motion and cost, in semitones."""

    cost = StrictInteger("Motion and prices, in semitones.", 31)
    motion = StrictInteger("All of it, the loop's closing included.", 24)
    loop_motion = StrictInteger(
        "From the last step to the first; null where it is no loop.", None, null=True
    )
    bass_motion = StrictInteger("What the bass notes move, counted apart.", 0)
    largest_leap = StrictInteger("The widest move of a single voice.", 2)


class PlayedNoteSchema(NoteSchema):
    """A note that was played."""

    degree = StrictString(
        "Its degree over the root, of a foreign note what it would be; null in N.C.", "3", null=True
    )
    part = StrictString(
        "tone: the symbol implies it. tension: theory or the setting adds it. bass: the bass "
        "note. foreign: it does not belong there. free: there is no chord.",
        "tone",
        enum=["tone", "tension", "bass", "foreign", "free"],
    )


class HandSplitSchema(ResponseSchema):
    """How the hands share the notes played."""

    left = StrictList(StrictInteger(), "The left hand's MIDI numbers.", [56])
    right = StrictList(StrictInteger(), "The right hand's.", [60, 63, 67])
    span_mm = StrictNested(
        HandSpansSchema, "How far each hand stretches.", {"left": 0.0, "right": 105.8}
    )


class PlayedStepSchema(ResponseSchema):
    """What was played at a step."""

    midi_notes = StrictList(StrictInteger(), "All notes, ascending.", [56, 60, 63])
    notes = StrictList(StrictNested(PlayedNoteSchema), "The same, named.")
    hands = StrictNested(
        HandSplitSchema,
        "A way for the setting's hands to play them; null: there is none.",
        null=True,
    )
    family = StrictString(
        "The family that lists this voicing; null: none of the setting's.", None, null=True
    )
    form = StrictString("Its form, if a family lists it.", "A", null=True, enum=["A", "B", None])


class FindingSchema(ResponseSchema):
    """One thing found in what was played."""

    code = StrictString(
        "What it is: "
        + "; ".join(f"`{code}`: {about}" for code, (_, about) in CODES.items())
        + ".",
        "foreign-note",
        enum=list(CODES),
    )
    severity = StrictString(
        "fault: it breaks a hard rule of the setting. remark: it is worth knowing. strength: "
        "it was played well.",
        "fault",
        enum=["fault", "remark", "strength"],
    )
    words = StrictString("What it is, for a musician.", "D4 would be the #11 of Ab: an avoid note")
    midi_notes = StrictList(StrictInteger(), "The notes concerned.", [62])
    degrees = StrictList(StrictString(), "Degrees concerned, missing ones too.", ["#11"])


class BestContinuationSchema(ResponseSchema):
    """The best continuation from the notes played."""

    cost = StrictInteger("The least cost that remains to the end; in a loop to the first step.", 7)
    voicing = StrictNested(
        VoicingSchema, "What comes next on it; null after the last step.", null=True
    )


class StepReviewSchema(ChartStepSchema):
    """A step with the notes played there and the findings."""

    played = StrictNested(PlayedStepSchema, "What was played; null: nothing.", null=True)
    findings = StrictList(StrictNested(FindingSchema), "What is found in it, faults first.")
    strengths = StrictList(StrictNested(FindingSchema), "What was played well.")
    motion = StrictInteger(
        "Semitones into it from what was played before; where the numbers of notes differ, by "
        "the least assignment that uses every note.",
        2,
        null=True,
    )
    moves = StrictList(StrictNested(VoiceMoveSchema), "The way into it, voice by voice.")
    excess = StrictInteger(
        "What the step cost beyond the least: motion and prices of the step and the least cost "
        "that remains after it, less the least that remained before. Below 0 where notes that "
        "no family lists cost less.",
        0,
        null=True,
    )
    distance = StrictInteger(
        "Semitones from its upper notes to the best path's, by least assignment.", 0, null=True
    )
    best = StrictNested(
        VoicingSchema, "The best path's voicing; null where nothing was played.", null=True
    )
    onward = StrictNested(BestContinuationSchema, "The best continuation from here.", null=True)


class AlignmentCountsSchema(ResponseSchema):
    """How many notes of a MIDI file were used."""

    taken = StrictInteger("Notes that fell within the chart.", 48)
    left_out = StrictInteger("Notes before and after it.", 4)


class ReviewSchema(ResponseSchema):
    """A review step by step, compared with the best path through the same steps."""

    excess = StrictInteger(
        "The one overall figure: the cost of what was played, less the least of any path "
        "through the same steps under the same setting. The sum of the steps' own.",
        3,
    )
    faults = StrictInteger("Findings that break a hard rule.", 1)
    remarks = StrictInteger("Findings that are worth knowing.", 0)
    totals = StrictNested(PathTotalsSchema, "Of what was played.")
    best_totals = StrictNested(
        PathTotalsSchema, "Of the best path through the steps at which something was played."
    )
    alignment = StrictNested(
        AlignmentCountsSchema,
        "How many of its notes were used; null without a MIDI file.",
        null=True,
    )
    setting = StrictNested(ResolvedSettingSchema, "The setting in full.")
    steps = StrictList(StrictNested(StepReviewSchema), "Its steps in order.")
