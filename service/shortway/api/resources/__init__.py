"""The calls, one file per noun; the app registers those in `ALL`."""

from shortway.api.resources import (
    batches,
    charts,
    chords,
    exercises,
    families,
    health,
    paths,
    presets,
    reviews,
    rhythms,
    scores,
    voicings,
)

ALL = (
    chords.calls, families.calls, voicings.calls, charts.calls, paths.calls, batches.calls,
    reviews.calls, exercises.calls, scores.calls, presets.calls, rhythms.calls,
    health.calls,
)  # fmt: skip
