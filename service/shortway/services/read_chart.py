"""Charts of every form: texts, JSON, lead sheets.

Loads what reads scores only where one is given. A lead sheet becomes a chart and a `LeadSheet`,
which keeps its XML whole, so that a part can be added to it.
"""

from collections.abc import Callable, Mapping
from typing import Any, Final

from shortway.core import charts
from shortway.core.charts import MEASURE_EACH, Chart
from shortway.core.charts.headers import METER_EXPECTED, read_meter
from shortway.core.charts.json_values import require_object, require_word
from shortway.core.errors import (
    ChartError,
    SettingError,
    ShortwayError,
    UnknownField,
    WrongType,
    one_of,
    token,
)
from shortway.request_trace import PARSE, phase
from shortway.scores.chart_files.formats import DEFAULT_FORMAT, TEXT_FORMATS, read_text
from shortway.scores.leadsheet.model import ChartSource
from shortway.scores.sound import TEMPO

__all__ = ["ChartSource", "read_chart", "read_lead_sheet", "read_text_chart", "requested_chart"]

_TEMPO_EXPECTED: Final = "{} to {} quarter notes a minute".format(*TEMPO)
#: The forms of a lead sheet.
LEAD_SHEETS: Final = ("musicxml", "mxl")
#: The forms of a chart.
FORMS: Final = ("text", "measures", *LEAD_SHEETS)


def read_chart(value: object) -> ChartSource:
    """The chart that `value` writes.

    `value`: a chart that is read already, a text, or `ChartInputSchema`: exactly one of `FORMS`.

    Raises ChartError, BeatsError, SymbolError, TooLarge, SettingError with pointers relative to
    `value`.

    >>> read_chart("| Eb7 | Ab7 |").sheet is None
    True
    """
    if isinstance(value, ChartSource):
        return value
    if isinstance(value, Chart):
        return ChartSource(value)
    if isinstance(value, str):
        return read_text(value)
    if not isinstance(value, Mapping):
        return ChartSource(charts.parse_chart(value))
    forms = [form for form in FORMS if form in value]
    if len(forms) != 1:
        said = f"the chart is given as {' and as '.join(forms)}" if forms else "no chart is given"
        raise ChartError.at("", said, expected=f"exactly one of {one_of(FORMS)}")
    form = forms[0]
    if form == "measures":
        return ChartSource(charts.parse_chart(value))
    if form == "text":
        return _in_field("text", value, lambda text: read_text_chart(text, value))
    for name in value:
        if name != form:
            detail = f"no field stands beside {form}"
            raise UnknownField.at(token(name), detail, expected=f"{form} alone")
    decode = _decoded if form == "mxl" else str
    return _in_field(form, value, lambda given: read_lead_sheet(decode(given), form))


def _in_field(
    name: str, value: Mapping[str, object], read: Callable[[str], ChartSource]
) -> ChartSource:
    """The chart of a field that is a string; faults of the string are below its name."""
    given = value[name]
    if not isinstance(given, str):
        raise WrongType.at(f"/{name}", f"{name} must be a string", expected="a string")
    try:
        return read(given)
    except ShortwayError as error:
        raise error.under("" if error.faults[0].pointer else f"/{name}") from None


def read_text_chart(text: str, fields: Mapping[str, object]) -> ChartSource:
    """The chart of a text, with its ``text_format`` and the options of that.

    Raises ShortwayError with the pointer ``""`` where the text is wrong, else to the field.
    """
    text_format = fields.get("text_format", DEFAULT_FORMAT)
    detail = "this is not a format of a chart's text"
    text_format = require_word(text_format, [*TEXT_FORMATS], "/text_format", detail)
    form = TEXT_FORMATS[text_format]
    require_object(fields, ("text", "text_format", *form.options), "", form.title)
    options = {name: _OPTIONS[name](fields[name]) for name in form.options if name in fields}
    return read_text(text, text_format, **options)


def _measure_each(value: object) -> str:
    detail = "this is not what a measure can be"
    return require_word(value, MEASURE_EACH, "/measure_each", detail)


def _tempo(value: object) -> float:
    if isinstance(value, bool) or not isinstance(value, int | float):
        raise WrongType.at("/tempo", "tempo must be a number", expected=_TEMPO_EXPECTED)
    if not TEMPO[0] <= value <= TEMPO[1]:
        detail = f"the tempo {value:g} is out of range"
        raise SettingError.at("/tempo", detail, expected=_TEMPO_EXPECTED)
    return value


def _meter(value: object) -> tuple[int, int]:
    meter = read_meter(value) if isinstance(value, str) else None
    if meter is None:
        kind = SettingError if isinstance(value, str) else WrongType
        raise kind.at("/meter", "this is not a meter", expected=METER_EXPECTED)
    return meter


_OPTIONS: Final[Mapping[str, Callable[[object], Any]]] = {
    "measure_each": _measure_each, "tempo": _tempo, "meter": _meter,
}  # fmt: skip


def requested_chart(request: Mapping[str, object]) -> ChartSource:
    """The chart of a request's field ``chart``, and its lead sheet where it was given as one.

    Raises ShortwayError with pointers below ``/chart``.
    """
    try:
        with phase(PARSE):
            return read_chart(request["chart"])
    except ShortwayError as error:
        raise error.under("/chart") from None


def _decoded(given: str) -> bytes:
    from base64 import b64decode

    try:
        return b64decode("".join(given.split()), validate=True)
    except ValueError as error:
        detail = f"this is not base64: {error}"[:120]
        raise ChartError.at("", detail, expected="an .mxl file in base64") from None


def read_lead_sheet(document: str | bytes, kind: str) -> ChartSource:
    """The chart of a lead sheet of a kind of `LEAD_SHEETS`.

    Raises ChartError, BeatsError, SymbolError, TooLarge with the pointer ``""``.
    """
    from shortway.scores.leadsheet import reader
    from shortway.scores.leadsheet.document import mxl_reader, xml_parser

    if kind == "mxl":
        assert isinstance(document, bytes)
        document = mxl_reader.read_mxl(document)
    return reader.read_musicxml(xml_parser.parse_xml(document))
