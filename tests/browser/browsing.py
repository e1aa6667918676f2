"""What a visitor does in the browser: typing, waiting, dropping a file."""

from __future__ import annotations

import base64
from typing import Any

from selenium import webdriver
from selenium.common.exceptions import StaleElementReferenceException
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
    return WebDriverWait(driver, PATIENCE, ignored_exceptions=moving).until(until)


def text(driver: webdriver.Chrome, name: str) -> str:
    """What stands in the element with this id."""
    return str(driver.find_element(By.ID, name).text)


def status(driver: webdriver.Chrome) -> str:
    return text(driver, "status")


def press(driver: webdriver.Chrome, name: str) -> None:
    """Press the button with this id."""
    driver.find_element(By.ID, name).click()


def rows(driver: webdriver.Chrome, table: str = "steps") -> list[Any]:
    """The rows of a table, those that only name a key left out."""
    return list(driver.find_elements(By.CSS_SELECTOR, f"#{table} tbody tr:not(.key)"))


def typed(driver: webdriver.Chrome, name: str, words: str) -> Any:
    """Type into the field with this id what it shall hold."""
    box = driver.find_element(By.ID, name)
    box.clear()
    box.send_keys(words)
    return box


def find(driver: webdriver.Chrome) -> None:
    """Press the button that finds the path, and wait for what comes of it."""
    driver.find_element(By.CSS_SELECTOR, "#ask button.main").click()
    wait(driver, lambda d: "Finding" not in status(d))


def solved(driver: webdriver.Chrome, chart: str) -> None:
    """Type a chart and find its path."""
    typed(driver, "chart", chart)
    find(driver)


def drawn(driver: webdriver.Chrome) -> None:
    """Wait until all three pictures stand there."""
    css = "#pictures figcaption + svg"
    wait(driver, lambda d: len(d.find_elements(By.CSS_SELECTOR, css)) == 3)


def drop(driver: webdriver.Chrome, name: str, file: str, content: bytes) -> None:
    """Drop a file onto the field with this id."""
    driver.execute_script(_DROP, name, file, base64.b64encode(content).decode())


def complaints(driver: webdriver.Chrome) -> list[str]:
    """What the console says is wrong, but for answers that refuse a request on purpose."""
    return [
        entry["message"]
        for entry in driver.get_log("browser")
        if entry["level"] in ("SEVERE", "WARNING") and " 422 " not in entry["message"]
    ]
