"""Every call of the client against the real application on a loopback thread."""

from __future__ import annotations

import json
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from xml.etree import ElementTree

import pytest
import requests

from shortway.api import create_app
from shortway.core.settings.families import FAMILIES
from shortway.core.solver.solve import solve
from shortway.page import example_charts
from shortway.wire.serializers.paths import path_json
from shortway_client import (
    Chart,
    ChartChord,
    Chord,
    Client,
    PathRequest,
    Pin,
    Refused,
    Setting,
    to_json,
)
from shortway_client._codec import read_voicing_path
from support.charts import placeless
from support.loopback import served
from support.sheets import harmony, measures, note, packed, score

TURN = "| Dm7 | G7 | Cmaj7 | % |"


@pytest.fixture(scope="module")
def url() -> Iterator[str]:
    with served(create_app()) as url:
        yield url


@pytest.fixture
def client(url: str) -> Iterator[Client]:
    with Client(url) as client:
        yield client


def test_a_path_shows_itself(client: Client) -> None:
    path = client.find_path("| Dm7 | N.C. | G7 |", {"hands": "left"})
    assert repr(path) == f"<VoicingPath: 3 steps, cost {path.cost}, motion {path.motion}>"
    rows = path.to_rows()
    brief = client.find_path("| Dm7 | N.C. | G7 |", {"hands": "left"}, level="brief").to_rows()
    for name in ("symbol", "onset", "midi_notes"):
        assert [row[name] for row in brief] == [row[name] for row in rows]
    assert [row["symbol"] for row in rows] == ["Dm7", "N.C.", "G7"]
    assert {name for row in rows for name in row} == set(rows[0])
    html = path._repr_html_()
    table = ElementTree.fromstring(html)
    assert len(table.findall("./tbody/tr")) == 3
    colour = "#0e5160"
    for row, step in zip(table.findall("./tbody/tr"), path.steps, strict=True):
        filled = [key for key in row.iter() if key.get("fill") == colour]
        assert len(filled) == (len(step.voicing.midi_notes) if step.voicing else 0)
    assert "<b>" not in replace(path, steps=(replace(path.steps[0], symbol="<b>"),))._repr_html_()


def test_fields_of_a_newer_service_are_kept(client: Client) -> None:
    answer = json.loads(client.send("POST", "v1/paths", {"chart": TURN}))
    answer["steps"][0]["fingering"] = [1, 2]
    answer["setting"]["touch"] = "light"
    path = read_voicing_path(answer)
    assert path.steps[0].extra == {"fingering": [1, 2]}
    assert to_json(path.setting)["touch"] == "light"
    assert to_json(path) == answer


def test_answers_go_on_where_the_wire_takes_them(client: Client, tmp_path: Path) -> None:
    file = tmp_path / "turn.txt"
    file.write_text(TURN, "utf-8")
    reading = client.read_chart(file)
    path = client.find_path(reading)
    assert path.motion == client.find_path(file).motion
    first = path.steps[0].voicing
    assert first is not None
    assert client.find_path("| G7 |", start_from=first) == client.find_path(
        "| G7 |", start_from=first.midi_notes
    )


def test_health(client: Client) -> None:
    assert client.get_health().status
    assert client.get_readiness().status


@pytest.mark.parametrize(
    "symbol", ["Abm7b5/Gb", "C7+9", "C+7", "F♯ø", "Bb6/9", "C7(b9, #11)", "N.C."]
)
def test_a_chord(client: Client, symbol: str) -> None:
    chord = client.get_chord(symbol)
    assert chord.symbol == symbol
    assert (chord.root is None) == (symbol == "N.C.")
    assert [tone.degree for tone in chord.tones][:1] == ([] if chord.root is None else ["1"])


def test_a_bad_chord(client: Client) -> None:
    with pytest.raises(Refused) as caught:
        client.get_chord("Cmaj7q")
    problem = caught.value
    assert (problem.status, problem.code) == (422, "symbol-unreadable")
    assert problem.errors[0].position == 5
    assert problem.request_id


def test_chords_in_their_order(client: Client) -> None:
    good, bad, other = client.read_chords(["C7", "Cq", "F#m7b5"])
    assert (good.symbol, good.problem) == ("C7", None)
    assert isinstance(good.chord, Chord)
    assert bad.chord is None
    assert bad.problem is not None
    assert bad.problem.code == "symbol-unreadable"
    assert other.chord is not None
    assert other.chord.tones[1].note == "A"


def test_rhythms(client: Client) -> None:
    found = {rhythm.id: rhythm for rhythm in client.list_rhythms()}
    assert [hit.beat for hit in found["charleston"].hits] == [1, 2.5]
    held = client.write_score("| Dm7 | G7 |", kind="midi")
    assert client.write_score("| Dm7 | G7 |", kind="midi", rhythm="charleston") != held
    own = [{"beat": 1, "beats": 1}]
    assert client.write_score("| Dm7 | G7 |", kind="midi", hits=own, swing=2.0) != held


def test_presets(client: Client) -> None:
    found = {preset.id: preset for preset in client.list_presets()}
    assert found["small-hands"].sets == Setting(bass_player=True, hands="both", reach="octave")
    path = client.find_path("| Dm7 | G7 |", setting=Setting(preset="small-hands"))
    assert path.setting == found["small-hands"].setting


def test_families(client: Client) -> None:
    families = client.list_families()
    assert [family.id for family in families] == list(FAMILIES)
    assert any(family.default_for for family in families)


def test_voicings_over_all_pages(client: Client) -> None:
    whole = client.list_voicings("G7", limit=1000)
    assert len(whole.voicings) == whole.total > 10
    assert tuple(client.iter_voicings("G7", page=7)) == whole.voicings
    assert client.list_voicings("G7", limit=3, offset=2).voicings == whole.voicings[2:5]
    assert whole.voicings[0].motion is None


def test_no_voicings_is_an_empty_iterator(client: Client) -> None:
    assert list(client.iter_voicings("N.C.")) == []


def test_voicings_nearest_first(client: Client) -> None:
    page = client.list_voicings("G7", Setting(families=("rootless",)), after=[53, 57, 60, 64])
    motions = [voicing.motion for voicing in page.voicings]
    assert None not in motions
    assert motions == sorted(motions, key=lambda motion: motion or 0)


def test_a_melody_and_a_top_line(client: Client) -> None:
    entries = (ChartChord("Fm7", 4, melody=("Ab5",)),), (ChartChord("Bb7", 4, ceiling="E5"),)
    chart = Chart(meter="4/4", measures=entries)
    path = client.find_path(chart, Setting(melody="below"), top_line="rise")
    assert path.top_line_motion == 0
    assert path.setting.melody == "below"
    assert (path.steps[0].melody, path.steps[1].ceiling) == (("Ab5",), "E5")
    over = client.list_voicings("Fm7", Setting(melody="below"), melody=["Ab5"])
    assert 0 < over.total < client.list_voicings("Fm7").total
    assert tuple(client.iter_voicings("Fm7", melody=["Ab5"], page=2)) == over.voicings
    (result,) = client.find_paths([PathRequest(chart, top_line="rise", id="a")])
    assert result.path is not None
    assert result.path.top_line_motion == 0


def test_the_resolved_setting_repeats_the_call(client: Client) -> None:
    setting = Setting(hands="left", bass_player=True, reach_mm=200.5, lowest="E3")
    first = client.find_path(TURN, setting)
    assert first.setting.home
    assert first.setting.reach_mm == 200.5
    assert client.find_path(TURN, first.setting) == first


def test_a_chart_as_text_model_and_dict(client: Client) -> None:
    text = "title: Turn\nkey: C\n|: Dm7 | G7 / / Db7#11 :| Cmaj7 |"
    reading = client.read_chart(text)
    assert reading.chart.title == "Turn"
    assert [step.measure for step in reading.steps] == [1, 2, 2, 1, 2, 2, 3]
    assert [step.beat for step in reading.steps][:3] == [1, 1, 4]
    for same in (reading.chart, to_json(reading.chart)):
        assert placeless(to_json(client.read_chart(same))) == placeless(to_json(reading))
    solved = (to_json(client.find_path(chart)) for chart in (reading.chart, text))
    assert placeless(next(solved)) == placeless(next(solved))


def test_an_edited_chart_keeps_its_path(client: Client) -> None:
    before = client.find_path("| Dm7 | N.C. | G7 | Cmaj7 | A7 |")
    edited = "| Dm7 | N.C. | Db7 | Cmaj7 | Em7 | A7 |"
    keep = client.keep_notes(before, edited)
    assert [kept.step for kept in keep] == [0, 2, 3, 5]
    after = client.find_path(edited, keep=keep, choices_at=4, limit=2)
    assert after.released == (2,)
    for old, new in ((0, 0), (3, 3), (4, 5)):
        assert after.steps[new].midi_notes == before.steps[old].midi_notes
    assert len(after.choices) == 2
    assert after.choices[0].voicing == after.steps[4].voicing


def test_a_lead_sheet_as_text_bytes_and_file(client: Client, tmp_path: Path) -> None:
    text = score(measures(harmony("D", "minor-seventh") + note("F5", 16),
                          harmony("G", "dominant") + note("F5", 16)))  # fmt: skip
    zipped = packed({"a.xml": text}, "a.xml")
    reading = client.read_chart(text)
    assert [(step.symbol, step.melody) for step in reading.steps] == [
        ("Dm7", ("F5",)), ("G7", ("F5",)),
    ]  # fmt: skip
    for name, content in (("a.musicxml", text.encode("utf-16")), ("a.mxl", zipped)):
        assert client.read_chart(content) == reading
        (tmp_path / name).write_bytes(content)
        assert client.read_chart(tmp_path / name) == reading
    (tmp_path / "a.lab").write_text("0 2 D:min7\n2 4 G:7\n")
    assert client.read_chart(tmp_path / "a.lab").tempo == 120
    (tmp_path / "a.txt").write_text("| Dm7 | G7 |")
    assert client.read_chart(tmp_path / "a.txt").steps[1].symbol == "G7"
    path = client.find_path(reading.chart)
    assert client.find_path(text) == client.find_path(zipped) == path
    assert client.find_path(text.encode()) == path
    assert client.find_path({"musicxml": text}) == path


def test_a_path_is_the_cores(client: Client) -> None:
    path = client.find_path(
        TURN, loop=True, pins=[Pin(1, form="A")], start_from=[53, 57, 60, 64, 67]
    )
    core = solve(TURN, loop=True, pins=[{"step": 1, "form": "A"}], start_from=[53, 57, 60, 64, 67])
    told = path_json(core)
    assert to_json(path)["steps"] == told["steps"]
    assert path.motion == core.motion
    assert path.loop_motion == core.loop_motion
    assert path.start_motion == core.start_motion
    assert path.optimal


@pytest.mark.parametrize("text", [text for _, text in example_charts()])
def test_the_demo_charts(client: Client, text: str) -> None:
    path = client.find_path(text, {"hands": "left"})
    assert path.motion == sum(step.motion or 0 for step in path.steps)


def test_refusals_lead_to_the_fault(client: Client) -> None:
    with pytest.raises(Refused) as caught:
        client.find_path({"measures": [[{"symbol": "C"}], [{"symbol": "Dq"}]]})
    assert caught.value.errors[0].pointer == "/chart/measures/1/0/symbol"
    with pytest.raises(Refused) as caught:
        client.find_path(TURN, {"reach": "mile"})
    assert caught.value.errors[0].pointer == "/setting/reach"
    with pytest.raises(Refused) as caught:
        client.list_voicings("C7", limit=0)
    assert caught.value.errors[0].pointer == "/limit"


def test_a_session_of_ones_own(url: str) -> None:
    with requests.Session() as session:
        session.headers["X-Request-Id"] = "my-own"
        with Client(url, session=session) as client, pytest.raises(Refused) as caught:
            client.get_chord("q")
    assert caught.value.request_id == "my-own"


def test_alternatives(client: Client) -> None:
    path = client.find_path(TURN, alternatives=3, differs_in=2)
    assert len(path.alternatives) == 3
    core = solve(TURN, alternatives=3, differs_in=2)
    assert [o.motion for o in path.alternatives] == [o.motion for o in core.alternatives]
    for other in path.alternatives:
        pairs = zip(path.steps, other.steps, strict=True)
        assert sum(a.voicing != b.voicing for a, b in pairs) >= 2
