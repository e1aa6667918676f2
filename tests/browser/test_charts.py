"""Charts from elsewhere: files of every readable format, opened or dropped, and examples."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from selenium import webdriver
from selenium.webdriver.common.by import By

from browser.browsing import (
    chart,
    complaints,
    drop,
    marked,
    phase,
    press,
    ready,
    text,
    wait,
)
from browser.test_memory import kept

EXAMPLES = Path(__file__).parents[2] / "openapi/examples"

CHORDPRO = "{title: Tin Roof}\n| [Dm7]Rain on the | [G7]roof |\n"
ABC = 'X:1\nT:Tin Roof\nM:4/4\nL:1/4\nK:C\n"Dm7"d4|"G7"B4|"Cmaj7"c4|]\n'
ROMANTEXT = "Composer: nobody\nTime Signature: 4/4\nm1 C: I b3 V7\nm2 I\n"
LAB = "0.0 2.0 D:min7\n2.0 4.0 G:7\n4.0 6.0 C:maj7\n"
JSON = json.dumps({"measures": [[{"symbol": "Fm7"}], [{"symbol": "Bb7"}]]})


@pytest.mark.parametrize(
    ("name", "content", "words", "first"),
    [
        ("two.json", JSON, "", "Fm7"),
        ("roof.txt", "| Dm7 | G7 |\r\n| C6 |", "", "Dm7"),
        ("roof.cho", CHORDPRO, "Read as ChordPro.", "Dm7"),
        ("roof.abc", ABC, "Read as ABC.", "Dm7"),
        ("roof.rntxt", ROMANTEXT, "Read as RomanText.", "C"),
        ("roof.lab", LAB, "Read as a chord-and-time file.", "Dm7"),
    ],
)
def test_a_text_of_every_format_is_opened_and_edited(
    page: webdriver.Chrome, tmp_path: Path, name: str, content: str, words: str, first: str
) -> None:
    file = tmp_path / name
    file.write_text(content, newline="")
    page.find_element(By.ID, "file").send_keys(str(file))
    wait(page, lambda d: chart(d) == content.replace("\r\n", "\n"))
    ready(page)
    assert text(page, "now-symbol") == first
    assert text(page, "source").startswith(words)
    assert ("&format=" in kept(page)) == bool(words)
    page.refresh()
    ready(page)
    assert text(page, "now-symbol") == first
    if words:
        page.find_element(By.CSS_SELECTOR, "#source button").click()
        wait(page, lambda d: not d.find_element(By.ID, "source").is_displayed())
        press(page, "undo")
        ready(page)
    assert complaints(page) == []


def test_an_example_takes_the_charts_place_until_undo(page: webdriver.Chrome) -> None:
    before = chart(page)
    page.find_element(By.XPATH, "//summary[.='Examples']").click()
    page.find_elements(By.CSS_SELECTOR, "#examples button")[1].click()
    wait(page, lambda d: chart(d) != before)
    ready(page)
    assert not page.find_element(By.ID, "examples").is_displayed()
    press(page, "undo")
    ready(page)
    assert chart(page) == before


def test_a_dropped_lead_sheet_is_the_chart_until_one_types(page: webdriver.Chrome) -> None:
    sheet = json.loads((EXAMPLES / "path-musicxml.json").read_text())["request"]["body"]["chart"]
    before = text(page, "chart-status")
    drop(page, "view", "sheet.musicxml", sheet["musicxml"].encode())
    wait(page, lambda d: "sheet.musicxml" in text(d, "source"))
    ready(page)
    assert text(page, "chart-status") != before
    assert chart(page) == ""
    page.find_element(By.ID, "chart").send_keys("| C6 |")
    ready(page, 1)
    assert not page.find_element(By.ID, "source").is_displayed()
    press(page, "undo")
    wait(page, lambda d: "sheet.musicxml" in text(d, "source"))
    ready(page)
    assert complaints(page) == []


def test_a_fault_in_a_file_is_marked_in_its_text(page: webdriver.Chrome) -> None:
    drop(page, "editor", "roof.cho", b"{title: Tin Roof}\n[Dm7]Rain [Gq7]roof\n")
    wait(page, lambda d: phase(d) == "error")
    assert marked(page, "bad")
    assert "line 2" in text(page, "chart-problem")


def test_what_a_bar_is_without_bar_lines_is_asked(page: webdriver.Chrome) -> None:
    page.execute_script(
        "const box = document.getElementById('chart'); box.value = 'Dm7 G7\\nCmaj7';"
        "box.dispatchEvent(new Event('input'))"
    )
    wait(page, lambda d: phase(d) == "error")
    assert "measure_each" not in text(page, "chart-problem"), "buttons say it"
    page.find_element(By.XPATH, "//*[@id='chart-problem']/button[.='A bar for each line']").click()
    ready(page, 3)
    assert text(page, "chart-status").startswith("2 bars, 3 chords")
    press(page, "undo")
    wait(page, lambda d: phase(d) == "error")
    page.find_element(By.XPATH, "//*[@id='chart-problem']/button[.='A bar for each chord']").click()
    ready(page, 3)
    assert text(page, "chart-status").startswith("3 bars, 3 chords")
    assert "&each=symbol&" in kept(page)
