"""The page in a real browser: a path asked for, drawn, stepped through, locked, taken away."""

from __future__ import annotations

import io
import time
from pathlib import Path

import mido
import pytest
from selenium import webdriver
from selenium.webdriver.common.by import By
from selenium.webdriver.common.keys import Keys
from selenium.webdriver.support.ui import Select

from browser.browsing import complaints, drawn, find, press, rows, solved, status, text, typed, wait

#: A stand-in for `fetch` that answers the first request for MIDI with a problem.
FAIL_ONCE = """
const ask = window.fetch; let failed = false;
window.fetch = (path, how) => {
  if (failed || how.headers.Accept !== "audio/midi") return ask(path, how);
  failed = true;
  const problem = JSON.stringify({ detail: "the pen is dry", errors: [] });
  const headers = { "Retry-After": "2" };
  return Promise.resolve(new Response(problem, { status: 503, headers }));
};
"""


def test_a_chart_is_solved_drawn_and_stepped_through(page: webdriver.Chrome) -> None:
    solved(page, "| Dm7 | G7 | Cmaj7 | % |")
    assert len(rows(page)) == 4
    assert "predominant" in rows(page)[0].text
    drawn(page)
    for picture in page.find_elements(By.CSS_SELECTOR, "#pictures svg[role=img]"):
        assert picture.size["width"] > 100
        named = (picture.get_attribute("aria-labelledby") or "").split()
        assert len(named) == 2
        assert all(page.find_element(By.ID, name).get_property("textContent") for name in named)
    body = page.find_element(By.CSS_SELECTOR, "#answer")
    body.send_keys(Keys.ARROW_RIGHT, Keys.ARROW_RIGHT)
    assert rows(page)[2].get_attribute("aria-current") == "step"
    assert "Step 3 of 4, Cmaj7" in page.find_element(By.ID, "now").text
    body.send_keys(Keys.ARROW_LEFT)
    assert rows(page)[1].get_attribute("aria-current") == "step"
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


def test_locks_follow_their_chords_through_edits(page: webdriver.Chrome) -> None:
    solved(page, "| Dm7 | G7 | Cmaj7 | A7 |")
    for k in (1, 3):
        rows(page)[k].find_element(By.CSS_SELECTOR, "button").click()
        press(page, "lock")
        wait(page, lambda d, k=k: "(locked)" in rows(d)[k].text)
    hands = [cell.text for cell in rows(page)[1].find_elements(By.TAG_NAME, "td")[2:4]]
    solved(page, "| Em7 | Dm7 | G7 | Cmaj7 | Ebm7 |")
    assert ["(locked)" in row.text for row in rows(page)] == [False, False, True, False, False]
    assert [cell.text for cell in rows(page)[2].find_elements(By.TAG_NAME, "td")[2:4]] == hands
    assert "1 locked voicing could not be kept" in status(page)
    assert complaints(page) == []


@pytest.mark.parametrize(
    ("field", "value", "words"),
    [
        ("chart", "| Dm7 | Hm7 |", ["| Dm7 | Hm7 |\n        ^"]),
        ("chart", '{"measures": [[{"symbol": "Dm7"}, {"symbol": "G7x"}]]}',
         ["In measure 1, chord 2", "G7x\n  ^"]),
        ("chart", '{"measures": [[{"symbol" "Dm7"}]]}', ["cannot read", '"symbol" "Dm7"', "^"]),
        ("notes", "99", ["1 to 10"]),
        ("families", "cluster", ["guide-tone"]),
    ],
)  # fmt: skip
def test_a_problem_stands_beside_its_field_and_nothing_is_lost(
    page: webdriver.Chrome, field: str, value: str, words: list[str]
) -> None:
    box = typed(page, field, value)
    find(page)
    assert "Rejected" in status(page)
    problem = page.find_element(By.XPATH, f"//*[@id='{field}']/ancestor::*[@data-pointer]")
    said = problem.find_element(By.CSS_SELECTOR, ".problem").get_property("textContent")
    assert all(word in said for word in words), said
    assert box.get_attribute("aria-invalid") == "true"
    assert box.get_attribute("value") == value
    assert rows(page), "the answer before is still there"
    typed(page, field, "| C6 |" if field == "chart" else "")
    find(page)
    assert "; proven optimal" in status(page)
    assert box.get_attribute("aria-invalid") is None


def test_a_list_that_fails_leaves_the_others(page: webdriver.Chrome, site: str) -> None:
    page.execute_cdp_cmd("Network.enable", {})
    page.execute_cdp_cmd("Network.setBlockedURLs", {"urls": ["*/v1/rhythms"]})
    page.get(site + "/")
    wait(page, lambda d: "cannot load this list" in d.find_element(By.ID, "ask").text)
    page.execute_cdp_cmd("Network.setBlockedURLs", {"urls": []})
    wait(page, lambda d: len(Select(d.find_element(By.ID, "preset")).options) > 3)
    wait(page, lambda d: len(Select(d.find_element(By.ID, "example")).options) == 4)
    assert "guide-tone" in text(page, "family-names")
    assert not Select(page.find_element(By.ID, "rhythm")).options
    page.find_element(By.CSS_SELECTOR, ".missing button").click()
    wait(page, lambda d: len(Select(d.find_element(By.ID, "rhythm")).options) > 3)
    assert not page.find_elements(By.CSS_SELECTOR, ".missing")


def test_a_download_that_fails_says_so_until_the_next(page: webdriver.Chrome) -> None:
    page.execute_script(FAIL_ONCE)
    press(page, "save-midi")
    wait(page, lambda d: "the pen is dry; retry in 2 seconds" in text(d, "answer-problem"))
    press(page, "save-midi")
    wait(page, lambda d: "Downloaded" in status(d))
    assert not page.find_element(By.ID, "answer-problem").is_displayed()


def test_the_step_is_framed_in_the_pictures_and_chosen_there(page: webdriver.Chrome) -> None:
    solved(page, "| Dm7 G7 | Cmaj7 | F6 |")
    drawn(page)
    for step, measure in enumerate((0, 0, 1, 2)):
        framed = f":is([data-step='{step}'], [data-measure='{measure}']) > rect.here"
        wait(page, lambda d, css=framed: len(d.find_elements(By.CSS_SELECTOR, css)) == 3)
        assert len(page.find_elements(By.CSS_SELECTOR, "#pictures .here")) == 3
        press(page, "after")
    for place, step in (("[data-step='1'] text", 1), ("[data-measure='1'] path", 2)):
        page.execute_script(
            "document.querySelector('#pictures ' + arguments[0])"
            ".dispatchEvent(new MouseEvent('click', {bubbles: true}))", place
        )  # fmt: skip
        assert rows(page)[step].get_attribute("aria-current") == "step"
    assert complaints(page) == []


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
        ("copy-client", "client code", ["find_path(", '"hands": "left"']),
    ):
        page.find_element(By.ID, button).click()
        wait(page, lambda d, what=what: f"Copied as {what}" in status(d))
        text = page.execute_async_script(
            "const done = arguments[0];"
            "navigator.clipboard.readText().then(done, (e) => done(String(e)))"
        )
        assert all(word in text for word in words), text
    exec(compile(text, "copied", "exec"), {})


def test_the_last_of_two_quick_rhythms_is_the_one_drawn(page: webdriver.Chrome) -> None:
    solved(page, "| Dm7 | G7 |")
    drawn(page)
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
    staff = "document.querySelector('#picture-staff svg').id"
    time.sleep(1.5)
    shown = page.execute_script(f"return {staff}")
    time.sleep(2.5)
    assert page.execute_script(f"return {staff}") == shown
