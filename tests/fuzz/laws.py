"""What holds of every input whatsoever: the laws that fuzzing tries to break.

A law is a call that takes bytes. It returns None, or raises `Broken`, or lets through what the
reader should never have raised. Common practice, no source: a reader refuses or reads, says where,
and what it has read can be written and read again.
"""

from __future__ import annotations

import io
import json
from collections.abc import Callable, Mapping
from functools import cache
from typing import Any, Final
from zipfile import ZIP_DEFLATED, ZipFile

from flask.testing import FlaskClient

from shortway.api import create_app
from shortway.batch import stream
from shortway.core import charts
from shortway.core.charts import MAX_STEPS, Chart
from shortway.core.errors import (
    BeatsError,
    ChartError,
    Fault,
    MidiError,
    ShortwayError,
    SymbolError,
)
from shortway.core.symbols import parser as symbols
from shortway.scores.chart_files.formats import read_text
from shortway.scores.midi.performance import align_performance
from shortway.scores.midi.reader import read_midi
from shortway.services import read_chart as sheets
from shortway.wire.problems import problem_json
from shortway.wire.serializers.chords import chord_json
from shortway.wire.strict_json import NotJson, read_json

Law = Callable[[bytes], None]

#: Steps of a chart that is solved or made into music here; a longer one is read alone.
FEW: Final = 6
#: Cuts a fuzzed archive into its container and its score.
CUT: Final = b"\n--\n"
#: The calls that take JSON; the first byte of an input chooses.
CALLS: Final = ("chords", "voicings", "charts", "paths", "reviews", "scores", "exercises")
_PERFORMED: Final = charts.parse_chart("| Fm7 | Bb7 | Ebmaj7 | % |")


class Broken(AssertionError):
    """A law that does not hold."""


def hold(condition: object, what: str) -> None:
    """Raise `Broken` unless `condition`; plain asserts would be gone under ``-O``."""
    if not condition:
        raise Broken(what)


# --- readers of the core -----------------------------------------------------------------------


def symbol(data: bytes) -> None:
    """A symbol is read, and reads back from its own name, or is refused with a position in it."""
    text = data.decode("utf-8", "surrogateescape")
    try:
        chord = symbols.parse(text)
    except SymbolError as error:
        return _inside(error, text)
    again = symbols.parse(chord.name)
    hold(again == chord, f"{chord.name!r} reads back as another chord")
    hold(again.name == chord.name, f"{chord.name!r} reads back as {again.name!r}")
    json.dumps(chord_json(chord))
    return None


def chart_text(data: bytes) -> None:
    """A text is read, and reads back from both forms, or is refused with a position in it."""
    text = data.decode("utf-8", "surrogateescape")
    try:
        chart = charts.parse_text_chart(text)
    except ShortwayError as error:
        return _inside(error, text)
    _written_back(chart)
    try:
        again = charts.parse_text_chart(charts.chart_text(chart))
    except ChartError:
        return None
    return hold(again == chart, "the text form reads back as another chart")


def _in_format(text_format: str, **options: Any) -> Law:
    def law(data: bytes) -> None:
        text = data.decode("utf-8", "surrogateescape")
        try:
            chart = read_text(text, text_format, **options).chart
        except ShortwayError as error:
            for fault in error.faults:
                hold((fault.position is None) == (fault.line is None), "a place without a line")
                lines = len(text.splitlines()) + 1
                hold(fault.line is None or 1 <= fault.line <= lines, "a line outside the text")
            return _inside(error, text)
        return _written_back(chart)

    law.__doc__ = "A text is read, and reads back as JSON, or is refused at a place in it."
    return law


chordpro = _in_format("chordpro", measure_each="symbol")
lab = _in_format("lab")
abc = _in_format("abc")
romantext = _in_format("romantext")


def chart_json(data: bytes) -> None:
    """A JSON chart is read, and reads back, or is refused with a pointer to what is there."""
    value = _json(data)
    try:
        chart = sheets.read_chart(value).chart
    except ShortwayError as error:
        return _inside(error, value)
    return _written_back(chart)


def _written_back(chart: Chart) -> None:
    again = charts.parse_json_chart(json.loads(json.dumps(charts.chart_json(chart))))
    hold(again == chart, "the JSON form reads back as another chart")
    hold(len(charts.unroll(chart)) <= MAX_STEPS, "the chart is longer than any may be")


# --- lead sheets and performances --------------------------------------------------------------


def musicxml(data: bytes) -> None:
    """A sheet is read as a chart that reads back; a short one gets its part, its chords stay."""
    _sheet(data, "musicxml")


def mxl(data: bytes) -> None:
    """The same for archives: the bytes themselves, and what they say packed as an archive."""
    _sheet(data, "mxl")
    container, cut, score = data.partition(CUT)
    if cut:
        _sheet(_packed(container, score), "mxl")


def _packed(container: bytes, score: bytes) -> bytes:
    held = io.BytesIO()
    with ZipFile(held, "w", ZIP_DEFLATED) as archive:
        archive.writestr("META-INF/container.xml", container)
        archive.writestr("score.musicxml", score)
    return held.getvalue()


def _sheet(data: bytes, kind: str) -> None:
    try:
        chart = sheets.read_lead_sheet(data, kind).chart
    except ShortwayError as error:
        return _inside(error, data)
    _written_back(chart)
    if len(charts.unroll(chart)) <= FEW and kind == "musicxml":
        _with_its_part(data, chart)
    return None


def _with_its_part(data: bytes, chart: Chart) -> None:
    """The sheet with a piano part is a sheet again, and plays the same chords."""
    from shortway.services.write_score import write_score

    try:
        text = data.decode()
    except UnicodeDecodeError:
        return None
    try:
        _, score = write_score({"chart": {"musicxml": text}}, "musicxml")
    except ShortwayError as error:
        return _inside(error, {"chart": {"musicxml": text}})
    try:
        again = sheets.read_lead_sheet(score, "musicxml").chart
    except BeatsError:
        # a last measure of no meter's length, which written out stands before another
        return hold(len(chart.order) > len(chart.measures), "what was written cannot be read")
    played = [step.chord for step in charts.unroll(again)]
    return hold(played == [step.chord for step in charts.unroll(chart)], "other chords are played")


def midi(data: bytes) -> None:
    """A file is read, its notes in order and none ending before it begins, or refused."""
    try:
        notes = read_midi(data).notes
    except MidiError as error:
        return _inside(error, data)
    hold(list(notes) == sorted(notes, key=lambda note: note.onset), "the notes are out of order")
    hold(all(0 <= note.onset <= note.end for note in notes), "a note ends before it begins")
    try:
        align_performance(_PERFORMED, data)
    except MidiError as error:
        _inside(error, data)


# --- JSON: lines and bodies --------------------------------------------------------------------


def json_lines(data: bytes) -> None:
    """Every line that is not blank has one answer, in order, wherever the body is cut."""
    cut = data[0] % 61 + 1 if data else 1
    pieces = [data[k : k + cut] for k in range(0, len(data), cut)]
    said = list(stream.answer_stream(pieces))
    given = [(n, line) for n, line in enumerate(data.split(b"\n"), 1) if line.strip()]
    hold(len(said) == len(given), f"{len(given)} lines, {len(said)} answers")
    for (number, line), answer in zip(given, said, strict=True):
        _line_answered(number, line, answer)
    list(stream.answer_stream(_until_broken(data)))


def _line_answered(number: int, line: bytes, answer: bytes) -> None:
    told = json.loads(answer)
    hold(answer.endswith(b"\n") and answer.count(b"\n") == 1, "an answer is not one line")
    hold(set(told) == {"id", "line", "path", "problem"}, "an answer of other fields")
    hold(told["line"] == number, "an answer names another line")
    hold((told["path"] is None) != (told["problem"] is None), "not one of path and problem")
    if (problem := told["problem"]) is None:
        return None
    hold(problem["status"] < 500, f"{problem['code']} in {line[:60]!r}")
    faults = [Fault(f["pointer"], f["detail"], f.get("position")) for f in problem["errors"]]
    return _faults_inside(faults, _json_or_none(line))


def _until_broken(data: bytes) -> Any:
    """`data` as a packed body, whole or not."""
    return stream.decompress(iter([data]))


def body(data: bytes) -> None:
    """Whatever body is sent, the answer is one of the document's and no fault of the service."""
    if not data:
        return
    call = CALLS[data[0] % len(CALLS)]
    answer = _client().post(f"/v1/{call}", data=data[1:], content_type="application/json")
    hold(answer.status_code < 500, f"{answer.status_code} from {call}")
    if answer.status_code == 200:
        return
    hold(answer.mimetype == "application/problem+json", f"a refusal as {answer.mimetype}")
    problem = json.loads(answer.data)
    faults = [Fault(f["pointer"], f["detail"], f.get("position")) for f in problem["errors"]]
    _faults_inside(faults, _json_or_none(data[1:]))


@cache
def _client() -> FlaskClient:
    app = create_app()
    app.extensions["shortway-answers"].budget = 0
    return app.test_client()


def _json(data: bytes) -> Any:
    """The JSON value, or null: what is none is refused, which is a law of its own here."""
    try:
        return read_json(data)
    except NotJson as error:
        position = error.fault.position
        hold(position is None or 0 <= position <= len(data), "a position outside the JSON")
        return None


def _json_or_none(data: bytes) -> Any:
    try:
        return read_json(data)
    except NotJson:
        return data


# --- where it is wrong -------------------------------------------------------------------------


def _inside(error: ShortwayError, given: object) -> None:
    """Every fault of `error` has words and lies in what was given."""
    hold(error.faults and error.detail, "an error without words")
    json.dumps(problem_json(error), ensure_ascii=False)
    _faults_inside(error.faults, given)


def _faults_inside(faults: Any, given: object) -> None:
    for fault in faults:
        hold(fault.detail, f"a fault without words at {fault.pointer!r}")
        place = _at(fault.pointer, given)
        if fault.position is not None and isinstance(place, str | bytes):
            where = f"position {fault.position} of {len(place)} at {fault.pointer!r}"
            hold(0 <= fault.position <= len(place), where)


def _at(pointer: str, given: object) -> object:
    """What stands at a pointer; a last step may be missing, for that is what can be wrong."""
    steps = [step.replace("~1", "/").replace("~0", "~") for step in pointer.split("/")[1:]]
    here = given
    for k, step in enumerate(steps):
        if isinstance(here, Mapping):
            found = next((name for name in here if name[:80] == step or name == step), None)
            if found is None:
                hold(k == len(steps) - 1, f"{pointer!r} leads nowhere")
                return None
            here = here[found]
        elif isinstance(here, list):
            hold(step.isdigit() and int(step) < len(here), f"{pointer!r} leads out of a list")
            here = here[int(step)]
        else:
            raise Broken(f"{pointer!r} leads into {type(here).__name__}")
    return here


#: Every law, with the greatest input that fuzzing tries it with.
LAWS: Final[Mapping[str, tuple[Law, int]]] = {
    "symbol": (symbol, 80),
    "chart_text": (chart_text, 2048),
    "chart_json": (chart_json, 4096),
    "chordpro": (chordpro, 1024),
    "lab": (lab, 1024),
    "abc": (abc, 512),
    "romantext": (romantext, 512),
    "musicxml": (musicxml, 8192),
    "mxl": (mxl, 8192),
    "midi": (midi, 2048),
    "json_lines": (json_lines, 4096),
    "body": (body, 2048),
}
