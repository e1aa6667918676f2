"""The review view: notes typed or a MIDI file, the one figure, what is found at each step."""

from __future__ import annotations

import io
from collections.abc import Sequence

import mido
import pytest
from selenium import webdriver
from selenium.webdriver.common.by import By

from browser.browsing import at, complaints, content, press, shot, solved, text, typed, view, wait

CHART = "| Dm7 | G7 | Cmaj7 |"
DM7, G7, CMAJ7 = "F3 C4 E4 G4 D5", "F3 B3 E4 A4 D5", "E3 B3 D4 G4 B4"


def reviewed(page: webdriver.Chrome) -> str:
    """Have what is typed reviewed; what is said of it in all."""
    press(page, "review-ask")
    wait(page, lambda d: d.find_elements(By.CSS_SELECTOR, "#reviewed .excess"))
    return text(page, "reviewed")


def findings(page: webdriver.Chrome) -> list[str]:
    """The steps that have findings, with these."""
    return [row.text for row in page.find_elements(By.CSS_SELECTOR, "#reviewed li")]


def recorded(*steps: Sequence[int]) -> bytes:
    """A MIDI file of whole measures in 4/4."""
    file, track = mido.MidiFile(), mido.MidiTrack()
    file.tracks.append(track)
    for notes in steps:
        for kind, after in (("note_on", 0), ("note_off", 4 * file.ticks_per_beat)):
            for k, note in enumerate(notes):
                track.append(mido.Message(kind, note=note, time=0 if k else after))
    held = io.BytesIO()
    file.save(file=held)
    return held.getvalue()


def test_a_planted_fault_is_named(page: webdriver.Chrome) -> None:
    """F# over Dm7 is a wrong third, which is one finding."""
    solved(page, CHART, 3)
    view(page, "review")
    typed(page, "played", f"{DM7.replace('F3', 'F#3')}\n{G7}\n{CMAJ7}")
    said = reviewed(page)
    assert "1 fault," in said
    assert "F♯3 is a major third: Dm7 has the ♭3 (F)" in findings(page)[0]
    assert "Fault" not in "".join(findings(page)[1:])
    press(page, "after")
    page.find_element(By.CSS_SELECTOR, "#reviewed li button").click()
    assert at(page) == 0
    shot(page, "review")
    assert complaints(page) == []


def test_the_path_is_filled_in_and_is_as_good_as_itself(page: webdriver.Chrome) -> None:
    solved(page, "| Dm7 | N.C. | G7 | % |", 4)
    view(page, "review")
    page.find_element(By.XPATH, "//button[.='Fill in the path']").click()
    filled = str(page.find_element(By.ID, "played").get_property("value"))
    assert filled.split("\n")[1] == "2 N.C.: -"
    said = reviewed(page)
    assert said.startswith("0")
    assert "0 faults, 0 remarks" in said
    assert findings(page) == []


@pytest.mark.parametrize(
    ("notes", "words", "place"),
    [
        (f"{DM7}\nF3 H3 E4\n{CMAJ7}", ["'H3' is not a pitch", "Expected: a letter A to G"],
         "line 2"),
        (f"{DM7}\nF3 200\n-", ["this number is out of range"], "line 2"),
        (f"{DM7}\n{G7}", ["the chart has 3 steps, and what was played 2"], None),
    ],
)  # fmt: skip
def test_what_is_no_playing_is_refused_where_it_stands(
    page: webdriver.Chrome, notes: str, words: list[str], place: str | None
) -> None:
    solved(page, CHART, 3)
    view(page, "review")
    box = typed(page, "played", notes)
    press(page, "review-ask")
    wait(page, lambda d: d.find_element(By.ID, "played-problem").is_displayed())
    said = content(page, "played-problem")
    assert all(word in said for word in words), said
    assert box.get_attribute("aria-invalid") == "true"
    assert box.get_property("value") == notes
    if place:
        link = page.find_element(By.CSS_SELECTOR, "#played-problem button")
        assert link.text == place
        link.click()
        line = page.execute_script(
            "const box = document.getElementById('played');"
            "return box.value.slice(0, box.selectionStart).split('\\n').length"
        )
        assert place == f"line {line}"
    typed(page, "played", f"{DM7} | {G7} | {CMAJ7}")
    reviewed(page)
    assert not page.find_element(By.ID, "played-problem").is_displayed()


def test_a_midi_file_is_reviewed(page: webdriver.Chrome, tmp_path: object) -> None:
    solved(page, CHART, 3)
    view(page, "review")
    file = page.downloads.parent / "take-one.mid"  # type: ignore[attr-defined]
    file.write_bytes(recorded([53, 60, 64, 67, 74], [53, 59, 64, 69, 74], [52, 59, 62, 67, 73]))
    page.find_element(By.CSS_SELECTOR, "#view input[type=file]").send_keys(str(file))
    wait(page, lambda d: d.find_elements(By.CSS_SELECTOR, "#reviewed .excess"))
    assert (
        page.find_element(By.ID, "played").get_property("placeholder") == "MIDI file: take-one.mid"
    )
    assert "Fault: D♭5" in "".join(findings(page))
    file.write_bytes(recorded([60, 64])[:40])
    page.find_element(By.CSS_SELECTOR, "#view input[type=file]").send_keys(str(file))
    wait(page, lambda d: "the MIDI file is truncated" in text(d, "played-problem"))


def test_a_review_of_another_path_is_gone(page: webdriver.Chrome) -> None:
    view(page, "review")
    page.find_element(By.XPATH, "//button[.='Fill in the path']").click()
    reviewed(page)
    solved(page, CHART, 3)
    assert text(page, "reviewed") == "The path has changed: review again"
