"""A performance as the dict of the wire.

Knows scores and no format.
"""

from __future__ import annotations

from shortway.scores.midi.timed_events import timed_events
from shortway.scores.notation.model import Score
from shortway.wire.serializers import Json


def performance_json(music: Score) -> Json:
    """A path as it sounds: timed events in seconds."""
    return {
        "title": music.title,
        "tempo": music.tempo,
        "duration": round(float(music.end) * 60 / music.tempo, 6),
        "events": [
            {
                "time": event.time,
                "duration": event.duration,
                "midi": event.midi,
                "velocity": event.velocity,
                "hand": event.hand,
                "step": event.step,
            }
            for event in timed_events(music)
        ],
    }
