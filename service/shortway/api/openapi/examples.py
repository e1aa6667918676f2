"""Examples of every call, as requests: the OpenAPI document shows them with their responses.

Responses come from the running service (`openapi.openapi_document`), are stored under
openapi/examples, and are replayed by the tests. The charts are from the Saturday book of a
hotel-lobby quartet that never was.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Final

from shortway.wire.example_score import PACKED_SHEET, SHEET


@dataclass(frozen=True, slots=True)
class Example:
    """A request; `body` is sent as JSON, or as text where `kind` is another type."""

    name: str
    operation: str
    summary: str
    method: str
    path: str
    body: Any = None
    kind: str = "application/json"
    accept: str = "*/*"

    @property
    def text(self) -> bool:
        """Whether the body is sent as text."""
        return self.kind != "application/json"


_LIFT: Final = """title: Lift to the Roof Bar
key: Eb
|: Ebmaj7 | Cm7 | Fm7 Bb7 |1. Gm7 C7 :|2. Ebmaj7 |
"""

_CLOAKROOM: Final = {
    "title": "Cloakroom Waltz",
    "key": "Gm",
    "meter": "3/4",
    "measures": [
        [{"symbol": "Am7b5", "beats": 3}],
        [{"symbol": "D7b9", "beats": 2}, {"symbol": "D7", "beats": 1}],
        [{"symbol": "Gm6", "beats": 3}],
    ],
}

_CLOAKROOM_SUNG: Final = {
    "title": "Cloakroom Waltz, last four bars",
    "key": "Gm",
    "meter": "3/4",
    "measures": [
        [{"symbol": "Cm7", "melody": ["G5", "Eb5"]}],
        [{"symbol": "D7b9", "melody": ["F#5"], "ceiling": "E5"}],
        [{"symbol": "Gm6", "melody": ["G5"]}],
        [{"symbol": "Gm6"}],
    ],
}

_BATCH: Final = """{"id": "monday-1", "chart": "| Fm7 | Bb7 |", "setting": {"hands": "left"}}
{"id": "monday-2", "chart": "| Fm7 | Bbq7 |"}
{"id": "monday-3", "chart": "| Ebmaj7 |"}
"""

#: A MIDI file: Ab3 C4 Eb4 G4, and Ab3 C4 D4 G4 an eighth note before the second measure.
_RECORDED: Final = (
    "TVRoZAAAAAYAAAABAGBNVHJrAAAANwCQOEAAPEAAP0AAQ0CCLDgAADwAAD8AAEMAJDhAADxAAD5AAENAgwA4AAA8AAA+AABD"
    "AAD/LwA="
)

EXAMPLES: Final = (
    Example(
        "chord", "getChord", "A half-diminished chord over its seventh",
        "GET", "/v1/chords?symbol=Abm7b5/Gb",
    ),
    Example(
        "chord-unreadable", "getChord", "A symbol that cannot be read",
        "GET", "/v1/chords?symbol=Abq7",
    ),
    Example(
        "chords", "readChords", "Three symbols, one of them unreadable",
        "POST", "/v1/chords", {"symbols": ["Eb7", "Xm7", "F#m7(b5)"]},
    ),
    Example(
        "chords-wrong-type", "readChords", "A symbol that is not a string",
        "POST", "/v1/chords", {"symbols": ["Eb7", 7]},
    ),
    Example("families", "listFamilies", "The whole table", "GET", "/v1/families"),
    Example("rhythms", "listRhythms", "All patterns", "GET", "/v1/rhythms"),
    Example("settings", "listSettings", "All presets", "GET", "/v1/settings"),
    Example("prices", "listPrices", "The whole table", "GET", "/v1/prices"),
    Example(
        "voicings", "listVoicings", "The least costly two voicings after a sounding one",
        "POST", "/v1/voicings",
        {
            "symbol": "Bb7",
            "setting": {"families": ["guide-tone-extended"]},
            "after": [56, 63, 67, 72, 77],
            "limit": 2,
        },
    ),
    Example(
        "voicings-melody", "listVoicings", "The nearest voicings under a melody note",
        "POST", "/v1/voicings",
        {"symbol": "Bb7", "melody": ["D5"], "ceiling": "D5", "limit": 2},
    ),
    Example(
        "voicings-unknown-field", "listVoicings", "An unknown field",
        "POST", "/v1/voicings", {"symbol": "Bb7", "hands": "left"},
    ),
    Example("chart-text", "readChart", "A text chart with two endings", "POST", "/v1/charts",
            _LIFT, kind="text/plain"),
    Example("chart-json", "readChart", "A waltz in the JSON form", "POST", "/v1/charts",
            _CLOAKROOM),
    Example("chart-musicxml", "readChart", "A lead sheet with a melody", "POST", "/v1/charts",
            SHEET, kind="application/vnd.recordare.musicxml+xml"),
    Example("chart-mxl", "readChart", "The same, compressed, in base64", "POST", "/v1/charts",
            {"mxl": PACKED_SHEET}),
    Example(
        "chart-no-harmony", "readChart", "A lead sheet without chords", "POST", "/v1/charts",
        {"musicxml": "<score-partwise><part id='P1'><measure number='1'/></part></score-partwise>"},
    ),
    Example(
        "chart-beats", "readChart", "A measure with too many beats",
        "POST", "/v1/charts",
        {"measures": [[{"symbol": "Fm7", "beats": 3}, {"symbol": "Bb7", "beats": 2}]]},
    ),
    Example(
        "path", "findPath", "Four measures, two hands and a bass player",
        "POST", "/v1/paths",
        {
            "chart": "key: Eb\n| Fm7 | Bb7 | Ebmaj7 | % |",
            "setting": {"families": ["guide-tone-extended"], "reach": "ninth"},
        },
    ),
    Example("path-musicxml", "findPath", "Through a lead sheet", "POST", "/v1/paths",
            {"chart": {"musicxml": SHEET}, "setting": {"hands": "left"}}),
    Example(
        "path-loop", "findPath", "The left hand alone, as a loop that begins in form A",
        "POST", "/v1/paths",
        {
            "chart": "| Ebmaj7 C7 | Fm7 Bb7 |",
            "setting": {"hands": "left"},
            "loop": True,
            "pins": [{"step": 0, "form": "A"}],
        },
    ),
    Example(
        "path-alternatives", "findPath", "Every playable voicing of four notes, and two more paths",
        "POST", "/v1/paths",
        {
            "chart": "| Fm7 Bb7 | Ebmaj7 |",
            "setting": {"families": ["any-playable"], "notes": 4},
            "alternatives": 2,
            "differs_in": 2,
        },
    ),
    Example(
        "path-pin-unplayable", "findPath", "A pin that cannot be played",
        "POST", "/v1/paths",
        {"chart": "| Fm7 | Bb7 |", "pins": [{"step": 1, "top": "C2"}]},
    ),
    Example(
        "path-melody", "findPath", "Under a melody, with the top voice held",
        "POST", "/v1/paths",
        {"chart": _CLOAKROOM_SUNG, "top_line": "hold"},
    ),
    Example(
        "path-melody-unplayable", "findPath", "A ceiling below every voicing",
        "POST", "/v1/paths",
        {"chart": {"measures": [[{"symbol": "Am7b5", "ceiling": "C4"}]]}},
    ),
    Example(
        "batch", "findPaths", "Two charts, an invalid line between them", "POST", "/v1/batches",
        _BATCH,
        kind="application/jsonl",
    ),
    Example(
        "batch-ndjson", "findPaths", "The other name of the same type", "POST", "/v1/batches",
        _BATCH.splitlines()[0] + "\n", kind="application/x-ndjson",
    ),
    Example(
        "batch-wrong-type", "findPaths", "A body that is not JSON Lines",
        "POST", "/v1/batches", [{"id": "monday-1", "chart": "| Fm7 | Bb7 |"}],
    ),
    Example(
        "review", "reviewPlaying", "A missing seventh, a note a half step off, a silent measure",
        "POST", "/v1/reviews",
        {
            "chart": "key: Eb\n| Fm7 | Bb7 | Ebmaj7 | % |",
            "played": [
                ["Ab3", "C4", "Eb4", "G4"],
                ["C4", "D4", "G4"],
                ["G3", "Bb3", "D4", "E4"],
                None,
            ],
            "setting": {"hands": "left"},
        },
    ),
    Example(
        "review-midi", "reviewPlaying", "A MIDI file of two measures, the second anticipated",
        "POST", "/v1/reviews",
        {
            "chart": "| Fm7 | Bb7 |",
            "midi": _RECORDED,
            "align": {"start": 0, "early": 0.5},
            "setting": {"hands": "left"},
        },
    ),
    Example(
        "review-too-few", "reviewPlaying", "Fewer steps than the chart has",
        "POST", "/v1/reviews", {"chart": "| Fm7 | Bb7 |", "played": [["Ab3", "C4", "Eb4"]]},
    ),
    Example(
        "exercise", "writeExercise", "A cadence in three keys, the left hand alone",
        "POST", "/v1/exercises",
        {
            "chart": "| Fm7 Bb7 | Ebmaj7 |",
            "way": ["Eb", "Db", "B"],
            "setting": {"families": ["guide-tone"]},
        },
    ),
    Example(
        "exercise-unknown-way", "writeExercise", "An unknown order of keys",
        "POST", "/v1/exercises", {"chart": "| Fm7 Bb7 | Ebmaj7 |", "way": "sixths"},
    ),
    Example(
        "score", "writeScore", "A waltz as MusicXML, with each note's degree",
        "POST", "/v1/scores",
        {
            "chart": _CLOAKROOM,
            "setting": {"families": ["guide-tone-extended"]},
            "tempo": 96,
            "show": {"degrees": True},
        },
    ),
    Example(
        "score-picture", "writeScore", "The same as a picture, its voices as lines",
        "POST", "/v1/scores",
        {
            "chart": _CLOAKROOM,
            "setting": {"families": ["guide-tone-extended"]},
            "show": {"picture": "lines", "width": 480},
        },
        accept="image/svg+xml",
    ),
    Example(
        "score-tempo", "writeScore", "A tempo out of range",
        "POST", "/v1/scores", {"chart": "| Fm7 | Bb7 |", "tempo": 4000},
    ),
    Example("health", "getHealth", "Alive", "GET", "/healthz"),
    Example("readiness", "getReadiness", "Ready", "GET", "/readyz"),
)  # fmt: skip
