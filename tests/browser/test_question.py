"""Writing a chart: solved while one types, dimmed until then, a fault marked at its character."""

from __future__ import annotations

import time

import pytest
from selenium import webdriver
from selenium.webdriver.common.by import By
from selenium.webdriver.common.keys import Keys

from browser.browsing import (
    chart,
    complaints,
    content,
    cost,
    keys,
    marked,
    phase,
    press,
    ready,
    solved,
    text,
    typed,
    wait,
)  # fmt: skip

#: Holds every answer to a path request back until `release()`, and counts them.
HOLD = """
const ask = window.fetch;
window.held = [];
window.fetch = async (path, how) => {
  if (path === "/v1/paths") await new Promise((go) => window.held.push(go));
  return ask(path, how);
};
"""
CHART = "title: Stairwell\nkey: C\n| Dm7 | G7 | Cmaj7 | A7 |"


def test_a_chart_is_answered_within_a_second_of_the_last_key(page: webdriver.Chrome) -> None:
    solved(page, CHART, 4)
    page.find_element(By.ID, "chart").send_keys(" Fmaj7 |")
    assert phase(page) in ("stale", "loading")
    begun = time.monotonic()
    ready(page, 5)
    assert time.monotonic() - begun < 1.35  # a pause of 0.35 s, and a second
    assert text(page, "chart-status").startswith("5 bars, 5 chords, in C · best path through ")
    assert content(page, "spoken").startswith("Path found: 5 chords, cost ")
    assert complaints(page) == []


def test_an_old_answer_is_never_shown_as_current(page: webdriver.Chrome) -> None:
    solved(page, CHART, 4)
    page.execute_script(HOLD)
    page.find_element(By.ID, "chart").send_keys(" Fmaj7 |")
    stage = page.find_element(By.ID, "stage")
    assert stage.get_attribute("aria-busy") == "true"
    assert text(page, "note") in ("The chart has changed", "Looking for the path")
    wait(page, lambda d: d.execute_script("return held.length") == 1)
    assert phase(page) == "loading"
    dim = page.find_element(By.ID, "now").value_of_css_property("opacity")
    assert float(dim) < 0.5
    page.find_element(By.ID, "chart").send_keys(" % |")
    wait(page, lambda d: d.execute_script("return held.length") == 2)
    page.execute_script("held[1](); setTimeout(held[0], 300)")  # the first answer comes too late
    ready(page, 6)
    time.sleep(0.6)
    ready(page, 6)
    assert stage.get_attribute("aria-busy") == "false"
    assert not page.find_element(By.ID, "note").is_displayed()


def test_the_same_text_again_needs_no_answer(page: webdriver.Chrome) -> None:
    solved(page, CHART, 4)
    page.execute_script(HOLD)
    page.find_element(By.ID, "chart").send_keys(" ", Keys.BACKSPACE)
    ready(page, 4)
    time.sleep(0.5)
    assert page.execute_script("return held.length") == 0


@pytest.mark.parametrize(
    ("written", "bad", "place", "words"),
    [
        ("| Dm7 | Hm7 |", ["Hm7"], "line 1, column 9", "Expected: "),
        ("key: C\n| Dm7 |\n| Gq7 C |", ["Gq7"], "line 3, column 4", "cannot read 'q'"),
        ("title: Über 𝄞\n| Dm7 | Gq7 |", ["Gq7"], "line 2, column 10", "cannot read 'q'"),
        ('{"measures": [[{"symbol" "Dm7"}]]}', None, "line 1, column 26", "cannot read the JSON"),
        ('{"measures": [[{"symbol": "Dm7"}, {"symbol": "G7x"}]]}', [], "", "measure 1, chord 2"),
    ],
)
def test_a_fault_is_marked_at_its_character(
    page: webdriver.Chrome, written: str, bad: list[str] | None, place: str, words: str
) -> None:
    solved(page, CHART, 4)
    page.execute_script(
        "const box = document.getElementById('chart'); box.value = arguments[0];"
        "box.dispatchEvent(new Event('input'))", written,
    )  # fmt: skip
    wait(page, lambda d: phase(d) == "error")
    problem = page.find_element(By.ID, "chart-problem")
    assert words in problem.text
    assert bad is None or marked(page, "bad") == bad
    assert page.find_element(By.ID, "chart").get_attribute("aria-invalid") == "true"
    assert text(page, "note") == "This is the answer to the chart before"
    if place:
        problem.find_element(By.TAG_NAME, "button").click()
        at = page.execute_script("return document.activeElement.selectionStart")
        before = written.encode("utf-16-le")[: 2 * at].decode("utf-16-le").split("\n")
        assert f"line {len(before)}, column {len(before[-1]) + 1}" == place
    assert chart(page) == written
    solved(page, "| C6 |", 1)
    assert not problem.is_displayed()
    assert marked(page, "bad") == []


def test_a_chord_in_the_chart_is_gone_to(page: webdriver.Chrome) -> None:
    solved(page, "|: Dm7 G7 | Cmaj7 :|", 6)
    assert marked(page, "here") == ["Dm7"]
    box = page.find_element(By.ID, "chart")
    for offset, place in ((8, 2), (8, 5), (8, 2), (4, 4)):  # a repeated chord: its next time
        page.execute_script("arguments[0].focus(); arguments[0].setSelectionRange(arguments[1],"
                            "arguments[1]); arguments[0].click()", box, offset)  # fmt: skip
        wait(page, lambda d, place=place: f"at={place}&" in d.current_url)
    assert marked(page, "here") == ["Dm7"]


def test_an_empty_chart_shows_the_signs(page: webdriver.Chrome) -> None:
    typed(page, "chart", "")
    page.find_element(By.ID, "chart").send_keys(" ", Keys.BACKSPACE)
    wait(page, lambda d: phase(d) == "empty")
    assert "| Dm7 / / G7 |" in text(page, "empty")
    assert not page.find_element(By.ID, "lock").is_displayed()
    wait(page, lambda d: d.find_elements(By.CSS_SELECTOR, "#first-examples button"))[0].click()
    ready(page)
    assert chart(page).startswith("title: ")


def test_keys_serve_outside_text_fields_alone(page: webdriver.Chrome) -> None:
    solved(page, "| Dm7 | G7 | Cmaj7 |", 3)
    before = cost(page)
    keys(page, "l", "a")
    assert chart(page).endswith("la")
    keys(page, Keys.BACKSPACE, Keys.BACKSPACE)
    ready(page, 3)
    keys(page, Keys.ESCAPE, "l")
    wait(page, lambda d: marked(d, "here") == marked(d, "here") and "lock=0:" in d.current_url)
    ready(page, 3)
    assert cost(page) == before
    keys(page, "4")
    wait(
        page, lambda d: d.find_element(By.ID, "tab-table").get_attribute("aria-selected") == "true"
    )
    keys(page, "?")
    assert page.find_element(By.ID, "help").is_displayed()
    press(page, "single-keys")
    keys(page, Keys.ESCAPE, Keys.ESCAPE, "1")
    assert page.find_element(By.ID, "tab-table").get_attribute("aria-selected") == "true"
    keys(page, "?")
    assert not page.find_element(By.ID, "help").is_displayed()


def test_a_link_to_a_chart_with_a_fault_shows_the_signs(page: webdriver.Chrome) -> None:
    solved(page, "| C6 |", 1)
    typed(page, "chart", "| Hm7 |")
    wait(page, lambda d: phase(d) == "error")
    time.sleep(0.5)
    page.refresh()
    wait(page, lambda d: phase(d) == "error")
    wait(page, lambda d: text(d, "empty").startswith("No answer yet"))
    assert marked(page, "bad") == ["Hm7"]
    solved(page, "| C6 |", 1)
    assert not page.find_element(By.ID, "empty").is_displayed()
