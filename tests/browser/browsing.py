"""What a visitor does in the browser: typing, waiting, pressing, dropping a file."""

from __future__ import annotations

import base64
import re
from typing import Any

from selenium import webdriver
from selenium.common.exceptions import StaleElementReferenceException
from selenium.webdriver.common.action_chains import ActionChains
from selenium.webdriver.common.by import By
from selenium.webdriver.support.ui import WebDriverWait

PATIENCE = 20
_DROP = """
const [id, name, text] = arguments;
const bytes = Uint8Array.from(atob(text), (sign) => sign.charCodeAt(0));
const dataTransfer = new DataTransfer();
dataTransfer.items.add(new File([bytes], name));
document.getElementById(id).dispatchEvent(
  new DragEvent("drop", { dataTransfer, bubbles: true, cancelable: true }));
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
    """Type into the field with this id what it shall hold."""
    box = driver.find_element(By.ID, name)
    box.clear()
    box.send_keys(words)
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
