"""Answers as music21 scores, compared with what the answers say, and read back by the service."""

from __future__ import annotations

from collections.abc import Iterator
from fractions import Fraction
from typing import Any

import pytest

from scores.readers import sounded
from shortway.api import create_app
from shortway.services.read_chart import read_lead_sheet
from shortway_client import Client, VoicingPath, to_music21
from support.loopback import served

CHART = "meter: 3/4\n|: Dm7b5 G7b9 | Cm6 :| N.C. | Bb13 Gbmaj7 Fbdim7 |"


@pytest.fixture(scope="module")
def client() -> Iterator[Client]:
    with served(create_app()) as url, Client(url) as client:
        yield client


def expected(path: VoicingPath, hand: str) -> set[tuple[Fraction, Fraction, str]]:
    return {
        (Fraction(step.onset), Fraction(step.beats), note.note)
        for step in path.steps
        if step.voicing
        for note in getattr(step.voicing, hand)
    }


@pytest.mark.parametrize("hands", ["both", "left"])
def test_a_score_has_the_notes_of_the_path(client: Client, hands: str) -> None:
    path = client.find_path(CHART, {"hands": hands})
    right, left = to_music21(path).parts
    assert sounded(right) == expected(path, "right")
    assert sounded(left) == expected(path, "left")
    for part in (right, left):
        measures = list(part.getElementsByClass("Measure"))
        assert [m.barDuration.quarterLength for m in measures] == 6 * [3]
        assert [m.duration.quarterLength for m in measures] == 6 * [3]
    symbols = [(s.offset, s.figure) for s in right.flatten().getElementsByClass("Harmony")]
    assert len(symbols) == len(path.steps)
    assert symbols[0][1].replace("-", "b") == "Dm7b5"


def test_music21_writes_it_and_the_service_reads_it(client: Client, tmp_path: Any) -> None:
    path = client.find_path("| Dm7 G7 | Cmaj7 |")
    written = to_music21(path).write("musicxml", tmp_path / "score.musicxml")
    chart = read_lead_sheet(written.read_bytes(), "musicxml").chart
    assert [entry.symbol for measure in chart.measures for entry in measure] == [
        "Dm7", "G7", "Cmaj7",
    ]  # fmt: skip


@pytest.mark.parametrize("kind", ["musicxml", "mxl"])
def test_files_of_scores_are_read_too(client: Client, kind: str) -> None:
    score = to_music21(client.write_score("| Dm7 | G7 |", kind=kind))
    assert max(note.offset + note.quarterLength for note in score.flatten().notes) == 8


def test_a_brief_path_does_not_say_enough(client: Client) -> None:
    path = client.find_path("| Dm7 | G7 |", level="brief")
    with pytest.raises(ValueError, match="level='full'"):
        to_music21(path)
