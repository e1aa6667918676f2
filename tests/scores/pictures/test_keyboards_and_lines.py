"""Keyboards and voice lines: what they draw, read back from their bytes.

Key positions: piano makers' figures, in `support.plain`. Safety and text
alternatives: W3C, SVG 2 (`title`, `desc`) and SVG Accessibility API Mappings (``role="img"`` named
by them). Everything else is laid beside the path itself.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Callable
from functools import cache
from itertools import pairwise
from xml.etree import ElementTree as ET

import pytest

from shortway.core.solver.solve import Path, solve
from shortway.scores.pictures.keyboards import draw_keyboards
from shortway.scores.pictures.voice_lines import draw_voice_lines
from support import tunes
from support.pictures import SVG, shift, steps, unsafe, words
from support.plain import centre_mm
from support.tables import each_row

Draw = Callable[..., bytes]
BOTH = pytest.mark.parametrize("draw", [draw_keyboards, draw_voice_lines])

BLUES = "| Bb6 G7 | Cm7 F7 | Dm7 G7b9 | N.C. | Fm7 Bb7 | Ebmaj7 Ab7 | N.C. Bb6 | F7sus / / Bb13 |"
#: Solved once a test asks, and not where tests are only collected.
PATHS: dict[str, Callable[[], Path]] = {
    "loop": lambda: solve("| Dm7 | G7 | Cmaj7 | % |", loop=True),
    "solo": lambda: solve(BLUES, {"bass_player": False}),
    "left": lambda: solve(BLUES, {"hands": "left"}, loop=True),
    "one": lambda: solve("| Abm7b5/Gb |"),
    "rest": lambda: solve("| N.C. |"),
    "start": lambda: solve("| Dm7 | G7 |", {"hands": "left"}, start_from=[53, 57, 60, 64]),
    "free": lambda: solve(
        "| Dm7 | G7 | Cmaj7 |",
        {"families": ["shell", "rootless-three"], "notes_vary": True, "split_cost": 0},
    ),
    "nine": lambda: solve(
        "| C13 | F13 | Bb13 |",
        {"families": ["any-playable"], "notes": 8, "bass_player": False,
         "lowest": "C2", "highest": "C7"},
    ),
    "flats": lambda: solve("| Abm9 | Db13 | Gbmaj9 | Ebm11 | Abm7 / Db7alt Gb6 |"),
    "64": lambda: solve(next(tunes.requests(1, 52))["chart"], loop=True),
}  # fmt: skip


@cache
def solved(name: str) -> Path:
    return PATHS[name]()


WIDTHS = (240, 360, 960, 1600)


@BOTH
@each_row("name", PATHS)
def test_pictures_are_well_formed_safe_and_the_same_each_time(draw: Draw, name: str) -> None:
    svg = draw(solved(name), "Late Checkout")
    root = ET.fromstring(svg)
    assert root.tag == f"{SVG}svg"
    assert unsafe(svg) == []
    assert svg == draw(solved(name), "Late Checkout")
    references = {node.get("href", "#")[1:] for node in root.iter(f"{SVG}use")}
    ids = [node.get("id") for node in root.iter() if node.get("id")]
    assert len(ids) == len(set(ids))
    assert references <= set(ids)


def test_what_is_unsafe_is_seen() -> None:
    """The judge above finds a planted fault of each sort."""
    for planted in (
        "<script/>", '<g onclick="x"/>', '<use href="http://x.example/#a"/>',
        '<g fill="url(//x.example/)"/>', "<style>@import 'x'</style>", '<image href="x.png"/>',
    ):  # fmt: skip
        svg = f'<svg xmlns="http://www.w3.org/2000/svg">{planted}</svg>'
        assert unsafe(svg.encode()), planted


@BOTH
def test_words_stay_words(draw: Draw) -> None:
    title = '<script>alert(1)</script> & "more" \u202eback\x00 ]]>'
    svg = draw(solved("one"), title)
    assert unsafe(svg) == []
    root = ET.fromstring(svg)
    told = root.find(f"{SVG}title")
    assert told is not None
    assert (told.text or "").startswith('<script>alert(1)</script> & "more"  back')


@BOTH
@each_row("name", PATHS)
def test_the_text_alternative_tells_the_figures(draw: Draw, name: str) -> None:
    path = solved(name)
    root = ET.fromstring(draw(path, "Late Checkout"))
    assert root.get("role") == "img"
    named = [node for node in root if node.get("id") in root.get("aria-labelledby", "").split()]
    assert [node.tag for node in named] == [f"{SVG}title", f"{SVG}desc"]
    title, desc = (node.text or "" for node in named)
    assert title.startswith("Late Checkout: ")
    count = len(path.steps)
    assert re.search(rf"\b{count} step{'s' * (count != 1)}\b", desc)
    assert re.search(rf"total motion {path.motion} semitone{'s' * (path.motion != 1)}\b", desc)
    assert f"largest leap {path.largest_leap}" in desc


@BOTH
def test_two_pictures_in_a_page_share_no_id(draw: Draw) -> None:
    a, b = (ET.fromstring(draw(solved(name))) for name in ("loop", "solo"))
    ids = [{node.get("id") for node in root.iter() if node.get("id")} for root in (a, b)]
    assert not ids[0] & ids[1]


@BOTH
@each_row("width", WIDTHS)
@each_row("name", PATHS)
def test_no_text_is_cut_off_or_meets_another(draw: Draw, name: str, width: int) -> None:
    root = ET.fromstring(draw(solved(name), "A title of some length to see it cut", width))
    wide, high = float(root.get("width", 0)), float(root.get("height", 0))
    assert wide == width
    assert root.get("viewBox") == f"0 0 {root.get('width')} {root.get('height')}"
    boxes = sorted(words(root), key=lambda word: word.left)
    for word in boxes:
        assert word.left >= 0, word
        assert word.right <= wide + 1, word
        assert word.top >= 0, word
        assert word.bottom <= high, word
    met = [
        (a, b)
        for k, a in enumerate(boxes)
        for b in boxes[k + 1 :]
        if b.left + 1 < a.right and a.top + 1 < b.bottom and b.top + 1 < a.bottom
    ]
    assert met == []


@BOTH
def test_a_long_chart_stays_small_enough_to_send(draw: Draw) -> None:
    path = solve(next(tunes.requests(1, 400))["chart"])
    assert len(draw(path)) < 2_000 * len(path.steps)


# --- keyboards -----------------------------------------------------------------------------------


def _marks(group: ET.Element) -> list[tuple[int, float, str, str, str]]:
    """MIDI number, x, mark, degree and told words of every note of a step."""
    found = []
    for node in group.iter(f"{SVG}g"):
        if node.get("data-midi") is None:
            continue
        use, text, told = (node.find(f"{SVG}{tag}") for tag in ("use", "text", "title"))
        assert use is not None
        assert text is not None
        assert told is not None
        mark = re.sub(r"^#keyboards-[0-9a-f]+-", "", use.get("href", ""))
        assert use.get("x") == text.get("x")
        at = float(use.get("x", "nan"))
        found.append((int(node.get("data-midi", "")), at, mark, text.text or "", told.text or ""))
    return found


@pytest.mark.parametrize("name", PATHS)
def test_every_note_is_on_its_keyboard_once_with_its_degree(name: str) -> None:
    path = solved(name)
    drawn = steps(ET.fromstring(draw_keyboards(path)))
    assert list(drawn) == list(range(len(path.steps)))
    for number, step in enumerate(path.steps):
        notes = step.voicing.notes if step.voicing else ()
        expected = Counter((note.midi, note.degree) for note in notes)
        marks = _marks(drawn[number])
        assert Counter((midi, degree) for midi, _, _, degree, _ in marks) == expected
        names = {note.midi: note.note for note in notes}
        assert all(told.split(", ")[0] == names[midi] for midi, *_, told in marks)


@pytest.mark.parametrize("name", PATHS)
def test_marks_say_hand_bass_and_held(name: str) -> None:
    path = solved(name)
    drawn = steps(ET.fromstring(draw_keyboards(path)))
    sounding = [step for step in path.steps if step.voicing]
    before = set(sounding[-1].voicing.midi_notes) if path.loop_motion is not None else set()  # type: ignore[union-attr]
    before |= {move.from_midi for move in path.steps[0].moves}
    for number, step in enumerate(path.steps):
        if step.voicing is None:
            continue
        for hand, notes in (("left", step.voicing.left), ("right", step.voicing.right)):
            for note in notes:
                mark = next(m for midi, _, m, _, _ in _marks(drawn[number]) if midi == note.midi)
                held = note.midi in before
                assert mark == hand + "-bass" * note.is_bass + "-held" * held
        before = set(step.voicing.midi_notes)


@pytest.mark.parametrize("name", PATHS)
def test_marks_lie_where_the_keys_lie(name: str) -> None:
    """Distances on the picture are those of a keyboard in mm, one scale for the whole picture."""
    root = ET.fromstring(draw_keyboards(solved(name)))
    at = {midi: x for group in steps(root).values() for midi, x, *_ in _marks(group)}
    if len(at) < 2:
        return
    low, high = min(at), max(at)
    scale = (at[high] - at[low]) / (centre_mm(high) - centre_mm(low))
    for midi, x in at.items():
        assert x - at[low] == pytest.approx(
            (centre_mm(midi) - centre_mm(low)) * scale, abs=0.02 + 0.02 * scale
        )


@pytest.mark.parametrize("name", PATHS)
def test_the_blank_keyboard_has_the_keys_of_its_octaves(name: str) -> None:
    root = ET.fromstring(draw_keyboards(solved(name)))
    keys = next(n for n in root.iter(f"{SVG}g") if n.get("id", "").endswith("-keys"))
    fronts, tops = (path.get("d", "") for path in keys.iter(f"{SVG}path"))
    named = [text.text or "" for text in keys.iter(f"{SVG}text")]
    whites, blacks = fronts.count("M") + 1, tops.count("M")
    midi = [key for step in solved(name).steps if step.voicing for key in step.voicing.midi_notes]
    span = max(midi, default=60) - min(midi, default=60) + 1
    assert span <= whites + blacks <= max(span + 6 + 6, 12)  # from B down to F, from F up to B
    assert len(named) in (whites // 7, whites // 7 + 1)
    assert abs(whites * 5 - blacks * 7) <= 12  # seven white to five black


# --- voice lines ---------------------------------------------------------------------------------


def _dots(group: ET.Element) -> list[tuple[int, float, float]]:
    """MIDI number as marked, x and y of every dot of a step; a diamond's from its outline."""
    found = []
    for node in group.iter():
        if node.get("data-midi") is None:
            continue
        midi = int(node.get("data-midi", ""))
        if node.tag == f"{SVG}circle":
            found.append((midi, float(node.get("cx", "")), float(node.get("cy", ""))))
        else:
            start = re.match(r"M(\S+) (\S+)l(\S+) ", node.get("d", ""))
            assert start
            found.append((midi, float(start[1]) + float(start[3]), float(start[2])))
    return found


@pytest.mark.parametrize("name", PATHS)
def test_every_voice_is_where_its_pitch_is(name: str) -> None:
    """One dot a note; heights differ as half steps do, the higher the note the higher up."""
    path = solved(name)
    drawn = steps(ET.fromstring(draw_voice_lines(path)))
    heights: dict[int, float] = {}
    for number, step in enumerate(path.steps):
        dots = _dots(drawn[number])
        midi = step.voicing.midi_notes if step.voicing else ()
        assert sorted(key for key, _, _ in dots) == list(midi)
        places = [x for _, x, _ in dots]
        assert max(places, default=0.0) - min(places, default=0.0) < 0.02
        for key, _, y in dots:
            assert heights.setdefault(key, y) == y
    if heights:
        low = min(heights)
        for key, y in heights.items():
            assert heights[low] - y == pytest.approx(10 * (key - low))


@pytest.mark.parametrize("name", PATHS)
def test_every_move_is_one_stroke_of_its_level_with_its_figure(name: str) -> None:
    path = solved(name)
    drawn = steps(ET.fromstring(draw_voice_lines(path)))
    for number, step in enumerate(path.steps):
        if step.voicing is None:
            continue
        strokes = Counter()  # type: ignore[var-annotated]
        for node in drawn[number].iter(f"{SVG}path"):
            for start, end in re.findall(r"M\S+ (\S+?)L\S+ ([\d.]+)", node.get("d", "")):
                half_steps = round((float(start) - float(end)) / 10)
                strokes[half_steps] += 1
                assert node.get("stroke-width") == _width(half_steps)
        pairs = {(move.from_midi, move.to_midi) for move in step.moves}
        upper = Counter(b - a for a, b in pairs)
        assert upper <= strokes
        assert (strokes - upper).total() <= 1  # the bass
        figures = [t.text or "" for t in drawn[number].iter(f"{SVG}text")]
        arrived: dict[int, int] = {}
        for move in step.moves:
            arrived[move.to_midi] = max(arrived.get(move.to_midi, 0), abs(move.semitones))
        told = Counter(int(f[1:]) for f in figures if re.fullmatch(r"[+−]\d+", f))
        assert Counter(size for size in arrived.values() if size) <= told


def _width(half_steps: int) -> str:
    """Line widths by distance, written here a second time."""
    size = abs(half_steps)
    return "1.6" if not size else "2.5" if size == 1 else "3.5" if size == 2 else (
        "4.5" if size < 5 else "5.6")  # fmt: skip


@each_row("name", ["loop", "solo", "64"])
@each_row("width", WIDTHS)
def test_time_runs_by_beats(name: str, width: int) -> None:
    """In a row, equal beats take equal room unless a symbol needs more."""
    path = solved(name)
    root = ET.fromstring(draw_voice_lines(path, None, width))
    rows: dict[float, list[tuple[float, int]]] = {}
    for row in root.iter(f"{SVG}g"):
        for group in row:
            if group.get("data-step") is not None:
                text = next(group.iter(f"{SVG}text"))
                number = int(group.get("data-step", ""))
                rows.setdefault(shift(row)[1], []).append((float(text.get("x", "")), number))
    told = [number for _, row in sorted(rows.items()) for _, number in row]
    assert told == list(range(len(path.steps)))
    for row in rows.values():
        assert row == sorted(row)
        for (x, number), (after, _) in pairwise(row):
            assert after - x >= 12 * min(1.0, float(path.steps[number].step.beats))


def test_a_loop_shows_where_it_comes_from() -> None:
    """Round the end: the first step's strokes begin at hollow dots, a repeat sign on both sides."""
    path, open_path = solved("loop"), solve("| Dm7 | G7 | Cmaj7 | % |")
    first = steps(ET.fromstring(draw_voice_lines(path)))[0]
    hollow = [n for n in first.iter(f"{SVG}circle") if n.get("data-midi") is None]
    assert len(hollow) == len(path.steps[-1].voicing.midi_notes)  # type: ignore[union-attr]
    opening = steps(ET.fromstring(draw_voice_lines(open_path)))[0]
    assert [n for n in opening.iter(f"{SVG}circle") if n.get("data-midi") is None] == []
