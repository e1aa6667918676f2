"""PDF of the staff, read back by pypdf.

Sources: ISO 216 (A4: 210 mm by 297 mm) and ANSI/ASME Y14.1 (letter: 8.5 in by 11 in), at 72 points
an inch (ISO 32000). Without CairoSVG and the cairo library the reading tests are left out.
"""

from __future__ import annotations

import io
import sys
from typing import Any

import pytest

from shortway.api import create_app
from shortway.core.errors import FormatUnavailable
from shortway.scores.pictures import pdf
from shortway.services.write_score import write_score
from support import tunes

TUNE = "title: Lift to the Roof Bar\nkey: Eb\n[A] | Fm7 | Bb7b9 | Ebmaj7 | % |"
MM = 72 / 25.4


def written(chart: object, **show: str) -> Any:
    pypdf = pytest.importorskip("pypdf")
    pytest.importorskip("cairosvg", exc_type=OSError)
    data = write_score({"chart": chart, "show": show}, "pdf")[1]
    assert data == write_score({"chart": chart, "show": show}, "pdf")[1]
    return pypdf.PdfReader(io.BytesIO(data))


@pytest.mark.parametrize(
    ("paper", "size"), [("a4", (210 * MM, 297 * MM)), ("letter", (8.5 * 72, 11 * 72))]
)
def test_a_page_has_the_size_of_its_paper_and_says_what_it_is(
    paper: str, size: tuple[float, float]
) -> None:
    read = written({"text": TUNE}, paper=paper)
    (page,) = read.pages
    assert (float(page.mediabox.width), float(page.mediabox.height)) == pytest.approx(size, abs=0.1)
    assert read.metadata.title == "Lift to the Roof Bar"
    text = page.extract_text()
    assert "Lift to the Roof Bar" in text
    assert "= 120" in text


def test_a_long_chart_has_several_pages_with_numbers() -> None:
    chart = next(tunes.requests(1, 120))["chart"]
    pages = written(chart).pages
    assert len(pages) > 1
    for number, page in enumerate(pages, 1):
        assert page.extract_text().split()[-1] == str(number)


def test_where_the_package_is_missing_the_problem_names_it(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setitem(sys.modules, "cairocffi", None)
    pdf.load_cairo.cache_clear()
    with pytest.raises(FormatUnavailable):
        write_score({"chart": {"text": TUNE}}, "pdf")
    client = create_app().test_client()
    said = client.post("/v1/scores", json={"chart": {"text": TUNE}, "format": "pdf"})
    assert (said.status_code, said.get_json()["code"]) == (422, "format-unavailable")
    fault = said.get_json()["errors"][0]
    assert (fault["pointer"], "shortway[pdf]" in fault["expected"]) == ("/format", True)
    pdf.load_cairo.cache_clear()
