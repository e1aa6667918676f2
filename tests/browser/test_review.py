"""A review on the page: notes typed or a MIDI file, the one figure, what is found at each step."""

from __future__ import annotations

import io
from collections.abc import Sequence

import mido
import pytest
from selenium import webdriver
from selenium.webdriver.common.by import By

from browser.browsing import complaints, drop, press, rows, solved, status, text, typed, wait

CHART = "| Dm7 | G7 | Cmaj7 |"
DM7, G7, CMAJ7 = "F3 C4 E4 G4 D5", "F3 B3 E4 A4 D5", "E3 B3 D4 G4 B4"


def judged(page: webdriver.Chrome) -> None:
    """Have what is typed reviewed, and wait for what comes of it."""
    page.find_element(By.CSS_SELECTOR, "#judge button.main").click()
    wait(page, lambda d: "Reviewing" not in status(d))


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
    solved(page, CHART)
    typed(page, "played", f"{DM7.replace('F3', 'F#3')}\n{G7}\n{CMAJ7}")
    judged(page)
    first, second, third = rows(page, "judged")
    assert "Fault: F#3" in first.text
    assert "F#3 (3) foreign" in first.text
    assert "F#3 is a major third: Dm7 has the b3 (F)" in first.text
    assert "Fault" not in second.text + third.text
    assert "1 fault," in text(page, "counts")
    assert text(page, "excess").startswith("Excess: ")
    assert "on the best path through the same steps" in text(page, "excess-words")
    cells = [cell.text for cell in second.find_elements(By.TAG_NAME, "td")]
    assert cells[3].split("\n")[0].isdigit()
    assert all("(3)" in cell for cell in (cells[4], cells[5]))
    assert "the end" in third.text
    press(page, "found-only")
    assert [row.is_displayed() for row in rows(page, "judged")] == [True, False, False]
    assert complaints(page) == []


def test_the_path_is_filled_in_and_reviewed(page: webdriver.Chrome) -> None:
    solved(page, "| Dm7 | N.C. | G7 | % |")
    press(page, "judge-this")
    filled = str(page.find_element(By.ID, "played").get_property("value"))
    assert filled.split("\n")[1] == "2 N.C.: -"
    judged(page)
    assert text(page, "excess") == "Excess: 0 semitones"
    assert "As good as the best path" in text(page, "excess-words")
    assert text(page, "counts") == "0 faults, 0 remarks."
    typed(page, "played", "60 64 | - | B3 F4 A4 | %")
    judged(page)
    cells = [row.find_elements(By.TAG_NAME, "td")[2].text for row in rows(page, "judged")]
    assert cells[3].startswith(cells[2])
    assert "B3 (3)" in cells[2]
    press(page, "played-fill")
    press(page, "played-back")
    assert page.find_element(By.ID, "played").get_property("value") == "60 64 | - | B3 F4 A4 | %"


@pytest.mark.parametrize(
    ("notes", "words"),
    [
        (f"Dm7: {DM7}\nG7: F3 H3 E4\nCmaj7: {CMAJ7}",
         ["'H3' is not a pitch", "Expected: a letter A to G", "At step 2, G7, note 2",
          "G7: F3 H3 E4\n       ^"]),
        (f"Dm7: {DM7} | G7: F3 200 | Cmaj7: -",
         ["this number is out of range", "note 2", "F3 200"]),
        (f"{DM7} | {G7}", ["the chart has 3 steps, and what was played 2", "Expected: 3 entries"]),
        ("", ["nothing says what was played", "Expected: either played or midi_file"]),
    ],
)  # fmt: skip
def test_what_is_no_playing_is_refused_where_it_stands(
    page: webdriver.Chrome, notes: str, words: list[str]
) -> None:
    solved(page, CHART)
    box = typed(page, "played", notes)
    judged(page)
    said = page.find_element(By.ID, "played-problem").get_property("textContent")
    assert all(word in said for word in words), said
    assert box.get_attribute("aria-invalid") == "true"
    assert box.get_property("value") == notes
    typed(page, "played", f"{DM7} | {G7} | {CMAJ7}")
    judged(page)
    assert not page.find_element(By.ID, "played-problem").is_displayed()
    assert box.get_attribute("aria-invalid") is None


@pytest.mark.parametrize("field", ["played", "chart"])
def test_a_midi_file_is_dropped_and_reviewed(page: webdriver.Chrome, field: str) -> None:
    """The chart begins after a measure of one low note, which does not count."""
    solved(page, CHART)
    page.execute_script("document.getElementById('start').value = 4")
    steps = ([36], [53, 60, 64, 67, 74], [53, 59, 64, 69, 74], [52, 59, 62, 67, 73])
    drop(page, field, "take-one.mid", recorded(*steps))
    wait(page, lambda d: "fault" in status(d).lower())
    assert "take-one.mid" in text(page, "recording-name")
    assert "15 notes of the file within the chart, 1 outside" in text(page, "counts")
    assert "Fault: Db5" in rows(page, "judged")[2].text
    assert [step.text.count("Fault") for step in rows(page, "judged")][:2] == [0, 0]
    press(page, "recording-drop")
    assert not page.find_element(By.ID, "recording").is_displayed()
    assert complaints(page) == []


def test_a_damaged_midi_file_is_refused(page: webdriver.Chrome) -> None:
    drop(page, "played", "torn.mid", recorded([60, 64])[:40])
    wait(page, lambda d: "Rejected" in status(d))
    said = text(page, "midi-problem")
    assert "the MIDI file is truncated" in said
    assert "Expected: a Standard MIDI File" in said


def test_a_review_is_gone_when_another_path_is_found(page: webdriver.Chrome) -> None:
    press(page, "judge-this")
    judged(page)
    assert page.find_element(By.ID, "reviewed").is_displayed()
    solved(page, CHART)
    assert not page.find_element(By.ID, "reviewed").is_displayed()
