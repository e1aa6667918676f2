"""The page and the reference in a real browser: what a visitor does, by keyboard and by pointer.

Accessibility is judged by axe-core (Deque), as axe-selenium-python carries it.
"""

from __future__ import annotations

import io
import json
import time
from pathlib import Path
from typing import Any

import axe_selenium_python
import mido
import pytest
from selenium import webdriver
from selenium.common.exceptions import StaleElementReferenceException
from selenium.webdriver.common.by import By
from selenium.webdriver.common.keys import Keys
from selenium.webdriver.support.ui import Select, WebDriverWait

AXE = next(Path(axe_selenium_python.__file__).parent.rglob("axe.min.js"))
PATIENCE = 20


def wait(driver: webdriver.Chrome, until: Any) -> Any:
    """The page is drawn anew under what was found in it: then it is looked for again."""
    moving = [StaleElementReferenceException, IndexError]
    return WebDriverWait(driver, PATIENCE, ignored_exceptions=moving).until(until)


def status(driver: webdriver.Chrome) -> str:
    return str(driver.find_element(By.ID, "status").text)


def rows(driver: webdriver.Chrome) -> list[Any]:
    return list(driver.find_elements(By.CSS_SELECTOR, "#steps tbody tr"))


def solved(driver: webdriver.Chrome, chart: str) -> None:
    """Type a chart and find its path."""
    box = driver.find_element(By.ID, "chart")
    box.clear()
    box.send_keys(chart)
    driver.find_element(By.CSS_SELECTOR, "button.main").click()
    wait(driver, lambda d: "Looking" not in status(d))


@pytest.fixture
def page(driver: webdriver.Chrome, site: str) -> webdriver.Chrome:
    driver.set_window_size(1280, 1000)
    driver.get(site + "/")
    wait(driver, lambda d: "Total motion" in status(d))
    wait(driver, lambda d: d.find_elements(By.CSS_SELECTOR, "#example option:nth-child(4)"))
    driver.get_log("browser")
    return driver


def complaints(driver: webdriver.Chrome) -> list[str]:
    """What the console says is wrong, but for answers that refuse a request on purpose."""
    return [
        entry["message"]
        for entry in driver.get_log("browser")
        if entry["level"] in ("SEVERE", "WARNING") and " 422 " not in entry["message"]
    ]


def test_a_chart_is_solved_drawn_and_stepped_through(page: webdriver.Chrome, site: str) -> None:
    solved(page, "| Dm7 | G7 | Cmaj7 | % |")
    assert len(rows(page)) == 4
    assert "predominant" in rows(page)[0].text
    wait(page, lambda d: len(d.find_elements(By.CSS_SELECTOR, "#pictures img")) == 3)
    for image in page.find_elements(By.CSS_SELECTOR, "#pictures img"):
        wait(page, lambda d, image=image: d.execute_script(
            "return arguments[0].complete && arguments[0].naturalWidth > 100", image
        ))  # fmt: skip
        assert image.get_attribute("alt")
    body = page.find_element(By.CSS_SELECTOR, "#answer")
    body.send_keys(Keys.ARROW_RIGHT, Keys.ARROW_RIGHT)
    assert rows(page)[2].get_attribute("aria-current") == "step"
    assert "Step 3 of 4, Cmaj7" in page.find_element(By.ID, "now").text
    body.send_keys(Keys.ARROW_LEFT)
    assert rows(page)[1].get_attribute("aria-current") == "step"
    hosts = page.execute_script(
        "return performance.getEntriesByType('resource').map((e) => new URL(e.name).origin)"
    )
    assert {h for h in hosts if not h.startswith("null")} == {site}
    assert complaints(page) == []


def test_a_voicing_is_locked_and_the_rest_solved_again(page: webdriver.Chrome) -> None:
    solved(page, "| Dm7 | G7 | Cmaj7 |")
    page.find_element(By.ID, "others").click()
    options = wait(page, lambda d: d.find_elements(By.CSS_SELECTOR, "#choices li button"))
    chosen = options[-1].text.partition(";")[0].replace(" | ", " ").replace("\xa0", " ").split()
    before = rows(page)[0].text
    options[-1].click()
    wait(page, lambda d: "(locked)" in rows(d)[0].text)
    assert rows(page)[0].text != before
    assert all(word in rows(page)[0].text for word in chosen)
    page.find_element(By.ID, "unlock-all").click()
    wait(page, lambda d: "(locked)" not in rows(d)[0].text)
    assert complaints(page) == []


@pytest.mark.parametrize(
    ("field", "value", "words"),
    [
        ("chart", "| Dm7 | Hm7 |", "^"),
        ("notes", "99", "1 to 10"),
        ("families", "cluster", "guide-tone"),
    ],
)
def test_a_problem_stands_beside_its_field_and_nothing_is_lost(
    page: webdriver.Chrome, field: str, value: str, words: str
) -> None:
    box = page.find_element(By.ID, field)
    box.clear()
    box.send_keys(value)
    page.find_element(By.CSS_SELECTOR, "button.main").click()
    wait(page, lambda d: "Refused" in status(d))
    problem = page.find_element(By.XPATH, f"//*[@id='{field}']/ancestor::*[@data-pointer]")
    assert words in problem.find_element(By.CSS_SELECTOR, ".problem").text
    assert box.get_attribute("aria-invalid") == "true"
    assert box.get_attribute("value") == value
    assert rows(page), "the answer before is still there"
    box.clear()
    if field == "chart":
        box.send_keys("| C6 |")
    page.find_element(By.CSS_SELECTOR, "button.main").click()
    wait(page, lambda d: "Total motion" in status(d))
    assert box.get_attribute("aria-invalid") is None


def test_scores_are_downloaded(page: webdriver.Chrome) -> None:
    solved(page, "| Dm7 | G7 | Cmaj7 |")
    folder: Path = page.downloads  # type: ignore[attr-defined]
    for button, name in (("save-musicxml", "voicings.musicxml"), ("save-midi", "voicings.mid")):
        page.find_element(By.ID, button).click()
        wait(page, lambda _, name=name: (folder / name).exists() and (folder / name).stat().st_size)
    assert b"<score-partwise" in (folder / "voicings.musicxml").read_bytes()
    file = mido.MidiFile(file=io.BytesIO((folder / "voicings.mid").read_bytes()))
    assert sum(m.type == "note_on" and m.velocity > 0 for t in file.tracks for m in t) > 5


def test_the_request_is_copied(page: webdriver.Chrome, site: str) -> None:
    page.execute_cdp_cmd(
        "Browser.grantPermissions",
        {"permissions": ["clipboardReadWrite", "clipboardSanitizedWrite"], "origin": site},
    )
    Select(page.find_element(By.ID, "hands")).select_by_visible_text("left")
    for button, what, words in (
        ("copy-curl", "curl", ["curl -s", "/v1/paths", '"hands":"left"']),
        ("copy-client", "client code", ["solve_path(", '"hands": "left"']),
    ):
        page.find_element(By.ID, button).click()
        wait(page, lambda d, what=what: f"Copied as {what}" in status(d))
        text = page.execute_async_script(
            "const done = arguments[0];"
            "navigator.clipboard.readText().then(done, (e) => done(String(e)))"
        )
        assert all(word in text for word in words), text
    exec(compile(text, "copied", "exec"), {})


def test_it_plays_and_the_step_follows(page: webdriver.Chrome) -> None:
    tempo = page.find_element(By.ID, "tempo")
    tempo.clear()
    tempo.send_keys("400")
    solved(page, "| Dm7 G7 | Cmaj7 |")
    play = page.find_element(By.ID, "play")
    play.click()
    assert play.get_attribute("aria-pressed") == "true"
    wait(page, lambda d: rows(d)[2].get_attribute("aria-current") == "step")
    wait(page, lambda d: d.find_element(By.ID, "play").get_attribute("aria-pressed") == "false")
    assert complaints(page) == []


def test_two_quick_clicks_on_play_start_and_stop_it(page: webdriver.Chrome) -> None:
    solved(page, "| Dm7 | G7 |")
    play = page.find_element(By.ID, "play")
    page.execute_script("arguments[0].click(); arguments[0].click();", play)
    time.sleep(3)
    assert play.get_attribute("aria-pressed") == "false"
    assert rows(page)[0].get_attribute("aria-current") == "step"
    play.click()
    wait(page, lambda d: rows(d)[1].get_attribute("aria-current") == "step")
    wait(page, lambda d: d.find_element(By.ID, "play").get_attribute("aria-pressed") == "false")


def test_the_last_of_two_quick_rhythms_is_the_one_drawn(page: webdriver.Chrome) -> None:
    solved(page, "| Dm7 | G7 |")
    wait(page, lambda d: len(d.find_elements(By.CSS_SELECTOR, "#pictures img")) == 3)
    page.execute_script(
        "const box = document.getElementById('rhythm');"
        "window.sent = 0; const ask = window.fetch;"
        "window.fetch = async (path, how) => {"
        "  const late = ++window.sent === 1 ? 2500 : 0;"
        "  const said = await ask(path, how);"
        "  await new Promise((done) => setTimeout(done, late));"
        "  return said; };"
        "for (const name of ['four-to-the-bar', 'held']) {"
        "  box.value = name; box.dispatchEvent(new Event('change')); }"
    )
    staff = "document.querySelector('#picture-staff img').src"
    time.sleep(1.5)
    drawn = page.execute_script(f"return {staff}")
    time.sleep(2.5)
    assert page.execute_script(f"return {staff}") == drawn


def test_a_file_is_opened(page: webdriver.Chrome, tmp_path: Path) -> None:
    file = tmp_path / "two.json"
    file.write_text(json.dumps({"measures": [[{"symbol": "Fm7"}], [{"symbol": "Bb7"}]]}))
    page.find_element(By.ID, "file").send_keys(str(file))
    wait(page, lambda d: len(rows(d)) == 2 and "Fm7" in rows(d)[0].text)
    Select(page.find_element(By.ID, "example")).select_by_index(1)
    wait(page, lambda d: len(rows(d)) > 12)


def test_a_dropped_lead_sheet_is_asked_about(page: webdriver.Chrome) -> None:
    text = (Path(__file__).parents[2] / "openapi/examples/path-musicxml.json").read_text()
    sheet = json.loads(text)["request"]["body"]["chart"]["musicxml"]
    page.execute_script(
        "const files = new DataTransfer();"
        "files.items.add(new File([arguments[0]], 'sheet.musicxml'));"
        "document.getElementById('chart').dispatchEvent("
        "new DragEvent('drop', {dataTransfer: files, bubbles: true, cancelable: true}));",
        sheet,
    )
    wait(page, lambda d: "sheet.musicxml" in d.find_element(By.ID, "sheet-name").text)
    wait(page, lambda d: "Total motion" in status(d))
    assert complaints(page) == []


@pytest.mark.parametrize("address", ["/", "/docs"])
def test_a_phone_needs_no_sideways_scrolling(
    driver: webdriver.Chrome, site: str, address: str
) -> None:
    driver.execute_cdp_cmd(
        "Emulation.setDeviceMetricsOverride",
        {"width": 320, "height": 640, "deviceScaleFactor": 2, "mobile": True},
    )
    driver.get(site + address)
    wait(driver, lambda d: d.find_elements(By.CSS_SELECTOR, "main section:not([hidden])"))
    time.sleep(1)
    wide = driver.execute_script("return document.documentElement.scrollWidth")
    driver.execute_cdp_cmd("Emulation.clearDeviceMetricsOverride", {})
    assert wide <= 320


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("address", ["/", "/docs"])
def test_axe_finds_nothing(driver: webdriver.Chrome, site: str, address: str, scheme: str) -> None:
    features = [{"name": "prefers-color-scheme", "value": scheme}]
    driver.execute_cdp_cmd("Emulation.setEmulatedMedia", {"features": features})
    driver.get(site + address)
    wait(driver, lambda d: d.find_elements(By.CSS_SELECTOR, "main section:not([hidden])"))
    if address == "/":
        wait(driver, lambda d: len(d.find_elements(By.CSS_SELECTOR, "#pictures img")) == 3)
        driver.find_element(By.ID, "others").click()
        wait(driver, lambda d: d.find_elements(By.CSS_SELECTOR, "#choices li"))
    driver.execute_cdp_cmd("Runtime.evaluate", {"expression": AXE.read_text()})
    found = driver.execute_async_script(
        "const done = arguments[0];"
        "axe.run().then((r) => done(r.violations), (e) => done([String(e)]))"
    )
    driver.execute_cdp_cmd("Emulation.setEmulatedMedia", {"features": []})
    assert [(v["id"], [n["html"] for n in v["nodes"]][:3]) for v in found] == []
