"""A thin, typed client of the Shortway voicing service; needs requests and nothing else.

>>> from shortway_client import Client
>>> with Client() as client:  # doctest: +SKIP
...     path = client.find_path("| Dm7 | G7 | Cmaj7 | % |")
...     for step in path.steps:
...         print(step.symbol, step.voicing.midi_notes, step.remark)
"""

from shortway_client import errors, models
from shortway_client._batch import PathResult
from shortway_client._codec import to_json
from shortway_client.client import Client
from shortway_client.errors import *  # noqa: F403 - the whole family
from shortway_client.models import *  # noqa: F403 - all that is generated
from shortway_client.music21_score import to_music21

__all__ = ["Client", "PathResult", "to_json", "to_music21"]
__all__ += errors.__all__
__all__ += models.__all__

__version__ = "0.1.0"
