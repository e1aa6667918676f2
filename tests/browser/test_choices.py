"""What a visitor chooses: alternatives, presets, details and prices, keys of an exercise."""

from __future__ import annotations

import re
from typing import Any

import pytest
import requests
from selenium import webdriver
from selenium.webdriver.common.action_chains import ActionChains
from selenium.webdriver.common.by import By
from selenium.webdriver.common.keys import Keys
from selenium.webdriver.support.ui import Select

from browser.browsing import (
    chart,
    complaints,
    cost,
    keys,
    marked,
    phase,
    press,
    ready,
    solved,
    text,
    typed,
    wait,
)  # fmt: skip
from browser.test_memory import go_to, kept, path_of

CHART = "| Dm7 | G7 | Cmaj7 | A7 |"
#: The circle of fourths, flats before sharps; common practice, no source.
FOURTHS = ["C", "F", "B♭", "E♭", "A♭", "D♭", "G♭", "B", "E", "A", "D", "G"]


def cards(page: webdriver.Chrome) -> list[Any]:
    return list(page.find_elements(By.CSS_SELECTOR, "#alternatives .card"))


def opened(page: webdriver.Chrome) -> list[Any]:
    press(page, "swap")
    return list(wait(page, cards))


def shown_keys(page: webdriver.Chrome) -> str:
    return str(page.find_element(By.CSS_SELECTOR, "#keyboard g").get_property("innerHTML"))


def test_an_alternative_costs_what_its_card_says(page: webdriver.Chrome, site: str) -> None:
    solved(page, CHART, 4)
    go_to(page, 2)
    before = cost(page)
    found = opened(page)
    assert text(page, "sheet-title") == "Alternatives for G7"
    assert re.match(r"Bar 2, beat 1: (the )?\d+ (best )?voicings", text(page, "sheet-about"))
    assert found[0].get_attribute("aria-current") == "true"
    assert not page.find_element(By.ID, "ask").is_displayed()
    more = [int(m[1]) for c in found if (m := re.match(r"[+±](\d+) on the path", c.text))]
    assert more == sorted(more)
    assert len(more) == len(found) - 1
    stage = shown_keys(page)
    ActionChains(page).move_to_element(found[3]).perform()
    wait(page, lambda d: shown_keys(d) != stage)
    found[3].click()
    ready(page, 4)
    assert cost(page) == before + more[2]
    assert marked(page, "here") == ["G7"]
    notes = [int(midi) for midi in re.search(r"lock=1:([\d-]+)", kept(page))[1].split("-")]
    assert path_of(site, {"chart": {"text": CHART}, "pins": [{"step": 1, "midi_notes": notes}]})[
        "cost"
    ] == cost(page)
    assert "is swapped and locked" in text(page, "toast")
    wait(page, lambda d: "Now" in cards(d)[3].text)
    page.find_element(By.CSS_SELECTOR, "[name=order][value=near]").click()
    near = [int(m[1]) for c in cards(page) if (m := re.search(r"moves (\d+)", c.text))]
    assert near == sorted(near)
    keys(page, Keys.ESCAPE)
    assert page.find_element(By.ID, "ask").is_displayed()
    assert page.switch_to.active_element.get_attribute("id") == "swap"
    assert complaints(page) == []


def test_the_alternatives_follow_the_place_and_close_at_a_fault(page: webdriver.Chrome) -> None:
    solved(page, CHART, 4)
    keys(page, Keys.ESCAPE, "a")
    wait(page, cards)
    keys(page, ".")
    wait(page, lambda d: text(d, "sheet-title") == "Alternatives for G7" and cards(d))
    page.execute_script(
        "const box = document.getElementById('chart'); box.value = '| H |';"
        "box.dispatchEvent(new Event('input'))"
    )
    wait(page, lambda d: phase(d) == "error")
    wait(page, lambda d: not d.find_element(By.ID, "sheet").is_displayed())


def test_a_preset_is_chosen_by_keys_and_its_details_changed(
    page: webdriver.Chrome, site: str
) -> None:
    solved(page, CHART, 4)
    presets = page.find_elements(By.CSS_SELECTOR, "#presets input")
    assert presets[0].get_attribute("value") == "with-bass-two-hands"
    presets[0].send_keys(Keys.ARROW_DOWN)
    ready(page, 4)
    assert "p=solo&" in kept(page)
    assert (
        cost(page)
        == path_of(site, {"chart": {"text": CHART}, "setting": {"preset": "solo"}})["cost"]
    )
    page.find_element(By.CSS_SELECTOR, "#details summary").click()
    assert text(page, "changed") == "as the preset"
    Select(page.find_element(By.CSS_SELECTOR, "[data-set=reach]")).select_by_value("tenth")
    Select(page.find_element(By.CSS_SELECTOR, "[data-set=top_line]")).select_by_value("fall")
    page.find_element(By.CSS_SELECTOR, "#families [value=drop-2]").click()
    slider = page.find_element(By.CSS_SELECTOR, ".prices [name=top-note-held]")
    slider.send_keys(Keys.HOME)
    wait(page, lambda d: text(d, "changed") == "4 changed")
    ready(page, 4)
    wait(page, lambda d: "s.prices.top-note-held=0" in d.current_url)
    setting = {
        "preset": "solo",
        "reach": "tenth",
        "families": ["rootless", "drop-2", "spread"],
        "prices": {"top-note-held": 0},
    }
    asked = {"chart": {"text": CHART}, "top_line": "fall", "setting": setting}
    assert cost(page) == path_of(site, asked)["cost"]
    press(page, "reset")
    wait(page, lambda d: text(d, "changed") == "as the preset")
    ready(page, 4)
    assert "s." not in kept(page).replace("s.=", "")


def test_prices_are_left_off(page: webdriver.Chrome) -> None:
    solved(page, CHART, 4)
    page.find_element(By.CSS_SELECTOR, "#details summary").click()
    named = [s.get_attribute("name") for s in page.find_elements(By.CSS_SELECTOR, ".prices input")]
    site = page.current_url.partition("#")[0]
    listed = requests.get(f"{site}v1/prices", timeout=20).json()["prices"]
    assert named == [price["name"] for price in listed]
    press(page, "pricing")
    wait(page, lambda d: "s.pricing=none" in d.current_url)
    ready(page, 4)
    least = path_of(site.rstrip("/"), {"chart": {"text": CHART}, "with_least_motion": True})
    assert cost(page) == least["least_motion"]


@pytest.mark.parametrize(
    ("field", "value", "words"),
    [("lowest", "H9", "an octave: Eb3"), ("lowest", "C8", "lies above the highest")],
)
def test_a_problem_of_the_setting_stands_at_its_field(
    page: webdriver.Chrome, field: str, value: str, words: str
) -> None:
    solved(page, CHART, 4)
    page.find_element(By.CSS_SELECTOR, "#details summary").click()
    box = page.find_element(By.CSS_SELECTOR, f"[data-set={field}]")
    box.clear()
    box.send_keys(value, Keys.TAB)
    wait(page, lambda d: phase(d) == "error")
    problem = page.find_element(By.CSS_SELECTOR, f"[data-pointer='/setting/{field}'] .problem")
    wait(page, lambda _: problem.is_displayed())
    assert words in problem.text
    assert box.get_attribute("aria-invalid") == "true"
    assert not page.find_element(By.ID, "chart-problem").is_displayed()
    press(page, "reset")
    ready(page, 4)
    assert not problem.is_displayed()


def test_a_chart_goes_through_all_keys_and_back(page: webdriver.Chrome) -> None:
    solved(page, CHART, 4)
    page.find_element(By.XPATH, "//summary[contains(., 'All keys')]").click()
    press(page, "practise")
    ready(page, 48)
    found = page.find_elements(By.CSS_SELECTOR, ".keys-row button")
    assert [button.text for button in found] == FOURTHS
    found[3].click()
    wait(page, lambda d: "at=13&" in d.current_url)
    assert text(page, "now-symbol") == "Fm7"
    page.refresh()
    ready(page, 48)
    assert text(page, "now-symbol") == "Fm7"
    press(page, "lock")
    ready(page, 48)
    assert "lock=12:" in kept(page)
    page.find_element(By.XPATH, "//summary[contains(., 'All keys')]").click()
    typed(page, "keys-wanted", "C major  Eb, ")
    press(page, "practise")
    ready(page, 8)
    typed(page, "keys-wanted", "C H")
    press(page, "practise")
    wait(page, lambda d: phase(d) == "error")
    problem = page.find_element(By.CSS_SELECTOR, "#exercise[data-pointer='/keys'] > .problem").text
    assert "cannot read 'H' as a key" in problem
    press(page, "exercise-back")
    ready(page, 4)
    assert chart(page) == CHART
    assert complaints(page) == []
