"""MusicXML 4.0: music as a score of one piano part.

Knows the piano part and how a score is put round it.
"""

from __future__ import annotations

from typing import Final
from xml.etree import ElementTree
from xml.etree.ElementTree import Element

from shortway import __version__
from shortway.scores.notation import piano_part as piano
from shortway.scores.notation.elements import add_child
from shortway.scores.notation.model import Score

VERSION: Final = "4.0"
PART: Final = "P1"
INSTRUMENT: Final = "Piano"
_HEAD: Final = (
    b'<?xml version="1.0" encoding="UTF-8"?>\n'
    b'<!DOCTYPE score-partwise PUBLIC "-//Recordare//DTD MusicXML 4.0 Partwise//EN"'
    b' "http://www.musicxml.org/dtds/partwise.dtd">\n'
)
#: General MIDI's acoustic grand piano, counted from 1 as MusicXML does, and its volume in percent.
_PROGRAM: Final = 1
_VOLUME: Final = 80


def write_musicxml(music: Score) -> bytes:
    """The score of `music`.

    Raises
    ------
    SettingError
        If a time is too fine for note values.
    """
    root = Element("score-partwise", {"version": VERSION})
    if music.title:
        add_child(add_child(root, "work"), "work-title", music.title)
    software = add_child(add_child(root, "identification"), "encoding")
    add_child(software, "software", f"Shortway {__version__}")
    part_list = add_child(root, "part-list")
    part_list.append(score_part_element(PART, INSTRUMENT, channel=1))
    part = add_child(root, "part", id=PART)
    part.extend(piano.piano_part_measures(music))
    add_final_barline(part[-1])
    return serialize_musicxml(root)


def serialize_musicxml(root: Element, *, indent: bool = True) -> bytes:
    """The document of a tree, in UTF-8."""
    if indent:
        ElementTree.indent(root)
    body: bytes = ElementTree.tostring(root, encoding="utf-8", xml_declaration=False)
    return _HEAD + body + b"\n"


def score_part_element(part_id: str, name: str, channel: int) -> Element:
    """A part's entry in the list, with the piano that plays it."""
    found = Element("score-part", {"id": part_id})
    add_child(found, "part-name", name)
    instrument = f"{part_id}-I1"
    add_child(add_child(found, "score-instrument", id=instrument), "instrument-name", name)
    midi = add_child(found, "midi-instrument", id=instrument)
    add_child(midi, "midi-channel", channel)
    add_child(midi, "midi-program", _PROGRAM)
    add_child(midi, "volume", _VOLUME)
    return found


def add_final_barline(measure: Element) -> None:
    """The double bar at the end."""
    barline = add_child(measure, "barline", location="right")
    add_child(barline, "bar-style", "light-heavy")
