"""A MusicXML tree read as a chart.

Combines the part reader, chord placement, melody and playback order. All parts have the same
measures; any of them may contain the harmonies. Transposing parts are read at sounding pitch.
"""

from collections.abc import Sequence
from fractions import Fraction
from itertools import pairwise
from typing import TypeVar
from xml.etree.ElementTree import Element

from shortway.core.charts.headers import MAX_TITLE, normalize_title
from shortway.core.charts.model import Chart, Entry, Measure, check_step_limit
from shortway.scores.leadsheet.chord_placement import (
    ChordOnsets,
    MeasureTiming,
    chord_intervals,
    chord_onsets,
    measure_timings,
    sustain_chords,
)
from shortway.scores.leadsheet.document.xml_values import chart_error, child_text
from shortway.scores.leadsheet.melody import melody_over_chords
from shortway.scores.leadsheet.model import ChartSource, LeadSheet
from shortway.scores.leadsheet.part_reader import Part, PartMeasure, PartReader
from shortway.scores.leadsheet.playback_order import find_endings, playback_order
from shortway.scores.leadsheet.repeat_marks import collect_repeat_marks

T = TypeVar("T")


def read_musicxml(tree: Element) -> ChartSource:
    """The chart of a MusicXML document.

    Raises ChartError, BeatsError, SymbolError, TooLarge with the pointer ``""``; the detail names
    measure and part.
    """
    root = _partwise(tree)
    elements = root.findall("part")
    parts = _parts(root, elements)
    timings = measure_timings(parts)
    marks = collect_repeat_marks(elements)
    later = {e.first: e.group for e in find_endings(marks) if e.first != e.group}
    chords = sustain_chords(chord_onsets(parts, timings), later)
    melody = _melody_part(parts)
    measures = _measures(parts[melody], timings, chords)
    title = _title(root)
    meters, keys = [timing.meter for timing in timings], _keys(parts)
    changes = _changes(meters), _changes(keys)
    chart = Chart(measures, meters[0], keys[0], title, playback_order(marks), *changes)
    check_step_limit(chart.measures, chart.order)
    part, began = elements[melody].get("id", ""), _onsets(parts[melody])
    return ChartSource(chart, LeadSheet(root, part, title, began, _tempi(parts)))


def _partwise(root: Element) -> Element:
    """The score-partwise: `root` itself, or a score-timewise converted."""
    if root.tag == "score-partwise":
        return root
    if root.tag != "score-timewise":
        detail = f"the root element is {str(root.tag)[:60]!r}"
        raise chart_error(detail, "score-partwise or score-timewise")
    score = Element("score-partwise", root.attrib)
    score.extend(child for child in root if child.tag != "measure")
    parts: dict[str, Element] = {}
    for timed in root.findall("measure"):
        for piece in timed.findall("part"):
            id_ = piece.get("id", "")
            measure = Element("measure", timed.attrib)
            measure.extend(piece)
            parts.setdefault(id_, Element("part", {"id": id_})).append(measure)
    score.extend(parts.values())
    return score


def _parts(root: Element, elements: Sequence[Element]) -> list[Part]:
    """The parts; all have the same number of measures, and at least one has harmonies."""
    if any(child.tag == "harmony" for child in root):
        raise chart_error("a harmony is outside any part and measure", "harmonies inside measures")
    if not elements:
        raise chart_error("the score has no part", "a part with measures")
    names = {
        part.get("id"): " ".join(child_text(part, "part-name").split())[:40]
        for part in root.iterfind("part-list/score-part")
    }
    parts = []
    for element in elements:
        name = names.get(element.get("id"))
        label = f"part {element.get('id', '?')[:20]}" + (f" ({name})" if name else "")
        parts.append(list(PartReader(element, label).measures()))
    counts = {len(part) for part in parts}
    if len(counts) > 1 or counts == {0}:
        detail = f"the parts differ in length: {' and '.join(map(str, sorted(counts)))} measures"
        raise chart_error(detail, "parts with the same measures, at least one")
    if not any(walked.harmonies for part in parts for walked in part):
        raise chart_error("the score has no harmony", "chord symbols as harmony elements")
    return parts


def _melody_part(parts: Sequence[Part]) -> int:
    """The index of the first part with harmonies and notes, else of the first with notes."""
    singing = [k for k, part in enumerate(parts) if any(w.sounds for w in part)]
    both = [k for k in singing if any(w.harmonies for w in parts[k])]
    return (both or singing or [0])[0]


def _measures(
    walked: Sequence[PartMeasure], timings: Sequence[MeasureTiming], chords: Sequence[ChordOnsets]
) -> tuple[Measure, ...]:
    intervals = [
        chord_intervals(here, timing, measure.number)
        for here, timing, measure in zip(chords, timings, walked, strict=True)
    ]
    melody = melody_over_chords(walked, timings, intervals)
    return tuple(
        tuple(
            Entry(chord.symbol, chord, (end - begin) / timing.beat, notes)
            for (_, chord), (begin, end), notes in zip(here, spans, sung, strict=True)
        )
        for here, spans, sung, timing in zip(chords, intervals, melody, timings, strict=True)
    )


def _onsets(part: Part) -> dict[int, list[Fraction]]:
    """When notes of the part begin in each measure, from 1; those tied from before do not."""
    return {
        number: sorted({sound.onset for sound in measure.sounds if not sound.tied_from})
        for number, measure in enumerate(part, 1)
    }


def _tempi(parts: Sequence[Part]) -> dict[int, list[tuple[Fraction, float]]]:
    """The tempi in each measure, from 1, in order, from any part."""
    found = {
        number: sorted(dict(mark for measure in measures for mark in measure.tempi).items())
        for number, measures in enumerate(zip(*parts, strict=True), 1)
    }
    return {number: marks for number, marks in found.items() if marks}


def _keys(parts: Sequence[Part]) -> list[str | None]:
    """The key of each measure, from any part; None before the first."""
    found: list[str | None] = []
    for index in range(len(parts[0])):
        given = (part[index].key for part in parts)
        named = next((key.name for key in given if key and key.name), None)
        found.append(named or (found[-1] if found else None))
    return found


def _changes(values: Sequence[T | None]) -> tuple[tuple[int, T], ...]:
    """The measures, from 1, whose value differs from the one before."""
    pairs = enumerate(pairwise(values), 2)
    return tuple((number, after) for number, (before, after) in pairs if after and after != before)


def _title(root: Element) -> str | None:
    """The title of the work, else of the movement, truncated for a chart."""
    for path in ("work/work-title", "movement-title"):
        title = normalize_title(" ".join((root.findtext(path) or "").split())[:MAX_TITLE])
        if title:
            return title
    return None
