"""A deprecated call says so: RFC 9745 (Deprecation, a structured date), RFC 8594 (Sunset)."""

from __future__ import annotations

from datetime import date
from email.utils import parsedate_to_datetime

import pytest

from shortway.api import create_app
from shortway.api.http.deprecation import DEPRECATED, Deprecation
from shortway.api.openapi.openapi_document import build_document


def test_one_row_marks_the_document_and_every_response(monkeypatch: pytest.MonkeyPatch) -> None:
    row = Deprecation(since=date(2023, 6, 30), sunset=date(2024, 6, 30))
    monkeypatch.setitem(DEPRECATED, "listRhythms", row)
    app = create_app()
    client = app.test_client()
    for answer in (client.get("/v1/rhythms"), client.get("/v1/rhythms", headers={"Accept": "a/b"})):
        # RFC 9745's own example: @1688169599 is 2023-06-30 at 23:59:59
        assert answer.headers["Deprecation"] == f"@{1688169599 - 86399}"
        assert parsedate_to_datetime(answer.headers["Sunset"]).date() == row.sunset
        assert 'rel="deprecation"' in answer.headers["Link"]
    assert "Deprecation" not in client.get("/v1/families").headers
    paths = build_document(app)["paths"]
    marked = [path for path, item in paths.items() for of in item.values() if of.get("deprecated")]
    assert marked == ["/v1/rhythms"]
    headers = paths["/v1/rhythms"]["get"]["responses"]["200"]["headers"]
    assert {"Deprecation", "Sunset", "Link"} <= set(headers)


def test_nothing_is_deprecated_that_has_no_sunset_after_it() -> None:
    assert all(row.sunset >= row.since for row in DEPRECATED.values())
