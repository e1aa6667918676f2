"""Five tasks of a visitor with no pointer, and of one with a phone.

Write a chart, hear it, lock a chord, take an alternative, take the score home.
"""

from __future__ import annotations

import io
import re
from collections.abc import Callable
from pathlib import Path
from typing import Any

import mido
import pytest
from selenium import webdriver
from selenium.webdriver.common.action_chains import ActionChains
from selenium.webdriver.common.by import By
from selenium.webdriver.common.keys import Keys

from browser.browsing import at, complaints, content, cost, keys, phone, ready, shot, text, wait

CHART = "| Dm7 | G7 | Cmaj7 | A7 |"
Visitor = Callable[[webdriver.Chrome, str], None]
#: What has the focus, as people would name it.
_FOCUSED = """
const one = document.activeElement;
return [one.id, one.className, one.textContent.trim().slice(0, 40)].join(" ");
"""
#: A finger's tap in the middle of an element that is scrolled to first.
_PLACE = """
const one = document.querySelector(arguments[0]);
one.scrollIntoView({ block: "center" });
const { left, top, width, height } = one.getBoundingClientRect();
return [left + width / 2, top + height / 2];
"""
_STRUCK = """
window.struck = 0;
const start = OscillatorNode.prototype.start;
OscillatorNode.prototype.start = function (when) {
  window.struck += 1;
  return start.call(this, when);
};
"""


def tabbed_to(driver: webdriver.Chrome, css: str) -> None:
    """Move the focus by Tab alone until the element has it."""
    for _ in range(120):
        if driver.execute_script("return document.activeElement.matches(arguments[0])", css):
            return
        keys(driver, Keys.TAB)
    raise AssertionError(f"{css} is not reached by Tab; at {driver.execute_script(_FOCUSED)}")


def by_keys(driver: webdriver.Chrome, css: str) -> None:
    """What a visitor without a pointer does to press something."""
    tabbed_to(driver, css)
    keys(driver, Keys.SPACE if "input" in css else Keys.ENTER)


def by_finger(driver: webdriver.Chrome, css: str) -> None:
    """What a visitor with a phone does to press something."""
    x, y = driver.execute_script(_PLACE, css)
    for kind, points in (("touchStart", [{"x": x, "y": y}]), ("touchEnd", [])):
        driver.execute_cdp_cmd("Input.dispatchTouchEvent", {"type": kind, "touchPoints": points})


def five_tasks(page: webdriver.Chrome, act: Visitor, more: Callable[[], None]) -> None:
    """The tasks, each proven by what the page says after it."""
    page.execute_script(_STRUCK)
    # write a chart
    act(page, "#chart")
    ActionChains(page).key_down(Keys.CONTROL).send_keys("a").key_up(Keys.CONTROL).perform()
    keys(page, CHART)
    ready(page, 4)
    # hear it
    keys(page, Keys.ESCAPE)
    act(page, "#play")
    wait(page, lambda d: d.execute_script("return window.struck") >= 5)
    act(page, "#play")
    # lock a chord
    here = at(page)
    act(page, "#after")
    wait(page, lambda d: at(d) == here + 1)
    act(page, "#lock")
    wait(page, lambda d: d.find_element(By.ID, "lock").get_attribute("aria-pressed") == "true")
    ready(page)
    locked, before = at(page), content(page, "keyboard-title")
    # take an alternative
    act(page, "#after")
    wait(page, lambda d: at(d) == locked + 1)
    least = cost(page)
    act(page, "#swap")
    wait(page, lambda d: "Choosing one locks it" in text(d, "sheet-about"))
    cards = page.find_elements(By.CSS_SELECTOR, "#alternatives .card")
    more_costly = int(re.search(r"[+±−](\d+) on the path", cards[1].text)[1])  # type: ignore[index]
    act(page, "#alternatives li:nth-child(2) .card")
    wait(page, lambda d: "2 locked" in content(d, "locks-count"))
    ready(page)
    assert cost(page) == least + more_costly
    act(page, "#sheet-close")
    act(page, "#before")
    wait(page, lambda d: at(d) == locked)
    assert content(page, "keyboard-title") == before
    # take the score home
    more()
    act(page, "#export summary")
    act(page, "[data-export=MIDI]")
    file: Path = page.downloads / "voicings.mid"  # type: ignore[attr-defined]
    wait(page, lambda _: file.exists() and file.stat().st_size)
    score: Any = mido.MidiFile(file=io.BytesIO(file.read_bytes()))
    struck = sum(m.type == "note_on" and m.velocity > 0 for track in score.tracks for m in track)
    assert struck >= 10
    file.unlink()
    assert complaints(page) == []


def test_without_a_pointer(page: webdriver.Chrome) -> None:
    page.execute_script("document.body.focus()")
    five_tasks(page, by_keys, lambda: None)
    shot(page, "tasks-keys")


def test_with_single_keys(page: webdriver.Chrome) -> None:
    """The same by the list of shortcuts; switched off, they do nothing."""
    page.execute_script(_STRUCK)
    keys(page, "e")
    assert page.switch_to.active_element.get_attribute("id") == "chart"
    ActionChains(page).key_down(Keys.CONTROL).send_keys("a").key_up(Keys.CONTROL).perform()
    keys(page, CHART)
    ready(page, 4)
    keys(page, Keys.ESCAPE, "p")
    wait(page, lambda d: d.execute_script("return window.struck") >= 5)
    keys(page, "p")
    here = at(page)
    keys(page, ".", ".", ",", "l")
    wait(page, lambda d: d.find_element(By.ID, "lock").get_attribute("aria-pressed") == "true")
    assert at(page) == here + 1
    for key, name in zip("12345", ("lines", "staff", "keyboards", "table", "review"), strict=True):
        keys(page, key)
        tab = page.find_element(By.ID, f"tab-{name}")
        wait(page, lambda _, tab=tab: tab.get_attribute("aria-selected") == "true")
    keys(page, "a")
    wait(page, lambda d: d.find_elements(By.CSS_SELECTOR, "#alternatives .card"))
    keys(page, Keys.ESCAPE)
    assert not page.find_element(By.ID, "sheet").is_displayed()
    keys(page, "?")
    assert page.find_element(By.ID, "help").is_displayed()
    by_keys(page, "#help input")
    keys(page, Keys.ESCAPE, "1")
    assert page.find_element(By.ID, "tab-review").get_attribute("aria-selected") == "true"


def test_with_a_phone(page: webdriver.Chrome) -> None:
    with phone(page):
        five_tasks(page, by_finger, lambda: by_finger(page, "#more"))
        wide = page.execute_script("return document.documentElement.scrollWidth")
        assert wide <= 390
        shot(page, "tasks-phone")


@pytest.mark.parametrize("css", ["button", "summary", "select", "#tempo"])
def test_what_a_finger_presses_is_large_enough(page: webdriver.Chrome, css: str) -> None:
    """At least 24 px in both directions (WCAG 2.2, success criterion 2.5.8)."""
    with phone(page):
        by_finger(page, "#more")
        small = page.execute_script(
            "return [...document.querySelectorAll(arguments[0])].filter((one) => {"
            "  const { width, height } = one.getBoundingClientRect();"
            "  return width && (width < 24 || height < 24);"
            "}).map((one) => one.id || one.outerHTML)", css
        )  # fmt: skip
        assert small == []


def test_a_phone_says_the_position_and_the_cost(page: webdriver.Chrome) -> None:
    with phone(page):
        assert text(page, "total-now").split()[0].isdigit()
        assert "cost" in text(page, "total-now")
