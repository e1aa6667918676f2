"""Practice in all keys on the page: shown, marked, taken away, left again."""

from __future__ import annotations

import contextlib
import io
import json
from pathlib import Path
from xml.etree import ElementTree as ET

import pytest
from selenium import webdriver
from selenium.webdriver.common.by import By
from selenium.webdriver.support.ui import Select

from browser.browsing import complaints, drawn, find, press, rows, solved, status, text, typed, wait

CHART = "| Dm7 | G7 | Cmaj7 | % |"
#: The circle of fourths, flats before sharps; common practice, no source.
FOURTHS = ["C", "F", "Bb", "Eb", "Ab", "Db", "Gb", "B", "E", "A", "D", "G"]


@pytest.fixture
def practised(page: webdriver.Chrome) -> webdriver.Chrome:
    """The page with a chart of four measures in all keys."""
    solved(page, CHART)
    press(page, "practise")
    wait(page, lambda d: "through 12 keys" in status(d))
    return page


def keys(page: webdriver.Chrome) -> list[str]:
    return [row.text for row in page.find_elements(By.CSS_SELECTOR, "#steps tr.key")]


def joins(page: webdriver.Chrome) -> list[str]:
    return [row.split("motion into it: ")[1].split()[0] for row in keys(page)[1:]]


def motions(page: webdriver.Chrome) -> list[str]:
    return [row.find_elements(By.TAG_NAME, "td")[5].text for row in rows(page)][4::4]


def test_a_chart_goes_through_all_keys_and_back(practised: webdriver.Chrome) -> None:
    page = practised
    assert len(rows(page)) == 48
    assert [row.split()[1].strip(",;") for row in keys(page)] == FOURTHS
    assert joins(page) == motions(page)
    assert "join" not in keys(page)[0]
    assert "the chart's own key is C, estimated from the chords" in text(page, "exercise-about")
    drawn(page)
    page.find_element(By.XPATH, "//*[@id='exercise-keys']/button[.='Eb']").click()
    assert "Step 13 of 48, in Eb, Fm7" in text(page, "now")
    wait(page, lambda d: d.find_elements(By.CSS_SELECTOR, "[data-step='12'] > rect.here"))
    press(page, "exercise-back")
    wait(page, lambda d: len(rows(d)) == 4)
    assert page.find_element(By.ID, "chart").get_property("value") == CHART
    assert not page.find_element(By.ID, "exercise").is_displayed()
    assert complaints(page) == []


def test_what_is_practised_is_downloaded_and_reviewed(practised: webdriver.Chrome) -> None:
    page = practised
    folder: Path = page.downloads  # type: ignore[attr-defined]
    (folder / "voicings.musicxml").unlink(missing_ok=True)
    press(page, "save-musicxml")
    wait(page, lambda _: (folder / "voicings.musicxml").exists())
    assert len(ET.parse(folder / "voicings.musicxml").findall("part/measure")) == 48
    press(page, "judge-this")
    page.find_element(By.CSS_SELECTOR, "#judge button.main").click()
    wait(page, lambda d: len(rows(d, "judged")) == 48)
    assert text(page, "excess") == "Excess: 0 semitones"


def test_a_voicing_is_locked_within_the_exercise(practised: webdriver.Chrome) -> None:
    press(practised, "lock")
    wait(practised, lambda d: "(locked)" in rows(d)[0].text)
    assert len(rows(practised)) == 48
    assert len(keys(practised)) == 12
    before = joins(practised)
    practised.find_element(By.XPATH, "//*[@id='exercise-keys']/button[.='F']").click()
    press(practised, "others")
    wait(practised, lambda d: d.find_elements(By.CSS_SELECTOR, "#choices li button"))[-1].click()
    wait(practised, lambda d: "(locked)" in rows(d)[4].text)
    assert joins(practised) == motions(practised) != before
    find(practised)
    wait(practised, lambda d: len(rows(d)) == 4)


def test_the_way_and_keys_of_ones_own(page: webdriver.Chrome) -> None:
    solved(page, CHART)
    Select(page.find_element(By.ID, "key_order")).select_by_value("half-steps-down")
    press(page, "loop")
    press(page, "practise")
    wait(page, lambda d: len(keys(d)) == 12)
    assert keys(page)[1].startswith("In B, 1 down; motion into it: ")
    assert "motion into it" in keys(page)[0]
    typed(page, "keys-wanted", "C major  Eb, ")
    press(page, "practise")
    wait(page, lambda d: len(keys(d)) == 2)
    typed(page, "keys-wanted", "C H")
    press(page, "practise")
    wait(page, lambda d: "Rejected" in status(d))
    problem = page.find_element(By.CSS_SELECTOR, "[data-pointer='/keys'] .problem").text
    assert "cannot read 'H' as a key" in problem
    assert "Expected: a key such as Eb" in problem
    wrong = page.find_elements(By.CSS_SELECTOR, "[aria-invalid]")
    assert [field.get_attribute("id") for field in wrong] == ["keys-wanted"]
    assert len(keys(page)) == 2
    typed(page, "chart", "| Dm7 | Hm7 |")
    press(page, "practise")
    wait(page, lambda d: "^" in text(d, "chart-problem"))


def test_an_exercise_is_copied_as_one(practised: webdriver.Chrome, site: str) -> None:
    practised.execute_cdp_cmd(
        "Browser.grantPermissions",
        {"permissions": ["clipboardReadWrite", "clipboardSanitizedWrite"], "origin": site},
    )
    read = "navigator.clipboard.readText().then(arguments[0], (e) => arguments[0](String(e)))"
    press(practised, "copy-curl")
    wait(practised, lambda d: "Copied as curl" in status(d))
    copied = practised.execute_async_script(read)
    assert "/v1/exercises " in copied
    body = json.loads(copied.partition(" -d '")[2].rstrip("'"))
    assert (body["chart"], body["key_order"]) == ({"text": CHART}, "fourths")
    press(practised, "copy-client")
    wait(practised, lambda d: "Copied as client code" in status(d))
    said = io.StringIO()
    with contextlib.redirect_stdout(said):
        exec(compile(practised.execute_async_script(read), "copied", "exec"), {})
    assert int(said.getvalue()) > 0


def test_a_chart_too_long_for_pictures_says_so(page: webdriver.Chrome) -> None:
    solved(page, "| Dm7 G7 | Cmaj7 A7 " * 22 + "|")
    press(page, "practise")
    wait(page, lambda d: "through 12 keys" in status(d))
    said = "Cannot draw this picture: a picture of 1,056 chords would be too large"
    wait(page, lambda d: d.find_element(By.ID, "pictures").text.count(said) == 3)
    assert len(rows(page)) == 1056
