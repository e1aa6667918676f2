"""A service that asks for tokens: the page asks whoever looks at it, and goes on."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from selenium import webdriver
from selenium.webdriver.common.by import By
from selenium.webdriver.support.ui import Select

from browser.browsing import find, press, rows, status, typed, wait
from shortway.api import create_app
from shortway.api.middleware import token_store as tokens
from support.loopback import served

TOKEN = tokens.generate_token()


@pytest.fixture
def guarded(tmp_path: Path) -> Iterator[str]:
    """The address of a service with one token."""
    file = tmp_path / "tokens"
    file.write_text(tokens.token_line("visitor", TOKEN) + "\n")
    with served(create_app({"TOKENS_FILE": str(file)})) as address:
        yield address


def test_a_token_is_asked_for_and_sent(driver: webdriver.Chrome, guarded: str) -> None:
    driver.get(guarded + "/")
    wait(driver, lambda d: "Rejected" in status(d))
    field = driver.find_element(By.CSS_SELECTOR, "[data-pointer='/token']")
    assert "a token is required" in field.text
    typed(driver, "token", "shortway_wrong")
    find(driver)
    assert "the token is unknown" in field.text
    typed(driver, "token", TOKEN)
    find(driver)
    assert "; proven optimal" in status(driver)
    assert len(rows(driver)) == 17
    wait(driver, lambda d: len(Select(d.find_element(By.ID, "rhythm")).options) > 3)
    assert not driver.find_elements(By.CSS_SELECTOR, ".missing")
    press(driver, "save-midi")
    wait(driver, lambda d: "Downloaded" in status(d))
    held = driver.execute_script("return JSON.stringify([{...localStorage}, {...sessionStorage}])")
    assert TOKEN not in held + driver.current_url
