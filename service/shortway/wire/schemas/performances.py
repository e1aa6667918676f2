"""Performances: a path as it sounds, event by event."""

from shortway.wire.fields import (
    ResponseSchema,
    StrictInteger,
    StrictList,
    StrictNested,
    StrictNumber,
    StrictString,
)


class TimedEventSchema(ResponseSchema):
    """A key struck."""

    time = StrictNumber("When it is struck, in seconds from the beginning.", 1.0, minimum=0)
    duration = StrictNumber("For how many seconds it is held.", 2.0, minimum=0)
    midi = StrictInteger("Its MIDI number.", 55, minimum=0, maximum=127)
    velocity = StrictInteger("How hard, as in MIDI.", 64, minimum=1, maximum=127)
    hand = StrictString("The hand that strikes it.", "left", enum=["left", "right"])
    step = StrictInteger("The path's step that it belongs to, from 0.", 0, minimum=0)


class PerformanceSchema(ResponseSchema):
    """A path as it sounds: repeats are played, ties are one event, swing is in the times."""

    title = StrictString("The title; null where there is none.", "Lift to the Roof Bar", null=True)
    tempo = StrictNumber("Quarter notes a minute.", 120)
    duration = StrictNumber("Seconds to the end of the last measure.", 16.0, minimum=0)
    events = StrictList(
        StrictNested(TimedEventSchema), "Its events by time, those of one time from low to high."
    )
