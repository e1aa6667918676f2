"""The piano part inserted into a lead sheet, below the melody; nothing else changes.

Knows the sheet's tree and the piano part. Measures stay as written if every pass through a repeat
is played alike; otherwise all parts are expanded into playback order.
"""

from collections.abc import Iterator, Sequence
from copy import copy, deepcopy
from dataclasses import replace
from typing import Final
from xml.etree import ElementTree
from xml.etree.ElementTree import Element

from shortway.scores.leadsheet.model import LeadSheet
from shortway.scores.notation.elements import score_part_element
from shortway.scores.notation.insertion.refold import refold_repeats
from shortway.scores.notation.insertion.repeat_expansion import expand_repeats
from shortway.scores.notation.model import Score
from shortway.scores.notation.musicxml import HEAD, VERSION
from shortway.scores.notation.piano_part import MeasureFrame, piano_part_measures
from shortway.scores.sound import PROGRAMS, ScoreSound

#: MIDI channels but that of percussion.
_CHANNELS: Final = [str(channel) for channel in range(1, 17) if channel != 10]
_NAMED: Final[tuple[str, ...]] = ("number", "implicit", "non-controlling")


def insert_piano_part(music: Score, sheet: LeadSheet) -> bytes:
    """The lead sheet with the piano part of `music`.

    Raises SettingError if a time is too fine for note values.
    """
    root = deepcopy(sheet.tree)
    root.set("version", VERSION)
    folded = refold_repeats(music) if music.last_chorus is None else None
    if folded is None:
        expand_repeats(root, music.chart.order)
    melody = next(part for part in root.findall("part") if part.get("id", "") == sheet.part)
    _set_title(root, music.title, sheet.title)
    without_symbols = replace(folded or music, signs=())  # the sheet has its own
    measures = piano_part_measures(without_symbols, list(_frames(melody)))
    part = ElementTree.fromstring(f"<part>{''.join(measures)}</part>")
    part.set("id", _add_to_part_list(root, sheet.part, music.sound))
    _copy_barlines(part, melody)
    ElementTree.indent(part, level=1)
    part.tail = melody.tail
    root.insert(list(root).index(melody) + 1, part)
    return f"{HEAD}{ElementTree.tostring(root, encoding='unicode')}\n".encode()


def _frames(melody: Element) -> Iterator[MeasureFrame]:
    """The frames of the melody's measures; a meter after the notes is that of the next measure."""
    later: Element | None = None
    for measure in melody.findall("measure"):
        now, later, plays = later, None, False
        for child in measure:
            plays = plays or child.tag in ("note", "backup", "forward")
            time = child.find("time") if child.tag == "attributes" else None
            if time is not None and plays:
                later = time
            elif time is not None:
                now = time
        named = {name.replace("-", "_"): measure.get(name) for name in _NAMED}
        yield MeasureFrame(named, () if now is None else (_of_all_staves(now),))


def _of_all_staves(time: Element) -> str:
    bare = copy(time)
    bare.attrib = {name: value for name, value in time.items() if name != "number"}
    bare.tail = None
    return ElementTree.tostring(bare, encoding="unicode")


def _set_title(root: Element, title: str | None, before: str | None) -> None:
    """Set the title if it was requested or the sheet has none."""
    if title in (before, None):
        return
    work = root.find("work")
    if work is None:
        work = Element("work")
        root.insert(0, work)
    element = work.find("work-title")
    if element is None:
        element = Element("work-title")
        work.insert(len(work.findall("work-number")), element)
    element.text = title


def _add_to_part_list(root: Element, melody: str, sound: ScoreSound) -> str:
    """Add the part to the part list, below the melody and the groups that end with it; its id."""
    part_list = root.find("part-list")
    if part_list is None:
        part_list = Element("part-list")
        root.insert([child.tag for child in root].index("part"), part_list)
    taken = {element.get("id") for element in root.iter()}
    part_id = next(name for k in range(1, len(taken) + 2) if (name := f"P{k}") not in taken)
    used = {channel.text for channel in part_list.iter("midi-channel")}
    channel = next((c for c in _CHANNELS if c not in used), _CHANNELS[-1])
    program, name = PROGRAMS[sound.program]
    entry = ElementTree.fromstring(score_part_element(part_id, name, int(channel), program))
    entries = list(part_list)
    places = [k for k, e in enumerate(entries) if e.tag == "score-part" and e.get("id") == melody]
    at = places[0] + 1 if places else len(entries)
    while at < len(entries) and _stops(entries[at]):
        at += 1
    for number in _unclosed_groups(entries, at):
        part_list.insert(at, Element("part-group", {"type": "stop", "number": number}))
        at += 1
    ElementTree.indent(entry, level=2)
    entry.tail = part_list[at - 1].tail if entries else None
    part_list.insert(at, entry)
    return part_id


def _unclosed_groups(entries: Sequence[Element], at: int) -> list[str]:
    """The numbers of groups that begin before `at` and never end: they end there."""
    stopped = {e.get("number", "1") for e in entries if _stops(e)}
    groups = [e for e in entries[:at] if e.tag == "part-group" and not _stops(e)]
    return [number for e in groups if (number := e.get("number", "1")) not in stopped]


def _stops(group: Element) -> bool:
    return group.tag == "part-group" and group.get("type") == "stop"


def _copy_barlines(part: Element, melody: Element) -> None:
    """Copy the melody's bar lines: styles, repeats and endings, without marks for one part only."""
    measures = zip(part.findall("measure"), melody.findall("measure"), strict=True)
    for measure, given in measures:
        for barline in given.findall("barline"):
            if barline.get("location", "right") == "middle":
                continue
            own = deepcopy(barline)
            for child in list(own):
                if child.tag in ("segno", "coda", "fermata", "wavy-line"):
                    own.remove(child)
            for name in ("segno", "coda"):
                own.attrib.pop(name, None)
            for ending in own.findall("ending"):
                ending.set("print-object", "no")
            if len(own):
                measure.insert(0 if own.get("location") == "left" else len(measure), own)
