"""What survives: a reload, a link, undo and redo; and locks, through edits of the chart."""

from __future__ import annotations

import json
import time
from typing import Any

import requests
from selenium import webdriver
from selenium.webdriver.common.by import By
from selenium.webdriver.common.keys import Keys

from browser.browsing import (
    chart,
    complaints,
    cost,
    drop,
    keys,
    marked,
    phase,
    press,
    ready,
    solved,
    text,
    wait,
)  # fmt: skip
from browser.conftest import opened_anew

CHART = "| Dm7 | G7 | Cmaj7 | A7 |"
#: Inserts words at an offset of the chart, as a visitor types them.
INSERT = """
const box = document.getElementById("chart");
box.focus();
box.setRangeText(arguments[1], arguments[0], arguments[0] + arguments[2], "end");
box.dispatchEvent(new Event("input"));
"""


def go_to(page: webdriver.Chrome, place: int) -> None:
    """Go to a step, counted from 1."""
    keys(page, Keys.ESCAPE, Keys.ESCAPE, *("." * (place - 1)))
    wait(page, lambda d: f"&at={place}&" in d.current_url)


def lock_here(page: webdriver.Chrome) -> None:
    before = page.current_url.count("-")
    press(page, "lock")
    wait(page, lambda d: phase(d) == "ready" and d.current_url.count("-") > before)


def kept(page: webdriver.Chrome) -> str:
    """The fragment once it is written."""
    time.sleep(0.45)
    return str(page.current_url).partition("#")[2]


def test_a_reload_brings_all_back(page: webdriver.Chrome) -> None:
    solved(page, CHART, 4)
    page.find_elements(By.CSS_SELECTOR, "#presets label")[1].click()
    page.find_element(By.CSS_SELECTOR, "#details summary").click()
    page.find_element(By.CSS_SELECTOR, "[data-set=reach] [value=octave]").click()
    press(page, "loop")
    ready(page, 4)
    go_to(page, 3)
    lock_here(page)
    keys(page, "4")
    before = (kept(page), chart(page), cost(page), marked(page, "here"))
    assert "p=solo&s.reach=octave&loop=0&" in before[0]
    assert before[0].endswith("&at=3&view=table")
    page.refresh()
    ready(page, 4)
    assert (kept(page), chart(page), cost(page), marked(page, "here")) == before
    assert text(page, "changed") == "1 changed"
    page.get(page.current_url.partition("#")[0] + "?")  # no fragment: out of the browser's storage
    page.get(page.current_url.partition("?")[0])
    ready(page, 4)
    assert (kept(page), chart(page), cost(page), marked(page, "here")) == before
    assert complaints(page) == []


def test_a_change_just_before_a_reload_is_kept(page: webdriver.Chrome) -> None:
    solved(page, CHART, 4)
    kept(page)
    page.execute_script(
        "const box = document.getElementById('chart'); box.value = 'title: Café\\n| Em7 | A7 |';"
        "box.dispatchEvent(new Event('input')); location.reload()"
    )
    wait(page, lambda d: chart(d) == "title: Café\n| Em7 | A7 |" and phase(d) == "ready")
    page.refresh()
    wait(page, lambda d: chart(d) == "title: Café\n| Em7 | A7 |" and phase(d) == "ready")


def test_a_link_opens_the_same_answer_elsewhere(page: webdriver.Chrome, site: str) -> None:
    solved(page, "title: Übung\n" + CHART, 4)
    lock_here(page)
    before = (kept(page), chart(page), cost(page))
    opened_anew(page, f"{site}/#{before[0]}")
    assert (kept(page), chart(page), cost(page)) == before
    assert marked(page, "here") == ["Dm7"]
    page.execute_script("location.hash = '#v=1&c=K8ksyUm1UvBJLElVcM5ITc7OLy0BAA&unknown=1'")
    wait(page, lambda d: chart(d) == "title: Late Checkout")
    page.execute_script("location.hash = '#v=1&c=%%%'")
    wait(page, lambda d: text(d, "toast") == "The chart in this link cannot be read")
    opened_anew(page, f"{site}/#v=1&c=AAAA")
    assert text(page, "toast") == "The chart in this link cannot be read"
    assert chart(page).startswith("title: Late Checkout\n")


def test_an_opened_file_never_enters_the_link(page: webdriver.Chrome) -> None:
    solved(page, "| Dm7 | G7 |", 2)
    sheet = requests.post(
        page.current_url.partition("#")[0] + "v1/scores?format=musicxml",
        json={"chart": {"text": "| Fm7 | Bb7 | Ebmaj7 |"}},
        timeout=20,
    ).content
    drop(page, "editor", "sheet.musicxml", sheet)
    ready(page, 3)
    assert "&c=" not in f"&{kept(page)}"


def test_undo_and_redo_go_through_all_that_makes_the_answer(page: webdriver.Chrome) -> None:
    first = chart(page)
    solved(page, CHART, 4)
    time.sleep(1.6)  # what is typed within a second and a half is one change
    page.find_element(By.ID, "chart").send_keys(" F6", " |")
    ready(page, 5)
    lock_here(page)
    page.find_elements(By.CSS_SELECTOR, "#presets label")[2].click()
    ready(page, 5)
    for _ in range(2):
        press(page, "undo")
    wait(page, lambda d: d.find_elements(By.CSS_SELECTOR, "#presets input")[0].is_selected())
    wait(page, lambda d: phase(d) == "ready" and marked(d, "locked") == [])
    press(page, "undo")
    ready(page, 4)
    assert chart(page) == CHART
    keys(page, Keys.ESCAPE)
    page.find_element(By.ID, "stage").send_keys(Keys.CONTROL, "z")
    wait(page, lambda d: chart(d) == first or not d.find_element(By.ID, "undo").is_enabled())
    while page.find_element(By.ID, "redo").is_enabled():
        press(page, "redo")
    wait(page, lambda d: d.find_elements(By.CSS_SELECTOR, "#presets input")[2].is_selected())
    ready(page, 5)


def locks(page: webdriver.Chrome) -> dict[int, str]:
    """Locked steps and their notes, as the link has them."""
    found = dict(part.split("=") for part in kept(page).split("&"))
    return {
        int(k): v for k, v in (one.split(":") for one in found.get("lock", "").split(",") if one)
    }


def test_locks_follow_their_chords_through_edits(page: webdriver.Chrome) -> None:
    solved(page, CHART, 4)
    lock_here(page)
    go_to(page, 3)
    lock_here(page)
    before = locks(page)
    assert list(before) == [0, 2]
    assert marked(page, "here") == ["Cmaj7"]
    page.execute_script(INSERT, 0, "| Em7 A7 ", 0)
    ready(page, 6)
    assert locks(page) == {2: before[0], 4: before[2]}
    assert marked(page, "here") == ["Cmaj7"]
    assert marked(page, "locked") == ["Dm7"]  # the other one is where one is
    time.sleep(1.6)
    page.execute_script(INSERT, chart(page).index("Dm7"), "Ebm7", 3)
    wait(page, lambda d: text(d, "toast").startswith("1 lock could not be kept"))
    assert locks(page) == {4: before[2]}
    press(page, "undo")
    wait(page, lambda d: locks(d) == {2: before[0], 4: before[2]})
    page.execute_script(INSERT, 0, "H ", 0)
    wait(page, lambda d: phase(d) == "error")
    wait(page, lambda d: marked(d, "bad") == ["H"])
    page.execute_script(INSERT, 0, "", 2)
    ready(page, 6)
    assert locks(page) == {2: before[0], 4: before[2]}
    press(page, "unlock-all")
    ready(page, 6)
    assert locks(page) == {}


def test_the_locked_answer_is_what_the_service_says(page: webdriver.Chrome, site: str) -> None:
    solved(page, CHART, 4)
    go_to(page, 2)
    lock_here(page)
    pins = [
        {"step": step, "midi_notes": [int(midi) for midi in notes.split("-")]}
        for step, notes in locks(page).items()
    ]
    said = path_of(site, {"chart": {"text": CHART}, "pins": pins})
    assert cost(page) == said["cost"]
    assert [step["midi_notes"] for step in said["steps"]][1] == pins[0]["midi_notes"]


def path_of(site: str, request: dict[str, Any]) -> dict[str, Any]:
    """A path as the page asks for it, straight from the service."""
    body = {"setting": {"preset": "with-bass-two-hands"}, "loop": True, **request}
    answer = requests.post(f"{site}/v1/paths", data=json.dumps(body), timeout=20, headers={
        "Content-Type": "application/json"})  # fmt: skip
    answer.raise_for_status()
    found: dict[str, Any] = answer.json()
    return found
