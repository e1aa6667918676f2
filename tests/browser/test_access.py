"""For everybody: both pages on a phone, judged by axe-core, and with no request to another host.

Axe-core is Deque's, as axe-selenium-python carries it.
"""

from __future__ import annotations

import json
import time
from pathlib import Path
from urllib.parse import urlsplit

import axe_selenium_python
import pytest
from selenium import webdriver
from selenium.webdriver.common.by import By

from browser.browsing import drawn, press, rows, status, text, typed, wait

#: Addresses that reach no host: inline data, and the browser's own download page.
OWN_SCHEMES = ("data:", "blob:", "chrome:")
AXE = next(Path(axe_selenium_python.__file__).parent.rglob("axe.min.js"))
NARROW = 320
PAGES = ["/", "/docs", "/docs/charts", "/docs/errors/not-json", "/docs/reference"]


def opened(driver: webdriver.Chrome, address: str) -> None:
    """A page with all that it can show: an exercise, other voicings, a review, a refusal."""
    driver.get(address)
    wait(driver, lambda d: d.find_elements(By.CSS_SELECTOR, "main > :not([hidden])"))
    if "/docs" in address:
        return
    drawn(driver)
    typed(driver, "chart", "| Dm7 G7 | Cmaj7 |")
    typed(driver, "keys-wanted", "C Eb")
    press(driver, "practise")
    wait(driver, lambda d: "through 2 keys" in status(d))
    drawn(driver)
    press(driver, "others")
    wait(driver, lambda d: d.find_elements(By.CSS_SELECTOR, "#choices li"))
    press(driver, "judge-this")
    typed(driver, "played", "E3 C4 | " * 5 + "F3 B3 C4")
    driver.find_element(By.CSS_SELECTOR, "#judge button.main").click()
    wait(driver, lambda d: len(rows(d, "judged")) == 6)
    typed(driver, "played", "H3")
    driver.find_element(By.CSS_SELECTOR, "#judge button.main").click()
    wait(driver, lambda d: text(d, "played-problem"))


@pytest.mark.parametrize("address", PAGES)
def test_a_phone_needs_no_sideways_scrolling(
    driver: webdriver.Chrome, site: str, address: str
) -> None:
    driver.execute_cdp_cmd(
        "Emulation.setDeviceMetricsOverride",
        {"width": NARROW, "height": 640, "deviceScaleFactor": 2, "mobile": True},
    )
    try:
        opened(driver, site + address)
        time.sleep(1)
        wide = driver.execute_script("return document.documentElement.scrollWidth")
    finally:
        driver.execute_cdp_cmd("Emulation.clearDeviceMetricsOverride", {})
    assert wide <= NARROW


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("address", PAGES)
def test_axe_finds_nothing(driver: webdriver.Chrome, site: str, address: str, scheme: str) -> None:
    features = [{"name": "prefers-color-scheme", "value": scheme}]
    driver.execute_cdp_cmd("Emulation.setEmulatedMedia", {"features": features})
    opened(driver, site + address)
    driver.execute_cdp_cmd("Runtime.evaluate", {"expression": AXE.read_text()})
    found = driver.execute_async_script(
        "const done = arguments[0];"
        "axe.run().then((r) => done(r.violations), (e) => done([String(e)]))"
    )
    driver.execute_cdp_cmd("Emulation.setEmulatedMedia", {"features": []})
    assert [(v["id"], [n["html"] for n in v["nodes"]][:3]) for v in found] == []


@pytest.mark.parametrize("address", PAGES)
def test_nothing_is_asked_of_another_host(
    driver: webdriver.Chrome, site: str, address: str
) -> None:
    driver.get_log("performance")
    opened(driver, site + address)
    if address == "/":
        press(driver, "save-midi")
        wait(driver, lambda d: "Downloaded" in status(d))
    said = [json.loads(entry["message"])["message"] for entry in driver.get_log("performance")]
    asked = {
        message["params"]["request"]["url"]
        for message in said
        if message["method"] == "Network.requestWillBeSent"
    }
    hosts = {urlsplit(url).netloc for url in asked if not url.startswith(OWN_SCHEMES)}
    assert len(asked) >= 3
    assert hosts == {urlsplit(site).netloc}
