"""A real browser before the real service; without one the tests skip, or fail if it is needed."""

from __future__ import annotations

import os
import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest
from selenium import webdriver
from selenium.webdriver.chrome.options import Options
from selenium.webdriver.chrome.service import Service
from selenium.webdriver.common.by import By

from browser.browsing import ready, wait
from shortway.api import create_app
from support.loopback import served

#: Where Debian's chromium and chromium-driver put them.
BROWSER = shutil.which("chromium")
DRIVER = shutil.which("chromedriver")
FLAGS = (
    "--headless=new", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run",
    "--disable-background-networking", "--disable-component-update", "--disable-sync",
    "--disable-dev-shm-usage", "--autoplay-policy=no-user-gesture-required", "--mute-audio",
)  # fmt: skip


@pytest.fixture(scope="session")
def site() -> Iterator[str]:
    """The service's address on the loopback."""
    with served(create_app()) as address:
        yield address


@pytest.fixture(scope="session")
def driver(tmp_path_factory: pytest.TempPathFactory) -> Iterator[webdriver.Chrome]:
    """One browser for all tests."""
    if BROWSER is None or DRIVER is None:
        missing = "no chromium and chromium-driver here"
        if os.environ.get("SHORTWAY_NEED_BROWSER"):
            pytest.fail(f"{missing}, and SHORTWAY_NEED_BROWSER asks for them")
        pytest.skip(missing)
    folder = tmp_path_factory.mktemp("browser")
    options = Options()
    options.binary_location = BROWSER
    for flag in (*FLAGS, f"--user-data-dir={folder / 'profile'}"):
        options.add_argument(flag)
    options.add_experimental_option(
        "prefs",
        {
            "download.default_directory": str(downloads(folder)),
            "download.prompt_for_download": False,
        },
    )
    options.set_capability("goog:loggingPrefs", {"browser": "ALL", "performance": "ALL"})
    browser = webdriver.Chrome(options=options, service=Service(DRIVER))
    browser.set_script_timeout(120)  # axe-core on a busy machine
    browser.downloads = downloads(folder)  # type: ignore[attr-defined]
    yield browser
    browser.quit()


@pytest.fixture
def page(driver: webdriver.Chrome, site: str) -> webdriver.Chrome:
    """The page as on a first visit, with its first path and its lists."""
    driver.set_window_size(1440, 1000)
    opened_anew(driver, site + "/")
    driver.get_log("browser")
    return driver


def opened_anew(driver: webdriver.Chrome, address: str) -> None:
    """An address of the service, with nothing kept from a visit before."""
    driver.get(f"{address.partition('#')[0].rstrip('/')}/healthz")
    driver.execute_script("localStorage.clear(); sessionStorage.clear()")
    driver.get(address)
    ready(driver)
    wait(driver, lambda d: len(d.find_elements(By.CSS_SELECTOR, "#presets input")) > 3)
    wait(driver, lambda d: len(d.find_elements(By.CSS_SELECTOR, "#families input")) > 3)


def downloads(folder: Path) -> Path:
    """Where the browser puts what it downloads."""
    place = folder / "downloads"
    place.mkdir(exist_ok=True)
    return place
