"""What the page plays: notes and times of the service's own MIDI file, and the step that follows.

The file is read by mido, an independent reader; what the page tells the device is caught.
"""

from __future__ import annotations

import io
import math
import time
from collections.abc import Iterable
from itertools import pairwise
from typing import Any

import mido
import pytest
import requests
from selenium import webdriver
from selenium.webdriver.common.by import By
from selenium.webdriver.support.ui import Select

from browser.browsing import complaints, drop, press, rows, solved, typed, wait
from support.sheets import attributes, harmony, measures, rest, score

TEMPO = 400
_CATCH = """
window.struck = []; window.told = [];
const start = OscillatorNode.prototype.start;
OscillatorNode.prototype.start = function (when) {
  window.struck.push([this.frequency.value, when]);
  return start.call(this, when);
};
const now = document.getElementById("now");
new MutationObserver(() => window.told.push(now.getAttribute("aria-live")))
  .observe(now, { childList: true });
"""


@pytest.fixture
def quick(page: webdriver.Chrome) -> webdriver.Chrome:
    """The page at the fastest tempo, with its strokes caught."""
    typed(page, "tempo", str(TEMPO))
    page.execute_script(_CATCH)
    return page


def pressed(page: webdriver.Chrome) -> bool:
    return page.find_element(By.ID, "play").get_attribute("aria-pressed") == "true"


def struck(page: webdriver.Chrome) -> list[tuple[int, float]]:
    """MIDI numbers with seconds after the first, as the device was told."""
    found = page.execute_script("return window.struck")
    return timed((round(69 + 12 * math.log2(pitch / 440)), when) for pitch, when in found)


def timed(found: Iterable[tuple[int, float]]) -> list[tuple[int, float]]:
    """Strokes in order, their times from the first one's."""
    strokes = list(found)
    first = min((when for _, when in strokes), default=0)
    return sorted((midi, when - first) for midi, when in strokes)


def assert_alike(found: list[tuple[int, float]], expected: list[tuple[int, float]]) -> None:
    """The same keys, at the same times to a hundredth of a second."""
    assert [midi for midi, _ in found] == [midi for midi, _ in expected]
    times = [when for _, when in expected]
    assert [when for _, when in found] == pytest.approx(times, abs=0.01)


def onsets(strokes: list[tuple[int, float]]) -> list[float]:
    """When anything is struck."""
    return sorted({round(when, 2) for _, when in strokes})


def in_file(site: str, body: dict[str, Any]) -> list[tuple[int, float]]:
    """The same of the service's MIDI file."""
    said = requests.post(
        site + "/v1/scores",
        json={**body, "tempo": TEMPO},
        headers={"Accept": "audio/midi"},
        timeout=20,
    )
    now, found = 0.0, []
    for message in mido.MidiFile(file=io.BytesIO(said.content)):
        now += message.time
        if message.type == "note_on" and message.velocity:
            found.append((message.note, now))
    return timed(found)


@pytest.mark.parametrize("rhythm", ["held", "charleston"])
def test_it_plays_the_midi_file_and_the_step_follows(
    quick: webdriver.Chrome, site: str, rhythm: str
) -> None:
    Select(quick.find_element(By.ID, "rhythm")).select_by_value(rhythm)
    chart = "| Dm7 G7 | Cmaj7 | F6 |"
    solved(quick, chart)
    press(quick, "play")
    assert pressed(quick)
    wait(quick, lambda d: rows(d)[3].get_attribute("aria-current") == "step")
    wait(quick, lambda d: not pressed(d))
    asked = {"chart": {"text": chart}, "rhythm": rhythm}
    assert_alike(struck(quick), in_file(site, asked))
    assert complaints(quick) == []


def test_steps_are_not_announced_while_it_plays(quick: webdriver.Chrome) -> None:
    solved(quick, "| Dm7 G7 | Cmaj7 |")
    now = quick.find_element(By.ID, "now")
    quick.execute_script("window.told = []")
    press(quick, "play")
    wait(quick, lambda d: not pressed(d))
    assert quick.execute_script("return window.told") == ["off", "off"]
    assert now.get_attribute("aria-live") == "polite"
    press(quick, "before")
    assert quick.execute_script("return window.told.at(-1)") == "polite"


def test_a_lead_sheet_in_six_eight_is_played_in_its_beats(
    quick: webdriver.Chrome, site: str
) -> None:
    """Two dotted quarter notes a measure: at 400 quarter notes a minute, 0.225 s each."""
    bar = harmony("F", "dominant") + rest(6) + harmony("Bb", "dominant") + rest(6)
    sheet = score(measures(attributes("6/8") + bar, bar))
    drop(quick, "chart", "jig.musicxml", sheet.encode())
    wait(quick, lambda d: len(rows(d)) == 4)
    press(quick, "play")
    wait(quick, lambda d: not pressed(d))
    found = struck(quick)
    assert_alike(found, in_file(site, {"chart": {"musicxml": sheet}}))
    assert onsets(found) == pytest.approx([0, 0.225, 0.45, 0.675], abs=0.01)
    assert rows(quick)[3].get_attribute("aria-current") == "step"


@pytest.mark.parametrize("chart", ["| Dm7 | G7 |", "| Dm7 G7 |"])
def test_a_loop_goes_round_until_it_is_stopped(quick: webdriver.Chrome, chart: str) -> None:
    """The second is shorter than what the device is told ahead."""
    press(quick, "loop")
    solved(quick, chart)
    press(quick, "play")
    wait(quick, lambda d: max((when for _, when in struck(d)), default=0) > 3)
    for step in (1, 0, 1):
        wait(quick, lambda d, step=step: rows(d)[step].get_attribute("aria-current") == "step")
    assert pressed(quick)
    press(quick, "play")
    assert not pressed(quick)
    times = onsets(struck(quick))
    apart = [later - time for time, later in pairwise(times)]
    expected = 0.6 if chart.count("|") == 3 else 0.3
    assert apart == pytest.approx([expected] * len(apart), abs=0.021)


def test_it_begins_where_one_looks_with_what_sounds_there(quick: webdriver.Chrome) -> None:
    """The second measure holds the first one's chord: nothing is struck there in the file."""
    solved(quick, "| Dm7 | % | G7 |")
    press(quick, "after")
    press(quick, "play")
    wait(quick, lambda d: not pressed(d))
    times = onsets(struck(quick))
    assert times == pytest.approx([0, 0.6], abs=0.01)
    assert len([1 for _, when in struck(quick) if when < 0.01]) == 5


def test_two_quick_clicks_on_play_start_and_stop_it(page: webdriver.Chrome) -> None:
    solved(page, "| Dm7 | G7 |")
    play = page.find_element(By.ID, "play")
    page.execute_script("arguments[0].click(); arguments[0].click();", play)
    time.sleep(3)
    assert not pressed(page)
    assert rows(page)[0].get_attribute("aria-current") == "step"
    play.click()
    wait(page, lambda d: rows(d)[1].get_attribute("aria-current") == "step")
    wait(page, lambda d: not pressed(d))
