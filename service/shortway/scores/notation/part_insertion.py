"""A lead sheet with the piano part added under the melody; all else of it stays.

Knows the sheet's tree and the piano part. Measures stay as written where every pass through a
repeat is played alike; else all parts are written out in playing order.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from copy import deepcopy
from dataclasses import replace
from typing import Final
from xml.etree import ElementTree
from xml.etree.ElementTree import Element

from shortway.scores.leadsheet.model import LeadSheet
from shortway.scores.notation import piano_part as piano
from shortway.scores.notation import repeat_expansion as unrolled
from shortway.scores.notation.model import Score
from shortway.scores.notation.musicxml import (
    INSTRUMENT,
    VERSION,
    score_part_element,
    serialize_musicxml,
)
from shortway.scores.notation.piano_part import MeasureFrame
from shortway.scores.notation.refold import refold_repeats

_PERCUSSION: Final = 10
_CHANNELS: Final = range(1, 17)
_MUSIC: Final = ("note", "backup", "forward")
_NAMED: Final[tuple[str, ...]] = ("number", "implicit", "non-controlling")


def insert_piano_part(music: Score, sheet: LeadSheet) -> bytes:
    """The lead sheet with the piano part of `music`.

    Raises
    ------
    SettingError
        If a time is too fine for note values.
    """
    root = deepcopy(sheet.tree)
    root.set("version", VERSION)
    found = refold_repeats(music)
    if found is None:
        unrolled.expand_repeats(root, music.chart.order)
        found = music
    melody = next(part for part in root.findall("part") if part.get("id", "") == sheet.part)
    frames = list(_frames(melody))
    _name(root, music.title, sheet.title)
    part = Element("part", {"id": _listed(root, sheet.part)})
    part.extend(
        piano.piano_part_measures(replace(found, signs=()), frames)
    )  # the sheet has the symbols
    _close_bars(part, melody)
    ElementTree.indent(part, level=1)
    part.tail = melody.tail
    root.insert(list(root).index(melody) + 1, part)
    return serialize_musicxml(root, indent=False)


def _frames(melody: Element) -> Iterator[MeasureFrame]:
    """Each measure as the melody's part frames it; a meter after its music is the next one's."""
    later: tuple[Element, ...] = ()
    for measure in melody.findall("measure"):
        now, plays = later, False
        then: tuple[Element, ...] = ()
        for child in measure:
            plays = plays or child.tag in _MUSIC
            if child.tag == "attributes":
                times = tuple(deepcopy(time) for time in child.findall("time")[:1])
                now, then = (now, times or then) if plays else (times or now, then)
        named = {name: measure.attrib[name] for name in _NAMED if name in measure.attrib}
        yield MeasureFrame(named, tuple(_plain(time) for time in now))
        later = then


def _plain(time: Element) -> Element:
    """A meter of all staves."""
    time.attrib.pop("number", None)
    time.tail = None
    return time


def _name(root: Element, title: str | None, before: str | None) -> None:
    """Give the score a title that was asked for, or that it lacks."""
    if title in (before, None):
        return
    work = root.find("work")
    if work is None:
        work = Element("work")
        root.insert(0, work)
    named = work.find("work-title")
    if named is None:
        named = Element("work-title")
        numbers = len(work.findall("work-number"))
        work.insert(numbers, named)
    named.text = title


def _listed(root: Element, melody: str) -> str:
    """Enter the part into the list, below the melody and the groups that end with it; its id."""
    part_list = root.find("part-list")
    if part_list is None:
        part_list = Element("part-list")
        root.insert([child.tag for child in root].index("part"), part_list)
    taken = {element.get("id") for element in root.iter()}
    part_id = next(name for k in range(1, len(taken) + 2) if (name := f"P{k}") not in taken)
    used = {channel.text for channel in part_list.iter("midi-channel")}
    free = [c for c in _CHANNELS if str(c) not in used and c != _PERCUSSION]
    entry = score_part_element(part_id, INSTRUMENT, channel=free[0] if free else _CHANNELS[-1])
    entries = list(part_list)
    places = [k for k, e in enumerate(entries) if e.tag == "score-part" and e.get("id") == melody]
    at = places[0] + 1 if places else len(entries)
    while at < len(entries) and _stops(entries[at]):
        at += 1
    for number in _unclosed(entries[:at], entries[at:]):
        part_list.insert(at, Element("part-group", {"type": "stop", "number": number}))
        at += 1
    ElementTree.indent(entry, level=2)
    entry.tail = part_list[at - 1].tail if entries else None
    part_list.insert(at, entry)
    return part_id


def _unclosed(before: Sequence[Element], after: Sequence[Element]) -> list[str]:
    """Groups that begin above the part and end nowhere: they end before it."""
    stopped = {e.get("number", "1") for e in (*before, *after) if _stops(e)}
    groups = [e for e in before if e.tag == "part-group" and not _stops(e)]
    return [n for e in groups if (n := e.get("number", "1")) not in stopped]


def _stops(group: Element) -> bool:
    return group.tag == "part-group" and group.get("type") == "stop"


def _close_bars(part: Element, melody: Element) -> None:
    """Bar lines as in the melody's part: styles, repeats and endings, without what is said once."""
    pairs: Sequence[tuple[Element, Element]] = list(
        zip(part.findall("measure"), melody.findall("measure"), strict=True)
    )
    for measure, given in pairs:
        for barline in given.findall("barline"):
            if barline.get("location", "right") == "middle":
                continue
            copy = deepcopy(barline)
            for child in [c for c in copy if c.tag in ("segno", "coda", "fermata", "wavy-line")]:
                copy.remove(child)
            for name in ("segno", "coda"):
                copy.attrib.pop(name, None)
            for ending in copy.findall("ending"):
                ending.set("print-object", "no")
            if not len(copy):
                continue
            if copy.get("location") == "left":
                measure.insert(0, copy)
            else:
                measure.append(copy)
