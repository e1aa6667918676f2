"""For everybody: what fits a screen, what axe-core says of every state, what is asked of whom.

Axe-core is Deque's, as axe-selenium-python carries it.
"""

from __future__ import annotations

import json
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from urllib.parse import urlsplit

import axe_selenium_python
import pytest
from selenium import webdriver
from selenium.webdriver.common.by import By

from browser.browsing import keys, phase, press, ready, solved, wait
from browser.conftest import opened_anew
from browser.test_question import HOLD

#: Addresses that reach no host: inline data, and the browser's own download page.
OWN_SCHEMES = ("data:", "blob:", "chrome:")
AXE = next(Path(axe_selenium_python.__file__).parent.rglob("axe.min.js"))
NARROW = 320
MANUAL = ["/docs", "/docs/charts", "/docs/errors/not-json", "/docs/reference"]
CHART = "| Dm7 G7 | Cmaj7 |"
VIEWS = ("lines", "staff", "keyboards", "table", "review")
SET_CHART = (
    "const box = document.getElementById('chart'); box.value = arguments[0];"
    "box.dispatchEvent(new Event('input'))"
)


@contextmanager
def screen(driver: webdriver.Chrome, width: int, height: int, **more: object) -> Iterator[None]:
    """A screen of another size."""
    size = {"width": width, "height": height, "deviceScaleFactor": 1, "mobile": False, **more}
    driver.execute_cdp_cmd("Emulation.setDeviceMetricsOverride", size)
    try:
        yield
    finally:
        driver.execute_cdp_cmd("Emulation.clearDeviceMetricsOverride", {})


@pytest.mark.parametrize(("width", "height"), [(1440, 900), (390, 844)])
def test_chord_keyboard_and_lines_are_seen_at_once(
    page: webdriver.Chrome, width: int, height: int
) -> None:
    with screen(page, width, height):
        solved(page, CHART, 3)
        page.execute_script("scrollTo(0, 0); document.activeElement.blur()")
        time.sleep(0.4)
        player = page.execute_script(
            "return document.getElementById('player').getBoundingClientRect().top"
        )
        for css in ("#now-symbol", "#keyboard", "#view .track svg"):
            box = page.find_element(By.CSS_SELECTOR, css).rect
            top = box["y"] - page.execute_script("return scrollY")
            assert top >= 0
            assert top + box["height"] <= player + 1, css


@pytest.mark.parametrize("address", ["/", *MANUAL])
def test_a_phone_needs_no_sideways_scrolling(
    driver: webdriver.Chrome, site: str, address: str
) -> None:
    with screen(driver, NARROW, 640, deviceScaleFactor=2, mobile=True):
        driver.get(site + address)
        time.sleep(1)
        for view in VIEWS if address == "/" else ("",):
            if view:
                press(driver, f"tab-{view}")
                time.sleep(0.4)
            wide = driver.execute_script("return document.documentElement.scrollWidth")
            assert wide <= NARROW, view


def details(page: webdriver.Chrome) -> None:
    for fold in page.find_elements(By.CSS_SELECTOR, ".fold summary"):
        fold.click()


def alternatives(page: webdriver.Chrome) -> None:
    press(page, "swap")
    wait(page, lambda d: d.find_elements(By.CSS_SELECTOR, "#alternatives .card"))


def locked(page: webdriver.Chrome) -> None:
    keys(page, "\ue00c", "l")
    wait(page, lambda d: d.find_elements(By.CSS_SELECTOR, "#lock[aria-pressed=true]"))


def fault(page: webdriver.Chrome) -> None:
    page.execute_script(SET_CHART, "| Dm7 | Hm7 |")
    wait(page, lambda d: phase(d) == "error")


def loading(page: webdriver.Chrome) -> None:
    page.execute_script(HOLD)
    page.execute_script(SET_CHART, "| Dm7 | G7 |")
    wait(page, lambda d: d.execute_script("return held.length") == 1)


def empty(page: webdriver.Chrome) -> None:
    page.execute_script(SET_CHART, "")
    wait(page, lambda d: phase(d) == "empty")


def exercise(page: webdriver.Chrome) -> None:
    press(page, "practise")
    ready(page, 36)


STATES: dict[str, Callable[[webdriver.Chrome], None]] = {
    "ready": lambda _: None,
    **{view: lambda page, view=view: press(page, f"tab-{view}") for view in VIEWS[1:]},
    "locked": locked,
    "alternatives": alternatives,
    "no alternatives": lambda page: press(page, "sheet-close"),
    "details": details,
    "exercise": exercise,
    "no exercise": lambda page: press(page, "exercise-back"),
    "shortcuts": lambda page: press(page, "keys-help"),
    "no shortcuts": lambda page: keys(page, "\ue00c"),
    "fault": fault,
    "empty": empty,
    "loading": loading,
}  # fmt: skip


@contextmanager
def colours(driver: webdriver.Chrome, scheme: str) -> Iterator[None]:
    """The system's colours."""
    features = [{"name": "prefers-color-scheme", "value": scheme}]
    driver.execute_cdp_cmd("Emulation.setEmulatedMedia", {"features": features})
    try:
        yield
    finally:
        driver.execute_cdp_cmd("Emulation.setEmulatedMedia", {"features": []})


def findings(driver: webdriver.Chrome) -> list[tuple[str, list[str]]]:
    """What axe-core finds."""
    driver.execute_cdp_cmd("Runtime.evaluate", {"expression": AXE.read_text()})
    found = driver.execute_async_script(
        "const done = arguments[0];"
        "axe.run().then((r) => done(r.violations), (e) => done([String(e)]))"
    )
    return [(v["id"], [n["html"][:200] for n in v["nodes"]][:3]) for v in found]


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_axe_finds_nothing_in_any_state(page: webdriver.Chrome, scheme: str) -> None:
    with colours(page, scheme):
        solved(page, CHART, 3)
        found = {}
        for state, enter in STATES.items():
            enter(page)
            time.sleep(0.4)
            if not state.startswith("no "):
                found[state] = findings(page)
    assert {state: what for state, what in found.items() if what} == {}


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_axe_finds_nothing_on_a_phone(page: webdriver.Chrome, scheme: str) -> None:
    with colours(page, scheme), screen(page, 390, 844, mobile=True):
        solved(page, CHART, 3)
        found = {"ready": findings(page)}
        press(page, "more")
        found["more"] = findings(page)
        press(page, "more")
        alternatives(page)
        found["alternatives"] = findings(page)
    assert {state: what for state, what in found.items() if what} == {}


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("address", MANUAL)
def test_axe_finds_nothing_in_the_manual(
    driver: webdriver.Chrome, site: str, address: str, scheme: str
) -> None:
    with colours(driver, scheme):
        driver.get(site + address)
        time.sleep(0.5)
        assert findings(driver) == []


@pytest.mark.parametrize("address", ["/", *MANUAL])
def test_nothing_is_asked_of_another_host(
    driver: webdriver.Chrome, site: str, address: str
) -> None:
    driver.get_log("performance")
    if address == "/":
        opened_anew(driver, site + address)
        for view in VIEWS:
            press(driver, f"tab-{view}")
            time.sleep(0.3)
        alternatives(driver)
    else:
        driver.get(site + address)
        time.sleep(0.5)
    said = [json.loads(entry["message"])["message"] for entry in driver.get_log("performance")]
    asked = {
        message["params"]["request"]["url"]
        for message in said
        if message["method"] == "Network.requestWillBeSent"
    }
    hosts = {urlsplit(url).netloc for url in asked if not url.startswith(OWN_SCHEMES)}
    assert len(asked) >= 3
    assert hosts == {urlsplit(site).netloc}
