"""The manual and the reference in a browser: search, deep links, samples, "try it", on a phone.

Screenshots are kept in the folder that SHORTWAY_SCREENSHOTS names.
"""

from __future__ import annotations

import json
import os
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

import pytest
from selenium import webdriver
from selenium.webdriver.common.by import By
from selenium.webdriver.common.keys import Keys

from browser.browsing import COLOURS, asked, complaints, hosts, media, phone, violations, wait
from shortway.docs.reference import REFERENCE
from shortway.docs.site import Site

DOCUMENT = Path(__file__).parents[2] / "openapi/openapi.json"
SITE = Site(json.loads(DOCUMENT.read_text("utf-8")))
#: A page of every kind, and calls with a body, without one, and with files as responses.
PAGES = [
    "/docs", "/docs/charts", "/docs/operations", "/docs/errors/not-json", REFERENCE,
    *(f"{REFERENCE}/{call}" for call in ("getChord", "findPath", "writeScore")),
]  # fmt: skip
WIDTH, NARROW = 390, 320
#: Names that take more than one line; values are no names.
_BROKEN = """
for (const part of document.querySelectorAll("details")) part.open = true;
const names = [...document.querySelectorAll("main code:not(.value), main code span, aside code")];
return names
  .filter((one) => !one.closest("pre") && !one.querySelector("span"))
  .filter((one) => one.getClientRects().length > 1)
  .map((one) => one.textContent);
"""


def opened(driver: webdriver.Chrome, address: str) -> None:
    """A page whose script has run."""
    driver.get("about:blank")
    driver.get(address)
    wait(driver, lambda d: d.find_element(By.ID, "search").is_displayed())


def shot(driver: webdriver.Chrome, name: str) -> None:
    if folder := os.environ.get("SHORTWAY_SCREENSHOTS"):
        driver.save_screenshot(str(Path(folder) / f"docs-{name}.png"))


def found(driver: webdriver.Chrome, words: str) -> list[tuple[str, str]]:
    """Titles and addresses of what the search gives."""
    field = driver.find_element(By.ID, "query")
    field.clear()
    field.send_keys(words)
    links = wait(driver, lambda d: d.find_elements(By.CSS_SELECTOR, "#hits:not([hidden]) a"))
    return [
        (link.find_element(By.TAG_NAME, "strong").text, urlsplit(link.get_attribute("href")).path)
        for link in links
    ]


@pytest.mark.parametrize("address", PAGES)
def test_axe_finds_nothing(driver: webdriver.Chrome, site: str, address: str) -> None:
    """In light by all its rules, in dark by those of colours."""
    driver.set_window_size(1440, 900)
    found = []
    for scheme, rules in {"light": (), "dark": COLOURS}.items():
        with media(driver, prefers_color_scheme=scheme):
            if scheme == "light":
                searched(driver, site + address)
            shot(driver, f"{address.strip('/').replace('/', '-')}-{scheme}")
            found += violations(driver, *rules)
    assert found == []
    assert complaints(driver) == []


def searched(driver: webdriver.Chrome, address: str) -> None:
    """A page with its first folds and the search's results open."""
    opened(driver, address)
    driver.execute_script(
        "const parts = [...document.querySelectorAll('details')].slice(0, 12);"
        "for (const part of parts) part.open = true"
    )
    driver.find_element(By.ID, "query").send_keys("rate limit")
    wait(driver, lambda d: d.find_elements(By.CSS_SELECTOR, "#hits a"))


def test_no_page_is_wider_than_a_phone_and_no_name_breaks(
    driver: webdriver.Chrome, site: str
) -> None:
    pages = [a for a in SITE.addresses() if SITE.content(a)[1] == "text/html"]
    shown = [a for a in pages if not a.startswith(("/docs/decisions/", "/docs/errors/"))]
    wide: dict[str, Any] = {}
    with phone(driver, WIDTH):
        for address in [*shown, "/docs/errors/symbol-unreadable"]:
            opened(driver, site + address)
            broken = driver.execute_script(_BROKEN)
            width = driver.execute_script("return document.documentElement.scrollWidth")
            if broken or width > WIDTH:
                wide[address] = (width, broken)
    assert wide == {}


@pytest.mark.parametrize(
    "address",
    [
        "/docs", "/docs/charts", "/docs/client", "/docs/operations", REFERENCE,
        f"{REFERENCE}/writeScore", "/docs/errors/unsupported-media-type",
    ],
)  # fmt: skip
def test_a_narrow_phone_needs_no_sideways_scrolling(
    driver: webdriver.Chrome, site: str, address: str
) -> None:
    with phone(driver, NARROW, 640):
        opened(driver, site + address)
        assert driver.execute_script("return document.documentElement.scrollWidth") <= NARROW


def test_a_phone_opens_the_contents(driver: webdriver.Chrome, site: str) -> None:
    with phone(driver):
        opened(driver, site + "/docs/charts")
        pages = driver.find_element(By.ID, "pages")
        assert not pages.is_displayed()
        driver.find_element(By.ID, "menu").click()
        assert pages.is_displayed()
        shot(driver, "phone-contents")
        driver.find_element(By.CSS_SELECTOR, "#pages a[href='/docs/paths']").click()
        wait(driver, lambda d: d.current_url.endswith("/docs/paths"))
        shot(driver, "phone-paths")


@pytest.mark.parametrize(
    ("words", "title", "address"),
    [
        ("rate limit", "Rate limits", "/docs/operations"),
        ("timeout", "Timeouts and retries", "/docs/client"),
        ("request timeout", "request-timeout", "/docs/errors/request-timeout"),
        ("findPath", "Find the best path", f"{REFERENCE}/findPath"),
        ("/v1/reviews", "Review what was played", f"{REFERENCE}/reviewPlaying"),
        ("symbol-unreadable", "symbol-unreadable", "/docs/errors/symbol-unreadable"),
        ("reach_mm", "reach_mm", f"{REFERENCE}/listVoicings"),
        ("SHORTWAY_WORKERS", "Environment variables", "/docs/operations"),
        ("health check", "Health checks", "/docs/operations"),
        ("authentication", "Authentication", "/docs/operations"),
        ("drop 2", "Families of voicings", "/docs/families"),
    ],
)
def test_the_search_finds(
    driver: webdriver.Chrome, site: str, words: str, title: str, address: str
) -> None:
    opened(driver, site + "/docs")
    hits = found(driver, words)
    assert any(title in name and at == address for name, at in hits[:4]), hits


def test_the_search_is_done_by_keys(driver: webdriver.Chrome, site: str) -> None:
    opened(driver, site + "/docs")
    body = driver.find_element(By.TAG_NAME, "body")
    body.send_keys("/")
    field = driver.switch_to.active_element
    assert field.get_attribute("id") == "query"
    field.send_keys("zzzz")
    wait(driver, lambda d: d.find_element(By.ID, "found").text == "Nothing found")
    assert found(driver, "comping rhythm")
    field.send_keys(Keys.ARROW_DOWN, Keys.ARROW_DOWN)
    second = driver.switch_to.active_element
    second.send_keys(Keys.ESCAPE)
    assert driver.switch_to.active_element == field
    field.send_keys("s", Keys.ENTER)
    wait(driver, lambda d: not d.current_url.endswith("/docs"))


@pytest.mark.parametrize(
    ("address", "anchor"),
    [
        ("/docs/charts", "chord-symbols"),
        (f"{REFERENCE}/findPath", "request.setting.prices.top-note-held"),
        (REFERENCE, "findPath"),
    ],
)
def test_a_link_leads_into_the_page(
    driver: webdriver.Chrome, site: str, address: str, anchor: str
) -> None:
    driver.set_window_size(1280, 800)
    opened(driver, f"{site}{address}#{anchor}")
    top = wait(
        driver,
        lambda d: d.execute_script(
            "const found = document.getElementById(arguments[0]).getBoundingClientRect();"
            "return found.height ? found.top : null",
            anchor,
        ),
    )
    assert 0 < top < 800


def test_try_it_calls_the_service(driver: webdriver.Chrome, site: str) -> None:
    driver.set_window_size(1440, 900)
    opened(driver, f"{site}{REFERENCE}/findPath")
    body = driver.find_element(By.ID, "try-body")
    assert json.loads(body.get_attribute("value"))["chart"]
    body.clear()
    body.send_keys('{"chart": {"text": "| Dm7 | G7 |"}, "setting": {"hands": "left"}}')
    driver.find_element(By.CSS_SELECTOR, "#try .send").click()
    wait(
        driver,
        lambda d: d.find_element(By.ID, "try-status").text.startswith("200, application/json"),
    )
    said = json.loads(driver.find_element(By.ID, "try-answer").get_property("textContent"))
    assert [step["symbol"] for step in said["steps"]] == ["Dm7", "G7"]
    shot(driver, "tried")
    body.clear()
    body.send_keys("{")
    driver.find_element(By.CSS_SELECTOR, "#try .send").click()
    wait(driver, lambda d: d.find_element(By.ID, "try-status").text.startswith("400"))
    assert "not-json" in driver.find_element(By.ID, "try-answer").text


def test_try_it_saves_files_and_sends_queries(driver: webdriver.Chrome, site: str) -> None:
    opened(driver, f"{site}{REFERENCE}/writeScore")
    form = driver.find_element(By.ID, "try")
    query = form.find_element(By.ID, "try-query")
    query.clear()
    query.send_keys("format=midi")
    form.find_element(By.CSS_SELECTOR, ".send").click()
    link = wait(driver, lambda d: d.find_element(By.CSS_SELECTOR, "#try-save:not([hidden])"))
    assert link.get_attribute("download").endswith(".mid")
    assert "audio/midi" in form.find_element(By.ID, "try-status").text


def test_a_language_is_chosen_once_and_samples_are_copied(
    driver: webdriver.Chrome, site: str
) -> None:
    opened(driver, f"{site}{REFERENCE}/getChord")
    driver.find_element(By.CSS_SELECTOR, ".languages [data-language=JavaScript]").click()
    opened(driver, f"{site}{REFERENCE}/readChords")
    seen = driver.find_elements(By.CSS_SELECTOR, "pre[data-language]")
    assert {one.get_attribute("data-language") for one in seen if one.is_displayed()} == {
        "JavaScript"
    }
    driver.execute_cdp_cmd(
        "Browser.grantPermissions",
        {"permissions": ["clipboardReadWrite", "clipboardSanitizedWrite"]},
    )
    shown = next(one for one in seen if one.is_displayed())
    driver.execute_script("document.querySelector('.code:not([hidden]) .copy').click()")
    wait(
        driver,
        lambda d: d.find_element(By.CSS_SELECTOR, ".code:not([hidden]) .copy").text == "Copied",
    )
    pasted = driver.execute_async_script("navigator.clipboard.readText().then(arguments[0])")
    assert pasted == shown.get_property("textContent")
    assert site in pasted


def test_nothing_is_asked_of_another_host(driver: webdriver.Chrome, site: str) -> None:
    asked(driver)
    for address in PAGES:
        opened(driver, site + address)
    found(driver, "rate limit")
    urls = asked(driver)
    assert f"{site}/docs/search.json" in urls
    assert hosts(urls) == {urlsplit(site).netloc}
