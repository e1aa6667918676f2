"""What calls cost beside the bare path, in processor time: ``python tests/bench/scores.py``.

Distinct charts like real ones, through the whole application and in turns, each call asked for all
kinds; exercises have eight measures in twelve keys. The engraver's process is counted, too. Each
kind is warm: charts before have met the same chords.
"""

from __future__ import annotations

import argparse
import sys
from collections import Counter
from collections.abc import Iterator
from itertools import islice
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).parents[1]))

from flask.testing import FlaskClient

from bench.batch import processor_seconds
from bench.realistic import charts
from bench.rows import row
from shortway.api import create_app
from shortway.garbage_collection import shorten_collections

SVG = "image/svg+xml"
#: Call, its URL, other fields, and what it answers with.
KINDS: tuple[tuple[str, str, dict[str, Any], str], ...] = (
    ("a path", "/v1/paths", {}, "application/json"),
    ("timed events", "/v1/performances", {}, "application/json"),
    ("a MIDI file", "/v1/scores", {}, "audio/midi"),
    ("MusicXML", "/v1/scores", {}, "application/vnd.recordare.musicxml+xml"),
    ("a picture of keyboards", "/v1/scores", {"show": {"picture": "keyboards"}}, SVG),
    ("a staff", "/v1/scores", {"show": {"picture": "staff"}}, SVG),
    ("a review", "/v1/reviews", {}, "application/json"),
    ("voicings of a chord", "/v1/voicings", {}, "application/json"),
    ("an exercise, eight measures in twelve keys", "/v1/exercises", {}, "application/json"),
)


def body(url: str, chart: dict[str, Any], path: dict[str, Any] | None) -> dict[str, Any]:
    """What is asked of a call about a chart; a review is of the path that was found."""
    if url == "/v1/voicings":
        return {"symbol": chart["measures"][0][0]["symbol"], "limit": 100}
    if url == "/v1/exercises":
        return {"chart": {**chart, "measures": chart["measures"][:8]}}
    if url == "/v1/reviews":
        return {"chart": chart, "played": [step["midi_notes"] for step in (path or {})["steps"]]}
    return {"chart": chart}


def asked(
    client: FlaskClient, drawn: Iterator[dict[str, Any]], count: int, spent: Counter[str]
) -> None:
    """Ask for everything about so many charts, each kind about one of its own."""
    for given in islice(drawn, count):
        path = client.post("/v1/paths", json={"chart": given, "level": "brief"}).get_json()
        for name, url, more, accept in KINDS:
            chart = next(drawn) if url not in ("/v1/reviews", "/v1/voicings") else given
            sent = body(url, chart, path) | more
            begin = processor_seconds()
            found = client.post(url, json=sent, headers={"Accept": accept})
            assert found.status_code == 200, found.get_data()[:300]
            spent[name] += processor_seconds() - begin


def main() -> None:
    """Print the rows."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--short", action="store_true")
    warm, count = (5, 12) if parser.parse_args().short else (40, 100)
    client, drawn, spent = create_app().test_client(), charts(21), Counter[str]()
    shorten_collections()
    asked(client, drawn, warm, Counter())
    asked(client, drawn, count, spent)
    bare = spent["a path"]
    for name, seconds in spent.items():
        figure = f"{seconds / count * 1e3:.1f} ms"
        if name == "a path":
            row("a path, whole answer in the application, warm", figure)
        else:
            row(
                f"… {name}",
                figure,
                f"a path: {bare / count * 1e3:.1f} ms; {seconds / bare:.1f} times",
            )


if __name__ == "__main__":
    main()
