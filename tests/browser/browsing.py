"""What a visitor does in the browser: typing, waiting, pressing, dropping a file."""

from __future__ import annotations

import base64
import json
import os
import re
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

import axe_selenium_python
from selenium import webdriver
from selenium.common.exceptions import StaleElementReferenceException
from selenium.webdriver.common.action_chains import ActionChains
from selenium.webdriver.common.by import By
from selenium.webdriver.common.keys import Keys
from selenium.webdriver.support.ui import WebDriverWait

PATIENCE = 20
AXE = next(Path(axe_selenium_python.__file__).parent.rglob("axe.min.js")).read_text("utf-8")
#: What another colour scheme may break, of the rules of axe-core.
COLOURS = ("color-contrast",)
#: Addresses that reach no host: inline data, an empty page, and the browser's own download page.
OWN_SCHEMES = ("about:", "data:", "blob:", "chrome:")
_DROP = """
const [id, name, text] = arguments;
const bytes = Uint8Array.from(atob(text), (sign) => sign.charCodeAt(0));
const dataTransfer = new DataTransfer();
dataTransfer.items.add(new File([bytes], name));
document.getElementById(id).dispatchEvent(
  new DragEvent("drop", { dataTransfer, bubbles: true, cancelable: true }));
"""
#: Keeps what the page copies, where a test may read it.
_KEEP_COPIES = """
navigator.clipboard.writeText = async (text) => { window.copied = text; };
"""
#: The request of the copied curl command, asked once more.
_ASK_AGAIN = """
const done = arguments[0];
const body = window.copied.match(/-d '(.*)'$/s)[1].replaceAll("'\\\\''", "'");
fetch("/v1/paths", { method: "POST", headers: { "Content-Type": "application/json" }, body })
  .then((said) => said.json()).then(done);
"""


def wait(driver: webdriver.Chrome, until: Any) -> Any:
    """The page is drawn anew under what was found in it: then it is looked for again."""
    moving = [StaleElementReferenceException, IndexError]
    return WebDriverWait(driver, PATIENCE, 0.05, ignored_exceptions=moving).until(until)


def text(driver: webdriver.Chrome, name: str) -> str:
    """What stands in the element with this id."""
    return str(driver.find_element(By.ID, name).text)


def content(driver: webdriver.Chrome, name: str) -> str:
    """The same, whether it is to be seen or not."""
    return str(driver.find_element(By.ID, name).get_property("textContent"))


def press(driver: webdriver.Chrome, name: str) -> None:
    """Press the button with this id."""
    driver.find_element(By.ID, name).click()


def keys(driver: webdriver.Chrome, *pressed: str) -> None:
    """Press keys wherever the focus is."""
    ActionChains(driver).send_keys(*pressed).perform()


def phase(driver: webdriver.Chrome) -> str:
    """One of empty, loading, stale, ready and error."""
    return str(driver.find_element(By.ID, "stage").get_attribute("data-phase"))


def ready(driver: webdriver.Chrome, chords: int | None = None) -> None:
    """Wait until an answer stands there, of so many chords."""
    count = rf"\b{chords} chords?\b" if chords else ""
    wait(driver, lambda d: phase(d) == "ready" and re.search(count, content(d, "chart-status")))


def chart(driver: webdriver.Chrome) -> str:
    return str(driver.find_element(By.ID, "chart").get_property("value"))


def typed(driver: webdriver.Chrome, name: str, words: str) -> Any:
    """Type into the field with this id what it shall hold, over what stands there.

    Keys alone: the driver's clearing is no input, so that the page may write the old words anew.
    """
    box = driver.find_element(By.ID, name)
    box.send_keys(Keys.CONTROL, "a", Keys.NULL, words or Keys.DELETE)
    return box


def solved(driver: webdriver.Chrome, words: str, chords: int | None = None) -> None:
    """Type a chart and wait for its path."""
    typed(driver, "chart", words)
    wait(driver, lambda d: phase(d) in ("ready", "error", "empty"))
    ready(driver, chords)


def cost(driver: webdriver.Chrome) -> int:
    """The path's cost, as it is announced."""
    return int(content(driver, "spoken").partition("cost ")[2].partition(",")[0])


def marked(driver: webdriver.Chrome, kind: str) -> list[str]:
    """The symbols in the chart that are painted as `here`, `locked` or `bad`."""
    found = driver.find_elements(By.CSS_SELECTOR, f"#paint .paint-{kind}")
    return [str(part.get_property("textContent")) for part in found]


def at(driver: webdriver.Chrome) -> int:
    """The step that is shown, from 0, as the lines' slider or the player says it."""
    return int(content(driver, "position").split("chord ")[1].split()[0]) - 1


def go(driver: webdriver.Chrome, step: int) -> None:
    """Go to a step with the player's buttons."""
    while (now := at(driver)) != step:
        press(driver, "after" if now < step else "before")
        wait(driver, lambda d, now=now: at(d) != now)


def view(driver: webdriver.Chrome, name: str) -> Any:
    """Open a view, and its panel once something is drawn there."""
    press(driver, f"tab-{name}")
    return wait(driver, lambda d: d.find_element(By.CSS_SELECTOR, "#view > *"))


def answer(driver: webdriver.Chrome) -> dict[str, Any]:
    """The path that the service gives for the request behind the page: its curl command."""
    driver.execute_script(_KEEP_COPIES)
    driver.execute_script("document.querySelector('[data-export=curl]').click()")
    return dict(driver.execute_async_script(_ASK_AGAIN))


@contextmanager
def media(driver: webdriver.Chrome, **features: str) -> Iterator[None]:
    """What the visitor's system asks for, such as `prefers_color_scheme="dark"`."""
    asked = [{"name": name.replace("_", "-"), "value": value} for name, value in features.items()]
    driver.execute_cdp_cmd("Emulation.setEmulatedMedia", {"features": asked})
    try:
        yield
    finally:
        driver.execute_cdp_cmd("Emulation.setEmulatedMedia", {"features": []})


def violations(driver: webdriver.Chrome, *rules: str) -> list[tuple[str, list[str]]]:
    """What axe-core (Deque's, as axe-selenium-python carries it) finds, with the elements.

    By all of its rules, or by `rules` alone.
    """
    driver.execute_cdp_cmd("Runtime.evaluate", {"expression": AXE})
    found = driver.execute_async_script(
        "const [options, done] = arguments;"
        "axe.run(options).then((r) => done(r.violations), (e) => done([{id: `${e}`, nodes: []}]))",
        {"resultTypes": ["violations"]}
        | ({"runOnly": {"type": "rule", "values": rules}} if rules else {}),
    )
    return [(v["id"], [n["html"][:200] for n in v["nodes"]][:3]) for v in found]


def asked(driver: webdriver.Chrome) -> set[str]:
    """The addresses that the browser has asked for since this was called before."""
    said = [json.loads(entry["message"])["message"] for entry in driver.get_log("performance")]
    urls = {
        message["params"]["request"]["url"]
        for message in said
        if message["method"] == "Network.requestWillBeSent"
    }
    return {url for url in urls if not url.startswith(OWN_SCHEMES)}


def hosts(urls: set[str]) -> set[str]:
    """Whom the addresses are of."""
    return {urlsplit(url).netloc for url in urls}


@contextmanager
def phone(driver: webdriver.Chrome, width: int = 390, height: int = 844) -> Iterator[None]:
    """The screen of a phone, with touch."""
    screen = {"width": width, "height": height, "deviceScaleFactor": 2, "mobile": True}
    driver.execute_cdp_cmd("Emulation.setDeviceMetricsOverride", screen)
    driver.execute_cdp_cmd("Emulation.setTouchEmulationEnabled", {"enabled": True})
    try:
        yield
    finally:
        driver.execute_cdp_cmd("Emulation.setTouchEmulationEnabled", {"enabled": False})
        driver.execute_cdp_cmd("Emulation.clearDeviceMetricsOverride", {})


def shot(driver: webdriver.Chrome, name: str) -> Path:
    """Keep a picture of the screen, in SHORTWAY_ARTIFACTS or beside the browser's files."""
    own = driver.downloads.parent / "screens"  # type: ignore[attr-defined]
    place = Path(os.environ.get("SHORTWAY_ARTIFACTS") or own)
    place.mkdir(parents=True, exist_ok=True)
    driver.save_screenshot(str(place / f"{name}.png"))
    return place / f"{name}.png"


def drop(driver: webdriver.Chrome, name: str, file: str, content: bytes) -> None:
    """Drop a file onto the element with this id."""
    driver.execute_script(_DROP, name, file, base64.b64encode(content).decode())


def complaints(driver: webdriver.Chrome) -> list[str]:
    """What the console says is wrong, but for answers that refuse a request on purpose."""
    return [
        entry["message"]
        for entry in driver.get_log("browser")
        if entry["level"] in ("SEVERE", "WARNING") and " 422 " not in entry["message"]
    ]
