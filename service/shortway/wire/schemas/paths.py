"""Paths: one voicing per step, at the least cost."""

from typing import ClassVar

from shortway.core.charts import MAX_STEPS
from shortway.core.harmony.context import FUNCTIONS
from shortway.core.settings.fields import MOST_NOTES
from shortway.core.solver.solve import MOST_ALTERNATIVES
from shortway.core.voice_leading.objective import TOP_LINES
from shortway.wire.fields import (
    Between,
    CoreOptions,
    CoreValue,
    Length,
    OneOf,
    RequestSchema,
    ResponseSchema,
    StrictBoolean,
    StrictInteger,
    StrictList,
    StrictNested,
    StrictString,
    doc,
)
from shortway.wire.schemas.charts import CHART, StepSchema
from shortway.wire.schemas.settings import SETTING, ResolvedSettingSchema
from shortway.wire.schemas.voicings import PriceItemSchema, VoicingSchema

_MIDI = StrictInteger(validate=Between(0, 127), metadata=doc("A MIDI number.", 56))
START_FROM = StrictList(
    _MIDI,
    validate=Length(1, MOST_NOTES),
    metadata=doc("Notes that sound already, as MIDI numbers.", [56, 60, 65, 70, 75]),
)
TOP_LINE = StrictString(
    load_default="free",
    validate=OneOf(TOP_LINES),
    metadata=doc(
        "What is asked of the top voice before least cost: that it moves least (hold), falls "
        "least (rise) or rises least (fall), in semitones over the whole path; in a loop a line "
        "that rises or falls begins anew with each round.",
        "hold",
    ),
)


class PinSchema(RequestSchema):
    """What a step must have: its step and at least one thing more."""

    step = StrictInteger(
        required=True,
        validate=Between(0, MAX_STEPS - 1),
        metadata=doc("The step, from 0.", 0),
    )
    midi = StrictList(
        _MIDI,
        validate=Length(1, MOST_NOTES),
        metadata=doc("Exactly these notes, the bass included.", [55, 61, 65, 70, 75]),
    )
    family = StrictString(metadata=doc("A voicing of this family.", "guide-tone-extended"))
    form = StrictString(validate=OneOf(("A", "B")), metadata=doc("A voicing of this form.", "A"))
    top = StrictString(metadata=doc("This note on top.", "Eb5"))


class ChartRequestSchema(RequestSchema):
    """A chart, and who plays it."""

    chart = CoreValue(CHART, required=True, metadata=doc("The chart, text or object."))
    setting = CoreOptions(SETTING, metadata=doc("Who plays and what is allowed."))
    loop = StrictBoolean(
        load_default=False,
        metadata=doc("Whether the form is played round and round.", False),
    )


class PlayedChartSchema(ChartRequestSchema):
    """A chart, and what whoever plays it is held to."""

    pins = StrictList(
        StrictNested(PinSchema),
        load_default=list,
        validate=Length(0, MAX_STEPS),
        metadata=doc("Steps that are fixed.", [{"step": 0, "form": "A"}]),
    )


class PathRequestSchema(PlayedChartSchema):
    """A chart, and how it is to be played."""

    start_from = START_FROM
    alternatives = StrictInteger(
        load_default=0,
        validate=Between(0, MOST_ALTERNATIVES),
        metadata=doc("How many further paths.", 2),
    )
    differs_in = StrictInteger(
        load_default=1,
        validate=Between(1, MAX_STEPS),
        metadata=doc("In how many steps each differs from the best and all earlier ones.", 1),
    )
    top_line = TOP_LINE
    with_least_motion = StrictBoolean(
        load_default=False,
        metadata=doc(
            "Whether the answer says what the least motion would be, by a second search without "
            "prices.",
            True,
        ),
    )


class SizeSchema(ResponseSchema):
    """What was searched."""

    steps = StrictInteger(required=True, metadata=doc("Steps of the unrolled chart.", 12))
    candidates = StrictInteger(required=True, metadata=doc("Voicings over all steps.", 214))
    transitions = StrictInteger(required=True, metadata=doc("Pairs of them, step to step.", 3120))


class MoveSchema(ResponseSchema):
    """How one voice came into a step."""

    class Meta:
        """A field whose name is a word of Python's."""

        include: ClassVar = {
            "from": StrictInteger(required=True, metadata=doc("MIDI number it comes from.", 56))
        }

    voice = StrictInteger(
        required=True, metadata=doc("From 1 at the bottom, bass excluded.", 1, minimum=1)
    )
    to = StrictInteger(required=True, metadata=doc("MIDI number it goes to.", 55))
    semitones = StrictInteger(required=True, metadata=doc("Upwards, or downwards if negative.", -1))
    from_degree = StrictString(
        required=True,
        allow_none=True,
        metadata=doc("Its degree in the chord before; null where that is not known.", "b7"),
    )
    to_degree = StrictString(required=True, metadata=doc("Its degree in this chord.", "3"))


class ContextSchema(ResponseSchema):
    """What a chord does where it stands; `context` of a request for voicings takes it."""

    function = StrictString(
        required=True, metadata=doc("Its function there.", "dominant", enum=list(FUNCTIONS))
    )
    goal = StrictString(
        required=True, metadata=doc("The key or chord that it is heard towards.", "Cm")
    )
    why = StrictString(
        required=True,
        metadata=doc("The reason.", "falls a fifth to Cm6, a minor chord"),
    )
    colours = StrictList(
        StrictString(),
        required=True,
        metadata=doc(
            "Degrees that its voicing may add to what the symbol writes. A b7 makes a suspended "
            "chord without a number a dominant.",
            ["b9", "#9", "b13"],
        ),
    )
    wants = StrictList(
        StrictList(StrictString()),
        required=True,
        metadata=doc(
            "Groups of degrees that it asks for; any one degree of a group satisfies it.",
            [["b9", "#9"], ["b13", "#5"]],
        ),
    )


class PathStepSchema(StepSchema):
    """A step with its voicing and the way into it."""

    voicing = StrictNested(
        VoicingSchema,
        required=True,
        allow_none=True,
        metadata=doc("Its voicing; null in N.C."),
    )
    motion = StrictInteger(
        required=True,
        allow_none=True,
        metadata=doc("Semitones moved into it; null in N.C.", 2),
    )
    cost = StrictInteger(
        required=True,
        allow_none=True,
        metadata=doc(
            "Motion and the prices of its voicing and of the move into it; a voicing that is held "
            "is paid for once; null in N.C.",
            5,
        ),
    )
    price_items = StrictList(
        StrictNested(PriceItemSchema), required=True, metadata=doc("The prices that are due.")
    )
    moves = StrictList(
        StrictNested(MoveSchema), required=True, metadata=doc("The way into it, voice by voice.")
    )
    remark = StrictString(
        required=True,
        metadata=doc("One line of what happens.", "falling fifth: A to B, two voices fall"),
    )
    context = StrictNested(
        ContextSchema,
        required=True,
        allow_none=True,
        metadata=doc("Its function and colours; null in N.C. or unless tensions are in-context."),
    )


class PathSchema(ResponseSchema):
    """The path of least cost, of all there are."""

    cost = StrictInteger(
        required=True, metadata=doc("Motion and prices, in semitones: what is least.", 31)
    )
    motion = StrictInteger(
        required=True,
        metadata=doc("Semitones of all upper voices, the loop's closing included.", 24),
    )
    bass_motion = StrictInteger(
        required=True, metadata=doc("Semitones of the bass notes, counted apart.", 0)
    )
    loop_motion = StrictInteger(
        required=True,
        allow_none=True,
        metadata=doc("The motion from the last step to the first; null where it is no loop.", None),
    )
    start_motion = StrictInteger(
        required=True,
        allow_none=True,
        metadata=doc("The motion from start_from into the first step; null without it.", None),
    )
    least_motion = StrictInteger(
        required=True,
        allow_none=True,
        metadata=doc(
            "The least motion of any path over the same candidates; null unless "
            "`with_least_motion` asks for it.",
            None,
        ),
    )
    largest_leap = StrictInteger(
        required=True, metadata=doc("The widest move of a single voice.", 2)
    )
    top_line_motion = StrictInteger(
        required=True,
        allow_none=True,
        metadata=doc("By how much the top voice goes against top_line; null where it is free.",
                      None),
    )  # fmt: skip
    price_items = StrictList(
        StrictNested(PriceItemSchema),
        required=True,
        metadata=doc("The prices of the whole path, in the order of `GET /v1/prices`."),
    )
    optimal = StrictBoolean(
        required=True, metadata=doc("Always true: nothing less is answered.", True)
    )
    size = StrictNested(SizeSchema, required=True, metadata=doc("What was searched."))
    setting = StrictNested(
        ResolvedSettingSchema, required=True, metadata=doc("The setting in full.")
    )
    steps = StrictList(
        StrictNested(PathStepSchema), required=True, metadata=doc("Its steps in order.")
    )
    alternatives = StrictList(
        CoreValue({"$ref": "#/components/schemas/Path"}),
        required=True,
        metadata=doc(
            "The alternatives that were asked for, fewer where there are no more. Each is the best "
            "of the paths that differ from the best and from all earlier alternatives in at least "
            "`differs_in` steps; with 1 they are the next best paths there are.",
            [],
        ),
    )
