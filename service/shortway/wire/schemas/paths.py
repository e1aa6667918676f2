"""Paths: one voicing per step, with the least motion."""

from typing import ClassVar

from shortway.core.charts import MAX_STEPS
from shortway.core.harmony.functions import FUNCTIONS
from shortway.core.settings.setting import MOST_NOTES
from shortway.core.solver.solve import MOST_ALTERNATIVES
from shortway.core.voice_leading.objective import TOP_LINES
from shortway.wire.schemas.charts import CHART, StepSchema
from shortway.wire.schemas.fields import (
    Answer,
    Between,
    Flag,
    OneOf,
    Options,
    Part,
    Raw,
    Request,
    Several,
    Sized,
    Text,
    Whole,
    told,
)
from shortway.wire.schemas.settings import SETTING, ResolvedSettingSchema
from shortway.wire.schemas.voicings import VoicingSchema

_MIDI = Whole(validate=Between(0, 127), metadata=told("A MIDI number.", 56))
START_FROM = Several(
    _MIDI,
    validate=Sized(1, MOST_NOTES),
    metadata=told("Notes that sound already, as MIDI numbers.", [56, 60, 65, 70, 75]),
)
TOP_LINE = Text(
    load_default="free",
    validate=OneOf(TOP_LINES),
    metadata=told(
        "What is asked of the top voice before least motion: that it moves least (hold), falls "
        "least (rise) or rises least (fall), in semitones over the whole path; in a loop a line "
        "that rises or falls begins anew with each round.",
        "hold",
    ),
)


class PinSchema(Request):
    """What a step must have: its step and at least one thing more."""

    step = Whole(
        required=True,
        validate=Between(0, MAX_STEPS - 1),
        metadata=told("The step, from 0.", 0),
    )
    midi = Several(
        _MIDI,
        validate=Sized(1, MOST_NOTES),
        metadata=told("Exactly these notes, the bass included.", [55, 61, 65, 70, 75]),
    )
    family = Text(metadata=told("A voicing of this family.", "guide-tone-extended"))
    form = Text(validate=OneOf(("A", "B")), metadata=told("A voicing of this form.", "A"))
    top = Text(metadata=told("This note on top.", "Eb5"))


class ChartRequestSchema(Request):
    """A chart, and who plays it."""

    chart = Raw(CHART, required=True, metadata=told("The chart, text or object."))
    setting = Options(SETTING, metadata=told("Who plays and what is allowed."))
    loop = Flag(
        load_default=False,
        metadata=told("Whether the form is played round and round.", False),
    )


class PlayedChartSchema(ChartRequestSchema):
    """A chart, and what whoever plays it is held to."""

    pins = Several(
        Part(PinSchema),
        load_default=list,
        validate=Sized(0, MAX_STEPS),
        metadata=told("Steps that are fixed.", [{"step": 0, "form": "A"}]),
    )


class PathRequestSchema(PlayedChartSchema):
    """A chart, and how it is to be played."""

    start_from = START_FROM
    alternatives = Whole(
        load_default=0,
        validate=Between(0, MOST_ALTERNATIVES),
        metadata=told("How many further paths.", 2),
    )
    differs_in = Whole(
        load_default=1,
        validate=Between(1, MAX_STEPS),
        metadata=told("In how many steps each differs from the best and all earlier ones.", 1),
    )
    top_line = TOP_LINE


class MotionSchema(Answer):
    """What the path moves, in semitones."""

    total = Whole(required=True, metadata=told("All of it, the loop's closing included.", 24))
    loop = Whole(
        required=True,
        allow_none=True,
        metadata=told("From the last step to the first; null where it is no loop.", None),
    )
    start = Whole(
        required=True,
        allow_none=True,
        metadata=told("From start_from into the first step; null without it.", None),
    )
    bass = Whole(required=True, metadata=told("What the bass notes move, counted apart.", 0))
    largest_leap = Whole(required=True, metadata=told("The widest move of a single voice.", 2))
    top_line = Whole(
        required=True,
        allow_none=True,
        metadata=told("By how much the top voice goes against top_line; null where it is free.",
                      None),
    )  # fmt: skip


class SizeSchema(Answer):
    """What was searched."""

    steps = Whole(required=True, metadata=told("Steps of the unrolled chart.", 12))
    candidates = Whole(required=True, metadata=told("Voicings over all steps.", 214))
    transitions = Whole(required=True, metadata=told("Pairs of them, step to step.", 3120))


class MoveSchema(Answer):
    """How one voice came into a step."""

    class Meta:
        """A field whose name is a word of Python's."""

        include: ClassVar = {
            "from": Whole(required=True, metadata=told("MIDI number it comes from.", 56))
        }

    voice = Whole(
        required=True, metadata=told("From 1 at the bottom, bass excluded.", 1, minimum=1)
    )
    to = Whole(required=True, metadata=told("MIDI number it goes to.", 55))
    semitones = Whole(required=True, metadata=told("Upwards, or downwards if negative.", -1))
    from_degree = Text(
        required=True,
        allow_none=True,
        metadata=told("Its degree in the chord before; null where that is not known.", "b7"),
    )
    to_degree = Text(required=True, metadata=told("Its degree in this chord.", "3"))


class ContextSchema(Answer):
    """What a chord does where it stands."""

    function = Text(
        required=True, metadata=told("Its function there.", "dominant", enum=list(FUNCTIONS))
    )
    goal = Text(required=True, metadata=told("The key or chord that it is heard towards.", "Cm"))
    why = Text(
        required=True,
        metadata=told("What that was told from.", "falls a fifth to Cm6, a minor chord"),
    )
    colours = Several(
        Text(),
        required=True,
        metadata=told(
            "Degrees that its voicing may add to what the symbol writes; `colours` of a request "
            "for voicings takes them.",
            ["b9", "#9", "b13"],
        ),
    )


class PathStepSchema(StepSchema):
    """A step with its voicing and the way into it."""

    voicing = Part(
        VoicingSchema,
        required=True,
        allow_none=True,
        metadata=told("Its voicing; null in N.C."),
    )
    motion = Whole(
        required=True,
        allow_none=True,
        metadata=told("Semitones moved into it; null in N.C.", 2),
    )
    moves = Several(
        Part(MoveSchema), required=True, metadata=told("The way into it, voice by voice.")
    )
    remark = Text(
        required=True,
        metadata=told("One line of what happens.", "falling fifth: A to B, two voices fall"),
    )
    context = Part(
        ContextSchema,
        required=True,
        allow_none=True,
        metadata=told("Its function and colours; null in N.C. or unless tensions are in-context."),
    )


class PathSchema(Answer):
    """The path with the least motion, of all there are."""

    motion = Part(MotionSchema, required=True, metadata=told("What it moves."))
    optimal = Flag(required=True, metadata=told("Always true: nothing less is answered.", True))
    size = Part(SizeSchema, required=True, metadata=told("What was searched."))
    setting = Part(ResolvedSettingSchema, required=True, metadata=told("The setting in full."))
    steps = Several(Part(PathStepSchema), required=True, metadata=told("Its steps in order."))
    alternatives = Several(
        Raw({"$ref": "#/components/schemas/Path"}),
        required=True,
        metadata=told(
            "The alternatives that were asked for, fewer where there are no more. Each is the best "
            "of the paths that differ from the best and from all earlier alternatives in at least "
            "`differs_in` steps; with 1 they are the next best paths there are.",
            [],
        ),
    )
