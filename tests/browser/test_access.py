"""For everybody: the page judged by axe-core in every state, on a phone, from one host."""

from __future__ import annotations

import time
from collections.abc import Callable
from urllib.parse import urlsplit

import pytest
from selenium import webdriver
from selenium.webdriver.common.by import By
from selenium.webdriver.common.keys import Keys

from browser.browsing import (
    COLOURS,
    asked,
    complaints,
    hosts,
    keys,
    media,
    phase,
    phone,
    press,
    ready,
    shot,
    solved,
    text,
    typed,
    view,
    violations,
    wait,
)  # fmt: skip

NARROW = 320
CHART = "title: Third Shelf Down\nkey: F\n| F6 | Bb9 | F6 Gm7 | Cm7 F7 |"
#: Holds every path back, so that the page waits for it.
_HOLD = """
const ask = window.fetch;
window.fetch = (path, how) => (path === "/v1/paths" ? new Promise(() => {}) : ask(path, how));
"""


def at_rest(page: webdriver.Chrome) -> None:
    solved(page, CHART, 6)


def empty(page: webdriver.Chrome) -> None:
    typed(page, "chart", " ")
    wait(page, lambda d: phase(d) == "empty")


def loading(page: webdriver.Chrome) -> None:
    page.execute_script(_HOLD)
    typed(page, "chart", CHART + "\n| G7 |")
    wait(page, lambda d: phase(d) == "loading")


def faulty(page: webdriver.Chrome) -> None:
    typed(page, "chart", CHART.replace("Cm7", "Cq7"))
    wait(page, lambda d: phase(d) == "error")


def alternatives(page: webdriver.Chrome) -> None:
    at_rest(page)
    press(page, "lock")
    ready(page)
    press(page, "swap")
    wait(page, lambda d: d.find_elements(By.CSS_SELECTOR, "#alternatives .card"))


def menus(page: webdriver.Chrome) -> None:
    """The cost's parts, setting details and prices, keys, the list of shortcuts closed again."""
    at_rest(page)
    press(page, "total-now")
    for fold in page.find_elements(By.CSS_SELECTOR, "details.fold > summary"):
        fold.click()
        time.sleep(0.2)


def exercise(page: webdriver.Chrome) -> None:
    at_rest(page)
    page.find_elements(By.CSS_SELECTOR, "details.fold > summary")[1].click()
    press(page, "practise")
    ready(page, 72)


def more(page: webdriver.Chrome) -> None:
    """On a phone: the rest of the player."""
    at_rest(page)
    press(page, "more")


def shortcuts(page: webdriver.Chrome) -> None:
    at_rest(page)
    press(page, "keys-help")


def exports(page: webdriver.Chrome) -> None:
    at_rest(page)
    page.find_element(By.CSS_SELECTOR, "#export summary").click()


def shows(name: str, css: str) -> Callable[[webdriver.Chrome], None]:
    """The state of an open view."""

    def open_view(page: webdriver.Chrome) -> None:
        at_rest(page)
        view(page, name)
        wait(page, lambda d: d.find_elements(By.CSS_SELECTOR, css))

    return open_view


def reviewed(page: webdriver.Chrome) -> None:
    at_rest(page)
    view(page, "review")
    typed(page, "played", "E3 C4 | " * 5 + "F3 B3 C4")
    press(page, "review-ask")
    wait(page, lambda d: d.find_elements(By.CSS_SELECTOR, "#reviewed .excess"))


def refused(page: webdriver.Chrome) -> None:
    at_rest(page)
    view(page, "review")
    typed(page, "played", "H3")
    press(page, "review-ask")
    wait(page, lambda d: text(d, "played-problem"))


STATES = {
    "ready": at_rest, "empty": empty, "loading": loading, "error": faulty,
    "alternatives": alternatives, "menus": menus, "shortcuts": shortcuts, "exports": exports,
    "exercise": exercise,
    "staff": shows("staff", ".sheet-music svg"), "keyboards": shows("keyboards", ".card .mini"),
    "table": shows("table", "#view tbody tr"), "review": reviewed, "review-refused": refused,
}  # fmt: skip


def faults(page: webdriver.Chrome, state: str, name: str) -> list[tuple[str, list[str]]]:
    """What axe-core finds in a state: in light by all its rules, in dark by those of colours."""
    found = []
    for scheme, rules in {"light": (), "dark": COLOURS}.items():
        with media(page, prefers_color_scheme=scheme, prefers_reduced_motion="reduce"):
            if scheme == "light":
                {**STATES, "more": more}[state](page)
            time.sleep(0.3)
            shot(page, f"{name}-{state}-{scheme}")
            found += violations(page, *rules)
    return found


@pytest.mark.parametrize("state", STATES)
def test_axe_finds_nothing_in_any_state(page: webdriver.Chrome, state: str) -> None:
    assert faults(page, state, "state") == []


@pytest.mark.parametrize("state", ["ready", "more", "alternatives", "table", "review"])
def test_axe_finds_nothing_on_a_phone(page: webdriver.Chrome, state: str) -> None:
    with phone(page):
        assert faults(page, state, "phone") == []


@pytest.mark.parametrize("state", ["ready", "error", "alternatives", "table", "review"])
def test_a_narrow_phone_needs_no_sideways_scrolling(page: webdriver.Chrome, state: str) -> None:
    with phone(page, NARROW, 640):
        STATES[state](page)
        assert page.execute_script("return document.documentElement.scrollWidth") <= NARROW


def test_everything_is_reached_by_tab_and_shows_its_focus(page: webdriver.Chrome) -> None:
    at_rest(page)
    page.execute_script("document.activeElement.blur()")
    reached = set()
    for _ in range(60):
        keys(page, Keys.TAB)
        name, has_outline = page.execute_script(
            "const one = document.activeElement;"
            "if (one === document.body) return ['', true];"
            "const lines = [one, one.parentElement, one.closest('label, .editor')].filter(Boolean);"
            "const drawn = (each) => getComputedStyle(each).outlineStyle !== 'none';"
            "return [one.id || one.name || one.dataset.export, lines.some(drawn)]"
        )
        assert has_outline, name
        reached.add(name)
    assert {"chart", "preset", "lock", "swap", "ghosts", "tab-lines", "track", "play"} <= reached
    assert {"loop", "tempo", "rhythm", "volume", "share", "total-now"} <= reached


def test_nothing_is_asked_of_another_host(driver: webdriver.Chrome, site: str) -> None:
    driver.get_log("browser")
    asked(driver)
    driver.get(site + "/")
    for state in ("staff", "table", "review", "alternatives"):
        STATES[state](driver)
    assert complaints(driver) == []
    urls = asked(driver)
    assert len(urls) >= 3
    assert hosts(urls) == {urlsplit(site).netloc}
