"""Charts from elsewhere: files, examples, lead sheets, and the way back to the chart before."""

from __future__ import annotations

import json
from pathlib import Path

from selenium import webdriver
from selenium.webdriver.common.by import By
from selenium.webdriver.support.ui import Select

from browser.browsing import complaints, drop, press, rows, status, text, typed, wait

EXAMPLES = Path(__file__).parents[2] / "openapi/examples"


def value(page: webdriver.Chrome) -> str:
    return str(page.find_element(By.ID, "chart").get_property("value"))


def test_a_file_is_opened(page: webdriver.Chrome, tmp_path: Path) -> None:
    file = tmp_path / "two.json"
    file.write_text(json.dumps({"measures": [[{"symbol": "Fm7"}], [{"symbol": "Bb7"}]]}))
    page.find_element(By.ID, "file").send_keys(str(file))
    wait(page, lambda d: len(rows(d)) == 2 and "Fm7" in rows(d)[0].text)
    Select(page.find_element(By.ID, "example")).select_by_index(1)
    wait(page, lambda d: len(rows(d)) > 12)


def test_what_was_typed_comes_back(page: webdriver.Chrome) -> None:
    mine = "title: My Own\n| Fm7 | Bb7 |"
    typed(page, "chart", mine)
    example = Select(page.find_element(By.ID, "example"))
    example.select_by_index(1)
    wait(page, lambda d: len(rows(d)) > 12)
    drop(page, "chart", "other.txt", b"| C6 |")
    wait(page, lambda d: len(rows(d)) == 1)
    assert "Back to" in text(page, "chart-back")
    press(page, "chart-back")
    wait(page, lambda d: len(rows(d)) > 12)
    assert text(page, "chart-back") == "Back to My Own"
    press(page, "chart-back")
    wait(page, lambda d: len(rows(d)) == 2)
    assert value(page) == mine
    assert not page.find_element(By.ID, "chart-back").is_displayed()


def test_a_dropped_lead_sheet_is_asked_about_until_one_types(page: webdriver.Chrome) -> None:
    sheet = json.loads((EXAMPLES / "path-musicxml.json").read_text())["request"]["body"]["chart"]
    before, count = value(page), len(rows(page))
    drop(page, "chart", "sheet.musicxml", sheet["musicxml"].encode())
    wait(page, lambda d: "sheet.musicxml" in text(d, "sheet"))
    wait(page, lambda d: "; proven optimal" in status(d))
    assert value(page) == before
    assert len(rows(page)) != count
    page.find_element(By.ID, "chart").send_keys(" ")
    assert not page.find_element(By.ID, "sheet").is_displayed()
    assert text(page, "chart-back") == "Back to sheet.musicxml"
    press(page, "chart-back")
    wait(page, lambda d: "sheet.musicxml" in text(d, "sheet"))
    assert complaints(page) == []
