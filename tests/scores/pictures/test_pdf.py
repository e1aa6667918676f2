"""PDF of the staff, read back by pypdf.

Sources: ISO 216 (A4: 210 mm by 297 mm) and ANSI/ASME Y14.1 (letter: 8.5 in by 11 in), at 72 points
an inch (ISO 32000). Without CairoSVG and the cairo library the reading tests are left out.
"""

from __future__ import annotations

import io
import re
import sys
from itertools import pairwise
from typing import Any
from xml.etree import ElementTree
from xml.etree.ElementTree import Element

import pytest

from shortway.api import create_app
from shortway.core.charts import Chart, parse_chart
from shortway.core.errors import FormatUnavailable
from shortway.core.exercises.exercise import exercise
from shortway.core.rhythm.rhythm import parse_rhythm
from shortway.core.solver.solve import solve
from shortway.scores.display import ScoreDisplay
from shortway.scores.notation.model import build_score
from shortway.scores.pictures import pdf
from shortway.scores.pictures.score_pages import draw_pages
from shortway.services.read_chart import requested_chart
from shortway.services.write_score import write_score
from shortway.wire.example_score import SHEET
from support import tunes

TUNE = "title: Lift to the Roof Bar\nkey: Eb\n[A] | Fm7 | Bb7b9 | Ebmaj7 | % |"
MM = 72 / 25.4
SVG = "{http://www.w3.org/2000/svg}"


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


def drawn(chart: Chart, paper: str) -> list[Element]:
    score = build_score(chart, solve(chart), show=ScoreDisplay(paper=paper))
    return [ElementTree.fromstring(page) for page in draw_pages(score)]


def placed(page: Element) -> list[tuple[float, float]]:
    """Where each system stands on a page, in mm: its upper and lower staff line."""
    (view,) = page.findall(f"{SVG}svg")
    scale = float(view.get("width", 0)) / float(view.get("viewBox", "").split()[2])
    found = []
    for group in view.findall(f"{SVG}g/{SVG}g"):
        moved = float(group.get("transform", "").removesuffix(")").split()[1])
        paths = [path.get("d", "") for path in group.iter(f"{SVG}path")]
        lines = [float(y[1]) for d in paths if (y := re.fullmatch(r"M\S+ (\S+) L\S+ \1", d))]
        ends = min(lines), max(lines)
        top, bottom = (float(view.get("y", 0)) + (y + moved) * scale for y in ends)
        found.append((top, bottom))
    return found


#: AABA of 32 measures: eight systems of four.
AABA = "\n".join(f"[{name}] Ebmaj7|Cm7|Fm7|Bb7|Gm7 C7b9|Fm7 Bb7|Eb6|Bb7" for name in "ABCD")


@pytest.mark.parametrize(("paper", "height"), [("a4", 297.0), ("letter", 279.4)])
def test_pages_have_as_many_systems_each_and_the_same_distances(paper: str, height: float) -> None:
    # common practice, no source: no page is nearly empty, no system leaves its page
    pages = [placed(page) for page in drawn(parse_chart(AABA), paper)]
    assert [len(systems) for systems in pages] == [4, 4]
    for systems in pages:
        assert all(20 < top < bottom < height - 16 for top, bottom in systems)
        assert systems[-1][1] > height * 0.6  # the page is used
        gaps = [b[0] - a[1] for a, b in pairwise(systems)]
        assert all(gap > 15 for gap in gaps)


def test_each_key_of_an_exercise_begins_a_page_under_its_name() -> None:
    found = exercise("| Dm7 | G7 | Cmaj7 | % |", keys=["C", "Eb", "F#"])
    score = build_score(found.chart, found.path, show=ScoreDisplay(page_breaks="sections"))
    pages = [ElementTree.fromstring(page) for page in draw_pages(score)]
    names = [{g.get("data-text") for g in page.iter(f"{SVG}g")} for page in pages]
    assert len(pages) == 3
    assert all(name in page for name, page in zip(("C", "E♭", "F♯"), names, strict=True))


def test_swing_stands_in_the_heading_of_a_lead_sheet() -> None:
    # common practice, no source: a mark of tempo or style is over the upper staff, here the melody
    reading = requested_chart({"chart": {"musicxml": SHEET}})
    rhythm = parse_rhythm({"swing": 2})
    path = solve(reading.chart)
    (page,) = draw_pages(build_score(reading.chart, path, sheet=reading.sheet, rhythm=rhythm))
    texts = [t for t in ElementTree.fromstring(page).iter(f"{SVG}text") if t.text == "Swing"]
    assert [float(text.get("y", 0)) < 25 for text in texts] == [True]


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
