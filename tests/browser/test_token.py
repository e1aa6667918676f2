"""A service that asks for tokens: the page asks whoever looks at it, and goes on."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from selenium import webdriver
from selenium.webdriver.common.by import By
from selenium.webdriver.common.keys import Keys

from browser.browsing import phase, ready, text, typed, wait
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
    wait(driver, lambda d: phase(d) == "error")
    wait(driver, lambda d: "a token is required" in text(d, "token-problem"))
    typed(driver, "token", "shortway_wrong").send_keys(Keys.ENTER)
    wait(driver, lambda d: "the token is unknown" in text(d, "token-problem"))
    typed(driver, "token", TOKEN).send_keys(Keys.ENTER)
    ready(driver, 17)
    assert not text(driver, "token-problem")
    wait(driver, lambda d: len(d.find_elements(By.CSS_SELECTOR, "#families input")) > 3)
    wait(driver, lambda d: len(d.find_elements(By.CSS_SELECTOR, "#rhythm option")) > 3)
    held = driver.execute_script("return JSON.stringify([{...localStorage}, {...sessionStorage}])")
    assert TOKEN not in held + driver.current_url
