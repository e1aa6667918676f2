"""The grand staff engraved by Verovio: from music21's corpus and from our own scores.

Judges: Verovio's own log, with a negative control; the notes of the MusicXML counted; the safety
of the SVG as for the other pictures.
"""

from __future__ import annotations

import re
import signal
import subprocess
import sys
import threading
import time
from functools import cache
from typing import Any
from xml.etree import ElementTree as ET

import psutil
import pytest

from shortway.api import create_app
from shortway.core.cancellation import Cancelled, cancel_scope
from shortway.core.errors import Unavailable
from shortway.core.solver.solve import solve
from shortway.scores.child_process import ChildProcess, ProcessFailed, child_process
from shortway.scores.display import ScoreDisplay
from shortway.scores.notation import musicxml as writer
from shortway.scores.notation.model import build_score
from shortway.scores.notation.musicxml import score_text
from shortway.scores.pictures.engraving.documents import given_document
from shortway.scores.pictures.engraving.page_drawing import Heading
from shortway.scores.pictures.engraving.verovio_engraving import (
    ENGRAVER,
    STAFF_SPACE,
    EngravedPages,
    EngravingError,
    PageFormat,
    engrave,
)
from shortway.scores.pictures.staff import StaffDrawing, draw_staff
from shortway.services.read_chart import read_chart
from support import tunes
from support.pictures import SVG, unsafe
from support.tables import each_row

CHARTS = {
    "two-five": "| Dm7 | G7 | Cmaj7 | % |",
    "flats": "key: Gb\n| Abm9 | Db13 | Gbmaj9 | Ebm11 | Abm7 / Db7alt Gb6 | N.C. | Cm7b5 F7b9 |",
    "waltz": "meter: 3/4\n| F6 | C7sus / C7b9 | F#dim7 | Gm7 |",
    "long": next(tunes.requests(1, 64))["chart"],
}  # fmt: skip
#: Leadsheets in music21's corpus, from the installed package.
CORPUS = ("leadSheet/fosterBrownHair", "leadSheet/berlinAlexandersRagtime")


@cache
def score(name: str, bass_player: bool = True, degrees: bool = False) -> bytes:
    chart = read_chart(CHARTS[name]).chart
    path = solve(chart, {"bass_player": bass_player})
    return writer.write_musicxml(build_score(chart, path, show=ScoreDisplay(degrees=degrees)))


@cache
def from_corpus(name: str) -> bytes:
    music21 = pytest.importorskip("music21")
    from music21.musicxml.m21ToXml import GeneralObjectExporter

    data: bytes = GeneralObjectExporter(music21.corpus.parse(name)).parse()
    return data


def drawn(source: bytes, title: str | None = None, **more: Any) -> StaffDrawing:
    return draw_staff(given_document(source), Heading(title), **more)


def engraved(source: bytes, width: float = 960) -> EngravedPages:
    page = PageFormat(width, 40)
    return engrave(given_document(source)(page.room), page)


def check(picture: StaffDrawing, source: bytes) -> None:
    """Safe, silent, described, and every note of the source on it."""
    assert picture.warnings == ()
    assert unsafe(picture.svg) == []
    root = ET.fromstring(picture.svg)
    ids = [node.get("id") for node in root.iter() if node.get("id")]
    assert len(ids) == len(set(ids))
    used = [node.get("href", "")[1:] for node in root.iter(f"{SVG}use")]
    assert set(used) <= set(ids)
    heads = sum(1 for name in used if name.rpartition("-")[2] in ("E0A2", "E0A3", "E0A4", "E0A0"))
    notes = [n for n in ET.fromstring(source).iter("note") if n.find("pitch") is not None]
    assert heads >= len([n for n in notes if n.find("grace") is None]) > 0
    desc = root.find(f"{SVG}desc")
    assert root.get("role") == "img"
    assert desc is not None
    assert desc.text


@pytest.mark.parametrize("name", CHARTS)
def test_measures_are_numbered_as_they_stand(name: str) -> None:
    root = ET.fromstring(drawn(score(name)).svg)
    numbers = [node.get("data-measure") for node in root.iter() if node.get("data-measure")]
    count = len(ET.fromstring(score(name)).findall("part[1]/measure"))
    assert numbers == [str(number) for number in range(count)]


@each_row("width", [360, 960])
@each_row("name", CHARTS)
@each_row("bass_player, degrees", [(True, False), (False, True)])
def test_our_scores_are_engraved_without_a_warning(
    name: str, width: int, bass_player: bool, degrees: bool
) -> None:
    source = score(name, bass_player, degrees)
    picture = drawn(source, "Late Checkout", width=width)
    check(picture, source)
    assert picture.svg == drawn(source, "Late Checkout", width=width).svg


@pytest.mark.parametrize("name", CORPUS)
def test_scores_of_others_are_engraved(name: str) -> None:
    source = from_corpus(name)
    check(drawn(source), source)


def test_the_text_alternative_tells_the_path() -> None:
    path = solve(CHARTS["two-five"])
    root = ET.fromstring(drawn(score("two-five"), "Late Checkout", path=path).svg)
    title, desc = (root.find(f"{SVG}{tag}") for tag in ("title", "desc"))
    assert title is not None
    assert desc is not None
    assert title.text == "Late Checkout: grand staff"
    assert f"4 steps, 5 voices, total motion {path.motion} semitones" in (desc.text or "")


def test_symbols_are_told_once() -> None:
    """A degree that MusicXML marks as not printed (``print-object="no"``) is not printed."""
    assert b'print-object="no"' in score("flats")
    root = ET.fromstring(drawn(score("flats")).svg)
    words = [node.get("data-text", "") for node in root.iter() if node.get("data-text")]
    assert "F7♭9" in words
    assert not [word for word in words if "add" in word]


def test_several_pages_become_one_picture() -> None:
    """Verovio's pages end at 60,000 units; a chart of many measures on a phone has several."""
    chart = next(tunes.requests(1, 900))["chart"]
    path = solve(chart)
    source = writer.write_musicxml(build_score(read_chart(chart).chart, path))
    assert len(engraved(source, 360).pages) > 1
    picture = drawn(source, path=path, width=360)
    root = ET.fromstring(picture.svg)
    views = root.findall(f"{SVG}svg")
    assert len(views) > 1
    bottoms = [float(v.get("y", 0)) + float(v.get("height", 0)) for v in views]
    assert bottoms == sorted(bottoms)
    assert float(root.get("height", 0)) == pytest.approx(bottoms[-1], abs=0.1)


def test_a_tie_from_the_line_before_is_seen() -> None:
    # at the beginning of a line a tie is at least a staff space long (common practice, no source)
    page = PageFormat(960, 40)
    chart = read_chart("key: Eb\n" + 3 * "| Fm7 | Bb7 | Ebmaj7 | Cm7 ").chart
    (found,) = engrave(score_text(build_score(chart, solve(chart)), page.room), page).pages
    ties = [g for g in found.iter(f"{SVG}g") if "tie" in g.get("class", "").split()]
    places = [re.findall(r"([\d.]+),", path.get("d", "")) for g in ties for path in g]
    lengths = [max(map(float, xs)) - min(map(float, xs)) for xs in places]
    assert len(lengths) > 20
    assert min(lengths) > STAFF_SPACE


def test_warnings_are_heard() -> None:
    """The negative control: measures squeezed together, and a duration that is none."""
    wide = given_document(from_corpus(CORPUS[0]))(PageFormat(960, 40).room)
    assert engrave(wide, PageFormat(360, 40)).warnings
    spoiled = score("two-five").replace(b"<type>whole</type>", b"<type>sesquiwhole</type>")
    assert spoiled != score("two-five")
    assert drawn(spoiled).warnings


def test_what_is_no_score_is_refused() -> None:
    with pytest.raises(EngravingError):
        drawn(b"<opus/>")


def test_a_press_that_is_killed_is_replaced() -> None:
    before = drawn(score("two-five"))
    process = child_process(ENGRAVER)._process
    assert process is not None
    process.kill()
    process.wait()
    assert drawn(score("two-five")) == before


def test_an_engraver_that_dies_is_tried_once_more_and_never_blamed_on_the_chart(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """A process that is killed at work, as by the kernel for want of memory."""
    asked: list[float] = []
    call = ChildProcess.call

    def killed(self: ChildProcess, request: object) -> Any:
        asked.append(0)
        threading.Timer(0.05, self._running().kill).start()
        return call(self, request)

    monkeypatch.setattr(ChildProcess, "call", killed)
    with pytest.raises(Unavailable):
        engraved(score("long"))
    assert len(asked) == 2
    body = {"chart": CHARTS["long"], "show": {"picture": "staff"}}
    client = create_app().test_client()
    answer = client.post("/v1/scores", json=body, headers={"Accept": "image/svg+xml"})
    assert (answer.status_code, answer.get_json()["code"]) == (503, "unavailable")
    assert int(answer.headers["Retry-After"]) > 0


def test_a_process_that_is_stopped_can_be_given_up() -> None:
    """It takes no request that is longer than a pipe holds: 64 KiB on Linux (pipe(7))."""
    own = ChildProcess(ENGRAVER)
    own.call(["<score-partwise/>", {}])
    assert own._process is not None
    own._process.send_signal(signal.SIGSTOP)
    end = time.monotonic() + 0.5

    def watch() -> None:
        if time.monotonic() > end:
            raise Cancelled

    with cancel_scope(watch), pytest.raises(Cancelled):
        own.call([" " * 1_000_000, {}])
    assert time.monotonic() < end + 5
    assert own.call(["<score-partwise/>", {}])
    own.end()


def test_a_process_that_dies_at_work_is_told_of() -> None:
    own = ChildProcess("this")  # prints a text that is no JSON, and ends
    with pytest.raises(ProcessFailed, match="stopped without a response"):
        own.call([])
    assert own._process is None


def test_a_process_that_takes_too_long_is_killed() -> None:
    own = ChildProcess(ENGRAVER, 0)
    with pytest.raises(ProcessFailed, match="longer than 0 s"):
        own.call([score("long").decode(), {}])
    assert own._process is None


def test_whoever_is_stopped_leaves_nothing_at_work() -> None:
    """Effort stops an engraving under way, and its process; the next is served by another."""
    seen = []

    def watch() -> None:
        seen.append(child_process(ENGRAVER)._process)
        if len(seen) > 1:
            raise Cancelled

    drawn(score("two-five"))
    with cancel_scope(watch), pytest.raises(Cancelled):
        [engraved(score("long"), 360) for _ in range(100)]
    process = seen[-1]
    assert process is not None
    assert process.wait(60) == -signal.SIGKILL
    assert drawn(score("two-five"))


def test_who_waits_for_a_turn_may_be_stopped() -> None:
    own = ChildProcess(ENGRAVER)

    def watch() -> None:
        raise Cancelled

    with own._lock, cancel_scope(watch), pytest.raises(Cancelled):
        own.call(["<score-partwise/>", {}])


def test_others_go_on_while_verovio_engraves() -> None:
    """A call of Verovio's holds its interpreter for all its time: that must not be this one."""
    source = score("long")
    done = threading.Event()

    def draw() -> None:
        engraved(source)
        done.set()

    drawn(score("two-five"))  # the process is there
    turns = 0
    thread = threading.Thread(target=draw)
    thread.start()
    while not done.wait(0.001):
        turns += 1
    thread.join()
    assert turns > 3


def test_the_engraver_ends_with_whoever_started_it() -> None:
    code = (
        "from shortway.scores.child_process import child_process; "
        f"print(child_process({ENGRAVER!r})._running().pid, flush=True); "
        "import os; os.kill(os.getpid(), 9)"
    )
    out = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=False)
    assert out.returncode == -signal.SIGKILL
    engraver = psutil.Process(int(out.stdout)) if psutil.pid_exists(int(out.stdout)) else None
    if engraver is not None:
        engraver.wait(60)


def test_many_at_a_time_get_their_own() -> None:
    results: dict[int, StaffDrawing] = {}

    def draw(number: int) -> None:
        results[number] = drawn(score("two-five" if number % 2 else "waltz"))

    threads = [threading.Thread(target=draw, args=(number,)) for number in range(8)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert len(set(results.values())) == 2


def test_solving_and_drawing_lines_load_no_verovio() -> None:
    code = (
        "import sys; from shortway.core.solver.solve import solve; "
        "from shortway.scores.pictures.voice_lines import draw_voice_lines; "
        "from shortway.scores.pictures.keyboards import draw_keyboards; import shortway.api; "
        "p = solve('| Dm7 | G7 |'); draw_voice_lines(p); draw_keyboards(p); "
        "print([m for m in ('verovio', 'music21', 'mido') if m in sys.modules])"
    )
    out = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert out.stdout.strip() == "[]"
