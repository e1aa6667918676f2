"""The player: notes and times of the service's MIDI file, the step that follows, exports.

The file is read by mido, an independent reader; what the page tells the device is caught.
"""

from __future__ import annotations

import io
import math
import subprocess
import time
from collections.abc import Iterable
from itertools import pairwise
from pathlib import Path
from typing import Any

import mido
import pytest
import requests
from selenium import webdriver
from selenium.webdriver.common.by import By
from selenium.webdriver.support.ui import Select

from browser.browsing import (
    answer,
    at,
    complaints,
    content,
    cost,
    drop,
    go,
    press,
    ready,
    shot,
    solved,
    text,
    typed,
    wait,
)  # fmt: skip
from browser.conftest import opened_anew
from support.sheets import attributes, harmony, measures, rest, score

TEMPO = 400
_CATCH = """
window.struck = []; window.loudest = [];
const start = OscillatorNode.prototype.start;
OscillatorNode.prototype.start = function (when) {
  window.struck.push([this.frequency.value, when]);
  return start.call(this, when);
};
const aim = AudioParam.prototype.setTargetAtTime;
AudioParam.prototype.setTargetAtTime = function (value, ...more) {
  window.loudest.push(value);
  return aim.call(this, value, ...more);
};
navigator.clipboard.writeText = async (text) => { window.copied = text; };
"""


@pytest.fixture
def quick(page: webdriver.Chrome) -> webdriver.Chrome:
    """The page at the fastest tempo, once through, with its strokes caught."""
    page.execute_script(_CATCH)
    set_tempo(page, TEMPO)
    if page.find_element(By.ID, "loop").get_attribute("aria-pressed") == "true":
        press(page, "loop")
        ready(page)
    return page


def set_tempo(page: webdriver.Chrome, tempo: int) -> None:
    page.execute_script(
        "const box = document.getElementById('tempo'); box.value = arguments[0];"
        "box.dispatchEvent(new Event('change'))", tempo
    )  # fmt: skip


def playing(page: webdriver.Chrome) -> bool:
    return page.find_element(By.ID, "play").get_attribute("aria-label") == "Stop"


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
        json={"setting": {"preset": "with-bass-two-hands"}, "tempo": TEMPO, "roots": "off", **body},
        headers={"Accept": "audio/midi"},
        timeout=20,
    )
    now, found = 0.0, []
    for message in mido.MidiFile(file=io.BytesIO(said.content)):
        now += message.time
        if message.type == "note_on" and message.velocity:
            found.append((message.note, now))
    return timed(found)


@pytest.mark.parametrize(
    ("pressed", "options"),
    [
        ([], {"rhythm": "held"}),
        (["swing", "roots"], {"rhythm": "charleston", "swing": 2, "roots": "audible"}),
    ],
)
def test_it_plays_the_midi_file_and_the_step_follows(
    quick: webdriver.Chrome, site: str, pressed: list[str], options: dict[str, Any]
) -> None:
    Select(quick.find_element(By.ID, "rhythm")).select_by_value(options["rhythm"])
    for button in pressed:
        press(quick, button)
    chart = "| Dm7 G7 | Cmaj7 | F6 |"
    solved(quick, chart, 4)
    press(quick, "play")
    assert playing(quick)
    wait(quick, lambda d: at(d) == 3)
    wait(quick, lambda d: not playing(d))
    assert_alike(struck(quick), in_file(site, {"chart": {"text": chart}, **options}))
    assert complaints(quick) == []


def test_sound_starts_quiet_and_says_so(quick: webdriver.Chrome) -> None:
    """Volume 30 of 100 is a gain of 0.09, and one note at most 0.16 of it: our own bounds."""
    assert quick.find_element(By.ID, "volume").get_property("value") == "30"
    press(quick, "play")
    wait(quick, lambda d: "loud sound harms hearing" in text(d, "toast"))
    wait(quick, struck)
    assert max(quick.execute_script("return window.loudest")) <= 0.1
    press(quick, "play")


def test_a_browser_without_a_sound_device_says_so(quick: webdriver.Chrome) -> None:
    solved(quick, "| Dm7 | G7 |", 2)
    quick.execute_script(
        "Object.defineProperty(AudioContext.prototype, 'currentTime', { get: () => 0 })"
    )
    press(quick, "play")
    wait(quick, lambda d: "No sound: " in text(d, "toast"))
    press(quick, "play")


def test_a_lead_sheet_in_six_eight_is_played_in_its_beats(
    quick: webdriver.Chrome, site: str
) -> None:
    """Two dotted quarter notes a measure: at 400 quarter notes a minute, 0.225 s each."""
    bar = harmony("F", "dominant") + rest(6) + harmony("Bb", "dominant") + rest(6)
    sheet = score(measures(attributes("6/8") + bar, bar))
    drop(quick, "chart", "jig.musicxml", sheet.encode())
    ready(quick, 4)
    press(quick, "play")
    wait(quick, lambda d: at(d) == 3)
    wait(quick, lambda d: not playing(d))
    found = struck(quick)
    assert_alike(found, in_file(site, {"chart": {"musicxml": sheet}}))
    assert onsets(found) == pytest.approx([0, 0.225, 0.45, 0.675], abs=0.01)


@pytest.mark.parametrize("chart", ["| Dm7 | G7 |", "| Dm7 G7 |"])
def test_a_loop_goes_round_until_it_is_stopped(quick: webdriver.Chrome, chart: str) -> None:
    """The second is shorter than what the device is told ahead."""
    press(quick, "loop")
    solved(quick, chart, 2)
    press(quick, "play")
    wait(quick, lambda d: max((when for _, when in struck(d)), default=0) > 3)
    for step in (1, 0, 1):
        wait(quick, lambda d, step=step: at(d) == step)
    assert playing(quick)
    press(quick, "play")
    assert not playing(quick)
    times = onsets(struck(quick))
    apart = [later - time for time, later in pairwise(times)]
    expected = 0.6 if chart.count("|") == 3 else 0.3
    assert apart == pytest.approx([expected] * len(apart), abs=0.021)


def test_it_begins_where_one_looks_with_what_sounds_there(quick: webdriver.Chrome) -> None:
    """The second measure holds the first one's chord: nothing is struck there in the file."""
    solved(quick, "| Dm7 | % | G7 |", 3)
    go(quick, 1)
    press(quick, "play")
    wait(quick, lambda d: at(d) == 2)
    wait(quick, lambda d: not playing(d))
    times = onsets(struck(quick))
    assert times == pytest.approx([0, 0.6], abs=0.01)
    assert len([1 for _, when in struck(quick) if when < 0.01]) == 5


def test_the_sound_follows_a_visitor_who_goes_elsewhere(quick: webdriver.Chrome) -> None:
    set_tempo(quick, 40)
    solved(quick, "| Dm7 | G7 | Cmaj7 |", 3)
    press(quick, "play")
    wait(quick, struck)
    press(quick, "after")
    time.sleep(0.4)
    assert playing(quick)
    assert at(quick) == 1
    set_tempo(quick, TEMPO)
    wait(quick, lambda d: at(d) == 2)
    wait(quick, lambda d: not playing(d))


def test_another_chart_ends_the_sound(quick: webdriver.Chrome) -> None:
    press(quick, "play")
    wait(quick, struck)
    quick.execute_script(  # at once: the driver's clearing is no input, and the next step undoes it
        "const box = document.getElementById('chart'); box.value = '| Dm7 | G7 |';"
        "box.dispatchEvent(new Event('input'))"
    )
    ready(quick, 2)
    assert not playing(quick)


def test_two_quick_clicks_on_play_start_and_stop_it(quick: webdriver.Chrome) -> None:
    solved(quick, "| Dm7 | G7 |", 2)
    play = quick.find_element(By.ID, "play")
    quick.execute_script("arguments[0].click(); arguments[0].click();", play)
    time.sleep(2)
    assert not playing(quick)
    assert at(quick) == 0
    assert struck(quick) == []


def test_the_cost_and_its_parts_are_said_apart(page: webdriver.Chrome) -> None:
    solved(page, "| Dm7 | G7 | Cmaj7 | A7 | Dm7 | G7 | C6 | % |", 8)
    path = answer(page)
    assert text(page, "total-now").startswith(f"{path['cost']}")
    assert "proven least" in text(page, "total-now")
    press(page, "total-now")
    parts = page.find_elements(By.CSS_SELECTOR, "#total-parts tbody td")
    assert sum(int(part.text) for part in parts) == path["cost"]
    assert f"motion {path['motion']}" in text(page, "total-now")
    shot(page, "total")
    press(page, "total-now")
    press(page, "lock")
    wait(page, lambda d: "with locks" in text(d, "total-now"))


def test_scores_are_downloaded(page: webdriver.Chrome) -> None:
    solved(page, "title: Stair well\n| Dm7 | G7 | Cmaj7 |", 3)
    folder: Path = page.downloads  # type: ignore[attr-defined]
    for kind, end in (("MusicXML", "musicxml"), ("MIDI", "mid"), ("SVG", "svg"), ("PDF", "pdf")):
        page.find_element(By.CSS_SELECTOR, "#export summary").click()
        shot(page, "export")
        page.find_element(By.CSS_SELECTOR, f"[data-export={kind}]").click()
        file = folder / f"stair-well.{end}"
        wait(page, lambda _, file=file: file.exists() and file.stat().st_size)
        wait(page, lambda d, end=end: f"Downloaded stair-well.{end}" in text(d, "toast"))
    assert b"<score-partwise" in (folder / "stair-well.musicxml").read_bytes()
    assert b"<svg" in (folder / "stair-well.svg").read_bytes()
    assert (folder / "stair-well.pdf").read_bytes().startswith(b"%PDF-")
    file = mido.MidiFile(file=io.BytesIO((folder / "stair-well.mid").read_bytes()))
    assert sum(m.type == "note_on" and m.velocity > 0 for t in file.tracks for m in t) > 5
    assert complaints(page) == []


def test_a_download_that_fails_says_why(page: webdriver.Chrome) -> None:
    page.execute_script(
        "window.fetch = () => Promise.resolve(new Response("
        "  JSON.stringify({ detail: 'the pen is dry', errors: [] }), { status: 503 }))"
    )
    page.execute_script("document.querySelector('[data-export=MIDI]').click()")
    wait(page, lambda d: "Cannot export MIDI: the pen is dry" in text(d, "toast"))


def copied(page: webdriver.Chrome, kind: str) -> str:
    page.execute_script(f"document.querySelector('[data-export={kind}]').click()")
    wait(page, lambda d: f"Copied as {kind}" in text(d, "toast"))
    return str(page.execute_script("return window.copied"))


def test_the_copied_code_runs(page: webdriver.Chrome, capsys: pytest.CaptureFixture[str]) -> None:
    page.execute_script(_CATCH)
    solved(page, "title: Sexton's Walk\n| Dm7 | G7 | Cmaj7 |", 3)
    press(page, "lock")
    ready(page)
    asked = cost(page)
    exec(compile(copied(page, "Python"), "copied", "exec"), {})
    assert capsys.readouterr().out.split()[0] == str(asked)
    said = subprocess.run(
        copied(page, "curl"), shell=True, capture_output=True, text=True, check=True, timeout=30
    )
    assert f'"cost":{asked},' in said.stdout
    script = copied(page, "JavaScript").replace(
        "console.log(path.cost, path.motion)", "return path.cost"
    )
    again = page.execute_async_script(
        f"const done = arguments[0]; (async () => {{ {script} }})().then(done)"
    )
    assert again == asked


def test_a_shared_link_is_the_same_page(page: webdriver.Chrome) -> None:
    page.execute_script(_CATCH)
    solved(page, "| Dm7 | G7 | Cmaj7 |", 3)
    go(page, 1)
    press(page, "lock")
    ready(page)
    press(page, "share")
    wait(page, lambda d: "Link copied" in text(d, "toast"))
    link = page.execute_script("return window.copied")
    before = cost(page), at(page), content(page, "keyboard-title")
    opened_anew(page, link)
    assert (cost(page), at(page), content(page, "keyboard-title")) == before
    assert "with locks" in text(page, "total-now")


def test_buttons_without_a_path_are_off(page: webdriver.Chrome) -> None:
    typed(page, "chart", " ")
    wait(page, lambda d: "no chart" in text(d, "total-now"))
    for name in ("play", "before", "after"):
        assert not page.find_element(By.ID, name).is_enabled()
