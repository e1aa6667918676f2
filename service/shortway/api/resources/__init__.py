"""The calls, one file per noun; the app registers those in `ALL`."""

from shortway.api.resources import (
    batches,
    charts,
    chords,
    exercises,
    families,
    health,
    paths,
    reviews,
    rhythms,
    scores,
    settings,
    voicings,
)

ALL = (
    chords.calls, families.calls, voicings.calls, charts.calls, paths.calls, batches.calls,
    reviews.calls, exercises.calls, scores.calls, settings.calls, rhythms.calls, health.calls,
)  # fmt: skip
