"""Charts of every form: texts, JSON, lead sheets.

Loads what reads scores only where one is given. A lead sheet becomes a chart and a `LeadSheet`,
which keeps its XML whole, so that a part can be added to it.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

from shortway.core import charts
from shortway.core.charts import Chart
from shortway.core.errors import ChartError, ShortwayError, UnknownField, WrongType, one_of, token
from shortway.request_trace import PARSE, phase
from shortway.scores.leadsheet.model import ChartSource

__all__ = ["ChartSource", "read_chart", "read_lead_sheet", "requested_chart"]

#: The forms of a lead sheet.
LEAD_SHEETS: Final = ("musicxml", "mxl")
#: The forms of a chart.
FORMS: Final = ("text", "measures", *LEAD_SHEETS)


def read_chart(value: object) -> ChartSource:
    """The chart that `value` writes.

    Parameters
    ----------
    value : str, mapping, Chart or ChartSource
        A chart that is read already, a text, or `ChartInputSchema`: exactly one of `FORMS`.

    Raises
    ------
    ChartError, BeatsError, SymbolError, TooLarge, SettingError
        With pointers relative to `value`.

    >>> read_chart("| Eb7 | Ab7 |").sheet is None
    True
    """
    if isinstance(value, ChartSource):
        return value
    if isinstance(value, Chart):
        return ChartSource(value)
    if not isinstance(value, Mapping):
        return ChartSource(charts.parse_chart(value))
    forms = [form for form in FORMS if form in value]
    if len(forms) != 1:
        said = f"the chart is given as {' and as '.join(forms)}" if forms else "no chart is given"
        raise ChartError.at("", said, expected=f"exactly one of {one_of(FORMS)}")
    form = forms[0]
    if form not in LEAD_SHEETS:
        return ChartSource(charts.parse_chart(value))
    for name in value:
        if name != form:
            detail = f"no field stands beside {form}"
            raise UnknownField.at(token(name), detail, expected=f"{form} alone")
    given = value[form]
    if not isinstance(given, str):
        raise WrongType.at(f"/{form}", f"{form} is a text", expected="a text")
    try:
        return _read(given if form == "musicxml" else _decoded(given), form)
    except ShortwayError as error:
        raise error.under(f"/{form}") from None


def requested_chart(request: Mapping[str, object]) -> ChartSource:
    """The chart of a request's field ``chart``, and its lead sheet where it was given as one.

    Raises
    ------
    ShortwayError
        With pointers below ``/chart``.
    """
    try:
        with phase(PARSE):
            return read_chart(request["chart"])
    except ShortwayError as error:
        raise error.under("/chart") from None


def read_lead_sheet(data: bytes, kind: str) -> ChartSource:
    """The chart of a lead sheet's bytes.

    Parameters
    ----------
    data : bytes
    kind : str
        One of `LEAD_SHEETS`.

    Raises
    ------
    ChartError, BeatsError, SymbolError, TooLarge
        With the pointer ``""``.
    """
    if kind not in LEAD_SHEETS:
        raise ValueError(f"not a kind of lead sheet: {kind!r}")
    return _read(data, kind)


def _decoded(given: str) -> bytes:
    from base64 import b64decode

    try:
        return b64decode("".join(given.split()), validate=True)
    except ValueError as error:
        detail = f"this is not base64: {error}"[:120]
        raise ChartError.at("", detail, expected="an .mxl file in base64") from None


def _read(document: str | bytes, kind: str) -> ChartSource:
    from shortway.scores.leadsheet import reader
    from shortway.scores.leadsheet.document import mxl_reader, xml_parser

    if kind == "mxl":
        assert isinstance(document, bytes)
        document = mxl_reader.read_mxl(document)
    return reader.read_musicxml(xml_parser.parse_xml(document))
