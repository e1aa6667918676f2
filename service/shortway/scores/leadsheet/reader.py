"""A MusicXML tree as a chart: parts walked, chords placed, measures put into playing order.

Knows every step of the reading and does the work of none. All parts share their measures; the
harmonies may stand in any of them. What a transposing part writes is turned into what sounds.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise
from typing import Final
from xml.etree.ElementTree import Element

from shortway.core.charts.model import (
    MAX_TITLE,
    Chart,
    Entry,
    Measure,
    check_step_limit,
    normalize_title,
)
from shortway.core.errors import ChartError
from shortway.scores.leadsheet.chord_placement import (
    ChordOnsets,
    LabelledPart,
    MeasureTiming,
    chord_intervals,
    chord_onsets,
    measure_timings,
    sustain_chords,
)
from shortway.scores.leadsheet.document.partwise import to_partwise
from shortway.scores.leadsheet.document.xml_values import child_text
from shortway.scores.leadsheet.melody import melody_over_chords
from shortway.scores.leadsheet.model import ChartSource, LeadSheet, WrittenMeasure
from shortway.scores.leadsheet.part_reader import PartMeasure, PartReader
from shortway.scores.leadsheet.playback_order import Ending, find_endings, playback_order
from shortway.scores.leadsheet.repeat_marks import collect_repeat_marks

Meter = tuple[int, int]

_EXPECTED: Final = "chord symbols as harmony elements"


def read_musicxml(tree: Element) -> ChartSource:
    """The chart of a MusicXML document.

    Raises
    ------
    ChartError, BeatsError, SymbolError, TooLarge
        With the pointer ``""``, and measure and part in their words.
    """
    root = to_partwise(tree)
    elements = root.findall("part")
    parts = _parts(root, elements)
    spaces = measure_timings(parts)
    marks = collect_repeat_marks(elements)
    chords = sustain_chords(chord_onsets(parts, spaces), _first_endings(find_endings(marks)))
    singing = _melody_part(parts)
    measures = _measures(parts[singing].measures, spaces, chords)
    title = _title(root)
    meters, keys = [space.meter for space in spaces], _keys(parts)
    changes = _changes(meters), _key_changes(keys)
    chart = Chart(measures, meters[0], keys[0], title, playback_order(marks), *changes)
    check_step_limit(chart.measures, chart.order)
    written = tuple(WrittenMeasure(i, walked.number) for i, walked in enumerate(parts[0].measures))
    return ChartSource(chart, LeadSheet(root, written, elements[singing].get("id", ""), title))


def _parts(root: Element, elements: Sequence[Element]) -> list[LabelledPart]:
    """The parts walked; all have as many measures, and some have harmonies."""
    if any(child.tag == "harmony" for child in root):
        detail = "a harmony is outside any part and measure"
        raise ChartError.at("", detail, expected="harmonies inside measures")
    if not elements:
        raise ChartError.at("", "the score has no part", expected="a part with measures")
    parts = [
        LabelledPart(label, list(PartReader(element, label).measures()))
        for element, label in zip(elements, _labels(root, elements), strict=True)
    ]
    counts = {len(part.measures) for part in parts}
    if len(counts) > 1 or counts == {0}:
        detail = f"the parts differ in length: {' and '.join(map(str, sorted(counts)))} measures"
        raise ChartError.at("", detail, expected="parts with the same measures, at least one")
    if not any(walked.harmonies for part in parts for walked in part.measures):
        raise ChartError.at("", "the score has no harmony", expected=_EXPECTED)
    return parts


def _labels(root: Element, elements: Sequence[Element]) -> list[str]:
    """What each part is called: its id, and its name where it has one."""
    names = {
        part.get("id"): " ".join(child_text(part, "part-name").split())[:40]
        for part in root.iterfind("part-list/score-part")
    }
    found = []
    for element in elements:
        id_ = element.get("id", "?")[:20]
        name = names.get(element.get("id"))
        found.append(f"part {id_} ({name})" if name else f"part {id_}")
    return found


def _first_endings(endings: Sequence[Ending]) -> dict[int, int]:
    """Of the first measure of each later ending, that of the first ending of its repeat."""
    found: dict[int, int] = {}
    first: int | None = None
    for ending in endings:
        if first is not None:
            found[ending.first] = first
        else:
            first = ending.first
        if ending.final:
            first = None
    return found


def _melody_part(parts: Sequence[LabelledPart]) -> int:
    """The part with harmonies and notes, else the first with notes."""
    for wants_harmonies in (True, False):
        for index, part in enumerate(parts):
            sings = any(walked.sounds for walked in part.measures)
            if sings and (not wants_harmonies or any(w.harmonies for w in part.measures)):
                return index
    return 0


def _measures(
    walked: Sequence[PartMeasure], spaces: Sequence[MeasureTiming], chords: Sequence[ChordOnsets]
) -> tuple[Measure, ...]:
    places = [
        chord_intervals(here, space, measure.number)
        for here, space, measure in zip(chords, spaces, walked, strict=True)
    ]
    lengths = [space.length for space in spaces]
    melody = melody_over_chords(walked, lengths, places, [space.beat for space in spaces])
    return tuple(
        tuple(
            Entry(chord.symbol, chord, (end - begin) / space.beat, notes)
            for (_, chord), (begin, end), notes in zip(here, spots, sung, strict=True)
        )
        for here, spots, sung, space in zip(chords, places, melody, spaces, strict=True)
    )


def _changes(values: Sequence[Meter]) -> tuple[tuple[int, Meter], ...]:
    """Where the meter is another than before, by measures from 1."""
    pairs = enumerate(pairwise(values), 2)
    return tuple((number, after) for number, (before, after) in pairs if after != before)


def _keys(parts: Sequence[LabelledPart]) -> list[str | None]:
    """The key of each measure, which any part may say; None before the first."""
    found: list[str | None] = []
    for index in range(len(parts[0].measures)):
        given = (part.measures[index].key for part in parts)
        named = next((key.name for key in given if key and key.name), None)
        found.append(named or (found[-1] if found else None))
    return found


def _key_changes(keys: Sequence[str | None]) -> tuple[tuple[int, str], ...]:
    pairs = enumerate(pairwise(keys), 2)
    return tuple((number, after) for number, (before, after) in pairs if after and after != before)


def _title(root: Element) -> str | None:
    """The work's title, else the movement's, cut to a chart's length."""
    for path in ("work/work-title", "movement-title"):
        words = " ".join((root.findtext(path) or "").split())
        title = normalize_title(words[:MAX_TITLE])
        if title:
            return title
    return None
