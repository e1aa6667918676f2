"""A path through a chart.

Knows no field of the request but its chart and what an answer shows: every other one is an argument
of the core's `solve`.
"""

from collections.abc import Mapping
from typing import Any, Final

from shortway.core.solver import solve
from shortway.core.solver.results import Path
from shortway.request_trace import SEARCH, phase
from shortway.services.read_chart import requested_chart

#: Fields that are no arguments of the core's.
_OTHER: Final = ("chart", "id", "level")


def solve_path(request: Mapping[str, Any]) -> Path:
    """The path that a paths request asks for.

    `request`: the fields of `PathRequestSchema`, its chart in any form that `read_chart` takes.

    Raises ShortwayError with pointers into the request.
    """
    chart = requested_chart(request).chart
    options = {name: value for name, value in request.items() if name not in _OTHER}
    with phase(SEARCH):
        return solve.solve(chart, **options)
