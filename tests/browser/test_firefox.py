"""Firefox opens the page and passes the main path: write, hear, lock, swap, look, take home."""

from __future__ import annotations

import os
import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest

from browser.firefox import Firefox

#: Where Debian's firefox-esr puts it.
BINARY = shutil.which("firefox-esr")
CHART = "| Dm7 | G7 | Cmaj7 | A7 |"
READY = "document.getElementById('stage').dataset.phase === 'ready'"
PLACE = "document.getElementById('position').textContent"


@pytest.fixture(scope="module")
def firefox(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Firefox]:
    if BINARY is None:
        if os.environ.get("SHORTWAY_NEED_BROWSER"):
            pytest.fail("no firefox-esr here, and SHORTWAY_NEED_BROWSER asks for it")
        pytest.skip("no firefox-esr here")
    browser = Firefox(BINARY, tmp_path_factory.mktemp("firefox"))
    yield browser
    browser.close()


@pytest.fixture
def page(firefox: Firefox, site: str) -> Firefox:
    """The page with a chart of four chords, typed."""
    firefox.open(f"{site}/page/style.css")
    firefox.value("localStorage.clear()")
    firefox.open(site + "/")
    firefox.until(READY)
    firefox.complaints.clear()
    firefox.value(
        "document.getElementById('chart').select() || document.getElementById('chart').focus()"
    )
    firefox.keys(*CHART)
    firefox.until(f"{READY} && {PLACE}.endsWith('of 4')")
    return firefox


def kept(page: Firefox, name: str, tmp_path: Path) -> None:
    folder = Path(os.environ.get("SHORTWAY_ARTIFACTS") or tmp_path)
    folder.mkdir(parents=True, exist_ok=True)
    (folder / f"firefox-{name}.png").write_bytes(page.screenshot())


def test_the_main_path(page: Firefox, tmp_path: Path) -> None:
    page.value(
        "window.struck = 0; const start = OscillatorNode.prototype.start;"
        "OscillatorNode.prototype.start = function (when) {"
        "  window.struck += 1; return start.call(this, when); }; 0"
    )
    page.click("#play")
    page.until("window.struck >= 5")
    page.click("#play")
    page.click("#after")
    page.until(f"{PLACE}.includes('chord 2 of 4')")
    page.click("#lock")
    page.until(
        f"document.getElementById('lock').getAttribute('aria-pressed') === 'true' && {READY}"
    )
    page.click("#after")
    page.click("#swap")
    page.until("document.querySelectorAll('#alternatives .card').length > 2")
    page.click("#alternatives li:nth-child(2) .card")
    page.until(f"document.getElementById('locks-count').textContent === '2 locked' && {READY}")
    kept(page, "alternatives", tmp_path)
    page.click("#sheet-close")
    page.click("#undo")
    page.until(f"document.getElementById('locks-count').textContent === '1 locked' && {READY}")
    assert page.complaints == []


def test_every_view_is_drawn(page: Firefox, tmp_path: Path) -> None:
    for name, css in (
        ("staff", ".sheet-music svg"), ("keyboards", ".card .mini"), ("table", "#view tbody tr"),
        ("review", "#played"), ("lines", "#track .chord"),
    ):  # fmt: skip
        page.click(f"#tab-{name}")
        page.until(f"document.querySelectorAll('#view {css.removeprefix('#view ')}').length > 0")
        kept(page, name, tmp_path)
    page.value("document.getElementById('track').focus()")
    page.keys("\ue010")  # End
    page.until(f"{PLACE}.includes('chord 4 of 4')")
    assert page.complaints == []


def test_a_phone(page: Firefox, site: str, tmp_path: Path) -> None:
    page.open(site + "/", 390, 844)
    page.until(READY)
    assert page.value("document.documentElement.scrollWidth") <= 390
    kept(page, "phone", tmp_path)


def test_a_reload_brings_the_page_back(page: Firefox, site: str) -> None:
    page.click("#after")
    page.until(f"{PLACE}.includes('chord 2 of 4') && location.hash.includes('at=2')")
    page.open(f"{site}/page/style.css")
    page.open(f"{site}/")
    page.until(f"{READY} && {PLACE}.includes('chord 2 of 4')")
    assert page.value("document.getElementById('chart').value") == CHART
