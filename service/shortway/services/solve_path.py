"""A paths request: its fields as a table, and the one call of the core that answers it.

Knows the core's words and no format. A field is added as a row of `FIELDS` and an argument in
`solved`; the HTTP service documents the same fields in its schemas, and tests hold them together.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Final

from shortway.core.charts import MAX_STEPS
from shortway.core.settings.setting import MOST_NOTES
from shortway.core.solver import solve
from shortway.core.solver.solve import MOST_ALTERNATIVES, Path
from shortway.core.voice_leading.objective import TOP_LINES
from shortway.request_trace import SEARCH, phase
from shortway.services.read_chart import of_request
from shortway.wire.validation import (
    Row,
    anything,
    fields,
    flag,
    options,
    several,
    text,
    whole,
    word,
)

_MIDI: Final = several(whole(0, 127), 1, MOST_NOTES)

PIN: Final[Mapping[str, Row]] = {
    "step": Row(whole(0, MAX_STEPS - 1), needed=True),
    "midi": Row(_MIDI),
    "family": Row(text),
    "form": Row(word(("A", "B"))),
    "top": Row(text),
}

FIELDS: Final[Mapping[str, Row]] = {
    "chart": Row(anything, needed=True),
    "setting": Row(options),
    "loop": Row(flag),
    "pins": Row(several(fields(PIN), 0, MAX_STEPS)),
    "start_from": Row(_MIDI),
    "alternatives": Row(whole(0, MOST_ALTERNATIVES)),
    "differs_in": Row(whole(1, MAX_STEPS)),
    "top_line": Row(word(TOP_LINES)),
}


def solved(request: Mapping[str, Any]) -> Path:
    """The path that a request asks for; its fields have been checked.

    Raises
    ------
    ShortwayError
        With pointers into the request.
    """
    chart = of_request(request).chart
    with phase(SEARCH):
        return solve.solve(
            chart,
            request.get("setting"),
            loop=request.get("loop", False),
            pins=request.get("pins", ()),
            start_from=request.get("start_from"),
            alternatives=request.get("alternatives", 0),
            differs_in=request.get("differs_in", 1),
            top_line=request.get("top_line", "free"),
        )
