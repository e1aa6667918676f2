"""A performance as the dict of the wire.

Knows scores and no format.
"""

from shortway.scores.midi.timed_events import (
    TimedEvent,
    clicks,
    count_in_length,
    seconds,
    timed_events,
    timed_roots,
    to_microseconds,
)
from shortway.scores.notation.model import Score
from shortway.wire.serializers import Json


def performance_json(music: Score) -> Json:
    """A path as it sounds: timed events in seconds."""
    found: Json = {
        "title": music.title,
        "tempo": music.tempo,
        "duration": to_microseconds(seconds(music)(music.quarters(music.end))),
        "events": [{**_event(event), "hand": event.hand} for event in timed_events(music)],
    }
    if music.sound.count_in:
        start, elapsed = count_in_length(music), seconds(music)
        found["count_in"] = [to_microseconds(elapsed(time - start)) for time in clicks(music)]
    if music.sound.roots == "audible":
        found["roots"] = [_event(event) for event in timed_roots(music)]
    return found


def _event(event: TimedEvent) -> Json:
    return {
        "time": event.time,
        "duration": event.duration,
        "midi": event.midi,
        "velocity": event.velocity,
        "step": event.step,
    }
