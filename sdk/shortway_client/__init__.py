"""A thin, typed client of the Shortway voicing service; needs requests and nothing else.

>>> from shortway_client import Client
>>> with Client() as client:  # doctest: +SKIP
...     path = client.solve_path("| Dm7 | G7 | Cmaj7 | % |")
...     for step in path.steps:
...         print(step.symbol, step.voicing.midi, step.remark)
"""

from shortway_client._codec import to_json
from shortway_client.client import Client
from shortway_client.errors import (
    BadAnswer,
    ConnectionFailed,
    Problem,
    RateLimited,
    Refused,
    ShortwayClientError,
    TimedOut,
    Unavailable,
)
from shortway_client.models import (
    Chart,
    ChartReading,
    ChartStep,
    Chord,
    Entry,
    Family,
    Fault,
    Health,
    KindDegree,
    Motion,
    Move,
    Neighbour,
    Note,
    Path,
    PathRequest,
    PathResult,
    PathStep,
    Pin,
    ProblemDetails,
    Range,
    Recipe,
    Setting,
    Situation,
    Size,
    Span,
    Tone,
    UnreadableSymbol,
    Voicing,
    VoicingPage,
)

__all__ = [
    "BadAnswer",
    "Chart",
    "ChartReading",
    "ChartStep",
    "Chord",
    "Client",
    "ConnectionFailed",
    "Entry",
    "Family",
    "Fault",
    "Health",
    "KindDegree",
    "Motion",
    "Move",
    "Neighbour",
    "Note",
    "Path",
    "PathRequest",
    "PathResult",
    "PathStep",
    "Pin",
    "Problem",
    "ProblemDetails",
    "Range",
    "RateLimited",
    "Recipe",
    "Refused",
    "Setting",
    "ShortwayClientError",
    "Situation",
    "Size",
    "Span",
    "TimedOut",
    "Tone",
    "Unavailable",
    "UnreadableSymbol",
    "Voicing",
    "VoicingPage",
    "to_json",
]

__version__ = "0.1.0"
