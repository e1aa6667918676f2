"""Paths: one voicing per step, at the least cost."""

from shortway.core.charts import MAX_STEPS
from shortway.core.harmony.context import FUNCTIONS
from shortway.core.settings.fields import MOST_NOTES
from shortway.core.solver.solve import MOST_ALTERNATIVES, MOST_CHOICES
from shortway.core.voice_leading.objective import TOP_LINES
from shortway.wire.fields import (
    Between,
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
)
from shortway.wire.schemas.charts import ChartField, ChartStepSchema
from shortway.wire.schemas.settings import SETTING, ResolvedSettingSchema
from shortway.wire.schemas.voicings import PriceItemSchema, VoicingSchema

#: How much of a path's steps an answer has.
LEVELS = ("full", "brief")

_MIDI = StrictInteger("A MIDI number.", 56, validate=Between(0, 127))
START_FROM = StrictList(
    _MIDI,
    "Notes that sound already, as MIDI numbers.",
    [56, 60, 65, 70, 75],
    validate=Length(1, MOST_NOTES),
)
TOP_LINE = StrictString(
    "What is asked of the top voice before least cost: that it moves least (hold), falls "
    "least (rise) or rises least (fall), in semitones over the whole path; in a loop a line "
    "that rises or falls begins anew with each round.",
    "hold",
    load_default="free",
    validate=OneOf(TOP_LINES),
)


class PinSchema(RequestSchema):
    """What a step must have: its step and at least one thing more."""

    step = StrictInteger("The step, from 0.", 0, required=True, validate=Between(0, MAX_STEPS - 1))
    midi_notes = StrictList(
        _MIDI,
        "Exactly these notes, the bass included.",
        [55, 61, 65, 70, 75],
        validate=Length(1, MOST_NOTES),
    )
    family = StrictString("A voicing of this family.", "guide-tone-extended")
    form = StrictString("A voicing of this form.", "A", validate=OneOf(("A", "B")))
    top = StrictString("This note on top.", "Eb5")


class KeptNotesSchema(RequestSchema):
    """Notes of an earlier path."""

    step = StrictInteger("The step, from 0, in this chart.", 0, required=True, validate=Between(0))
    midi_notes = StrictList(
        _MIDI,
        "Its notes, the bass included.",
        [55, 61, 65, 70, 75],
        required=True,
        validate=Length(1, MOST_NOTES),
    )


class ChartRequestSchema(RequestSchema):
    """A chart, and who plays it."""

    chart = ChartField()
    setting = CoreValue(SETTING, "Who plays and what is allowed.")
    loop = StrictBoolean("Whether the form repeats.", False, load_default=False)


class PlayedChartSchema(ChartRequestSchema):
    """A chart, who plays it, and pins."""

    pins = StrictList(
        StrictNested(PinSchema),
        "Steps that are fixed.",
        [{"step": 0, "form": "A"}],
        load_default=list,
        validate=Length(0, MAX_STEPS),
    )


class PathRequestSchema(PlayedChartSchema):
    """A chart, and how it is to be played."""

    start_from = START_FROM
    keep = StrictList(
        StrictNested(KeptNotesSchema),
        "Notes of an earlier answer, at steps of this chart. As few of these steps as possible "
        "change, which is counted before cost; the answer lists them as `released`. Nothing that "
        "is kept leads to an error.",
        [{"step": 0, "midi_notes": [55, 61, 65, 70, 75]}],
        load_default=list,
        validate=Length(0, MAX_STEPS),
    )
    choices_at = StrictInteger(
        "A step whose candidates the answer lists as `choices`.",
        0,
        validate=Between(0, MAX_STEPS - 1),
    )
    limit = StrictInteger(
        "Number of choices.", 12, load_default=100, validate=Between(1, MOST_CHOICES)
    )
    level = StrictString(
        "How much the steps have: at the brief level only symbol, measure, beat, beats, onset and "
        "midi_notes.",
        "brief",
        load_default="full",
        validate=OneOf(LEVELS),
    )
    alternatives = StrictInteger(
        "Number of further paths.", 2, load_default=0, validate=Between(0, MOST_ALTERNATIVES)
    )
    differs_in = StrictInteger(
        "In how many steps each differs from the best and all earlier ones.",
        1,
        load_default=1,
        validate=Between(1, MAX_STEPS),
    )
    top_line = TOP_LINE
    with_least_motion = StrictBoolean(
        "Whether the answer says what the least motion would be, by a second search without "
        "prices.",
        True,
        load_default=False,
    )


class SearchSizeSchema(ResponseSchema):
    """The size of the search."""

    steps = StrictInteger("Steps of the unrolled chart.", 12)
    candidates = StrictInteger("Voicings over all steps.", 214)
    transitions = StrictInteger("Pairs of them, step to step.", 3120)


class VoiceMoveSchema(ResponseSchema):
    """How one voice came into a step."""

    voice = StrictInteger("From 1 at the bottom, bass excluded.", 1, minimum=1)
    from_midi = StrictInteger("MIDI number it comes from.", 56)
    to_midi = StrictInteger("MIDI number it goes to.", 55)
    semitones = StrictInteger("Upwards, or downwards if negative.", -1)
    from_degree = StrictString(
        "Its degree in the chord before; null where that is not known.", "b7", null=True
    )
    to_degree = StrictString("Its degree in this chord.", "3")


class ChordContextSchema(ResponseSchema):
    """What a chord does where it stands; `context` of a request for voicings takes it."""

    function = StrictString("Its function there.", "dominant", enum=list(FUNCTIONS))
    goal = StrictString("The key or chord that it is heard towards.", "Cm")
    why = StrictString("The reason.", "falls a fifth to Cm6, a minor chord")
    colours = StrictList(
        StrictString(),
        "Degrees that its voicing may add to what the symbol writes. A b7 makes a suspended "
        "chord without a number a dominant.",
        ["b9", "#9", "b13"],
    )
    wants = StrictList(
        StrictList(StrictString()),
        "Groups of degrees that it asks for; any one degree of a group satisfies it.",
        [["b9", "#9"], ["b13", "#5"]],
    )


class ChoiceSchema(ResponseSchema):
    """A candidate of a step, and the best path through it in figures."""

    voicing = StrictNested(VoicingSchema, "The voicing.")
    cost = StrictInteger("The cost of that path.", 33)
    motion = StrictInteger("Its motion.", 25)


class PathStepSchema(ChartStepSchema):
    """A step with its voicing and the way into it; a brief one has its notes only."""

    midi_notes = StrictList(_MIDI, "Its notes, ascending; empty in N.C.", [55, 61, 65, 70, 75])
    voicing = StrictNested(VoicingSchema, "Its voicing; null in N.C.", optional=True, null=True)
    motion = StrictInteger("Semitones moved into it; null in N.C.", 2, optional=True, null=True)
    cost = StrictInteger(
        "Motion and the prices of its voicing and of the move into it; a voicing that is held "
        "is paid for once; null in N.C.",
        5,
        optional=True,
        null=True,
    )
    price_items = StrictList(
        StrictNested(PriceItemSchema), "The prices that are due.", optional=True
    )
    moves = StrictList(
        StrictNested(VoiceMoveSchema), "The way into it, voice by voice.", optional=True
    )
    remark = StrictString(
        "One line of what happens.", "falling fifth: A to B, two voices fall", optional=True
    )
    context = StrictNested(
        ChordContextSchema,
        "Its function and colours; null in N.C. or unless tensions are in-context.",
        optional=True,
        null=True,
    )


class VoicingPathSchema(ResponseSchema):
    """The path of least cost, of all there are."""

    cost = StrictInteger("Motion and prices, in semitones: what is least.", 31)
    motion = StrictInteger("Semitones of all upper voices, the loop's closing included.", 24)
    bass_motion = StrictInteger("Semitones of the bass notes, counted apart.", 0)
    loop_motion = StrictInteger(
        "The motion from the last step to the first; null where it is no loop.", None, null=True
    )
    start_motion = StrictInteger(
        "The motion from start_from into the first step; null without it.", None, null=True
    )
    least_motion = StrictInteger(
        "The least motion of any path over the same candidates; null unless "
        "`with_least_motion` asks for it.",
        None,
        null=True,
    )
    largest_leap = StrictInteger("The widest move of a single voice.", 2)
    top_line_motion = StrictInteger(
        "By how much the top voice goes against top_line; null where it is free.", None, null=True
    )
    price_items = StrictList(
        StrictNested(PriceItemSchema),
        "The prices of the whole path, in the order of `GET /v1/prices`.",
    )
    released = StrictList(
        StrictInteger("A step.", 4),
        "The steps of `keep` whose notes are not played, ascending.",
        [4],
    )
    choices = StrictList(
        StrictNested(ChoiceSchema),
        "The candidates of the step `choices_at`, each with the best path through it, by cost and "
        "then motion, the answer's own first: what a path with that candidate as a pin has. Steps "
        "that hold one voicing have one, to be pinned at the first of them. Empty without "
        "`choices_at`.",
        [],
    )
    optimal = StrictBoolean("Always true: the path is proven to be the best.", True)
    size = StrictNested(SearchSizeSchema, "The size of the search.")
    setting = StrictNested(ResolvedSettingSchema, "The setting in full.")
    steps = StrictList(StrictNested(PathStepSchema), "Its steps in order.")
    alternatives = StrictList(
        CoreValue({"$ref": "#/components/schemas/VoicingPath"}),
        "The alternatives that were asked for, fewer where there are no more. Each is the best "
        "of the paths that differ from the best and from all earlier alternatives in at least "
        "`differs_in` steps; with 1 they are the next best paths there are.",
        [],
    )
