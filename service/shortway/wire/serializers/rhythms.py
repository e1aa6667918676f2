"""The comping patterns as JSON values."""

from collections.abc import Iterable

from shortway.core.rhythm.patterns import Pattern
from shortway.wire.serializers import Json
from shortway.wire.serializers.charts import number


def rhythms_json(patterns: Iterable[Pattern]) -> Json:
    """The comping patterns; beats are numbers."""
    return {
        "rhythms": [
            {
                "id": pattern.id,
                "about": pattern.about,
                "meters": [f"{beats}/{unit}" for beats, unit in pattern.meters],
                "measures": pattern.measures,
                "hits": [
                    {"beat": number(s.beat), "beats": number(s.beats), "anticipate": s.anticipate}
                    for s in pattern.strokes
                ],
            }
            for pattern in patterns
        ]
    }
