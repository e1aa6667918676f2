"""What first requests would wait for, made before there are any: processes forked later share it.

Knows the solver, and the calls by their URLs.
"""

from typing import Final

from flask import Flask

from shortway.core.settings.presets import PRESETS
from shortway.core.solver import solve
from shortway.request_trace import internal_requests

#: Roots in fourths, as most chords move; their count and that of the types have no common factor.
_ROOTS: Final = ("C", "F", "Bb", "Eb", "Ab", "Db", "Gb", "B", "E", "A", "D", "G")
_TYPES: Final = (
    "m7", "7", "maj7", "m9", "13", "6", "m7b5", "7b9", "m6", "dim7", "9", "6/9", "7sus",
)  # fmt: skip
#: Types that are met in most charts, on one root or another: their templates fit all roots.
_RARER: Final = (
    "", "m", "7alt", "+7", "7#11", "maj7#11", "mMaj7", "7#9", "13b9", "9sus4", "maj9", "+", "sus4",
)  # fmt: skip
_STEPS: Final = (
    *(_ROOTS[n % len(_ROOTS)] + _TYPES[n % len(_TYPES)] for n in range(len(_ROOTS) * len(_TYPES))),
    *(root + kind for root, kind in zip(_ROOTS * 2, _RARER, strict=False)),
)
_CHART: Final = " | ".join(_STEPS)
#: Colours that the types take where the chart above does not lead to them: towards minor chords, as
#: substitutes, on the fourth degree.
_COLOURED: Final = (
    ("7", "b9 #9 b13"), ("7", "9 #11 13"), ("6", "9 #11"), ("m7", "11"), ("maj7", "9 #11 13"),
    ("dim", ""), ("7b9", "13"), ("7b9", "#11 13"), ("7#9", "b13"), ("m6", "9 11"), ("m", "9 11"),
    ("m", "6 9"), ("9", "b13"), ("9", "#11 13"), ("9sus4", "b13"), ("+7", "b9 #9"), ("7b5", "9"),
)  # fmt: skip
_COLOURS: Final = {
    "measures": [
        [{"symbol": f"C{kind}", "colours": colours.split()}] for kind, colours in _COLOURED
    ]
}
_SHORT: Final = {"chart": {"text": "| Dm7 | G7 | Cmaj7 |"}}


def warm_up() -> None:
    """Solve a chart of all these chords with every preset, and the rarer colours with none."""
    for preset in PRESETS:
        solve.solve(_CHART, {"preset": preset})
    solve.solve(_COLOURS)


def warm_up_calls(app: Flask) -> None:
    """Ask `app` for what loads a package or fills a table at its first call."""
    client = app.test_client()
    with internal_requests():
        client.post("/v1/paths", json={"chart": {"text": _CHART}, "loop": True})
        client.post("/v1/exercises", json=_SHORT)
        client.post("/v1/reviews", json=_SHORT | {"played": [[53, 60, 64], None, None]})
        for kind in ("audio/midi", "application/vnd.recordare.musicxml+xml"):
            client.post("/v1/scores", json=_SHORT, headers={"Accept": kind})
        client.get("/openapi.json", headers={"Accept-Encoding": "br"})
