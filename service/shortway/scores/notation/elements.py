"""Elements of MusicXML, small ones: how each is put together.

Knows the standard library's trees and the core's values. Children stand in the order of the
MusicXML 4.0 schema, with which the tests compare.
"""

from __future__ import annotations

from typing import Final
from xml.etree.ElementTree import Element, SubElement

from shortway.core.theory.chord import Chord
from shortway.core.theory.pitch import SIGNS
from shortway.scores.notation.key_signatures import split_note_name

_ACCIDENTALS: Final = {
    -2: "flat-flat", -1: "flat", 0: "natural", 1: "sharp", 2: "double-sharp",
}  # fmt: skip


def add_child(parent: Element, tag: str, text: object = None, /, **attributes: object) -> Element:
    """A new last child of `parent`; underscores in names of attributes become hyphens."""
    named = {name.replace("_", "-"): str(value) for name, value in attributes.items()}
    child = SubElement(parent, tag, named)
    child.text = None if text is None else str(text)
    return child


def add_pitch(parent: Element, name: str) -> None:
    """The pitch of a note with its octave."""
    letter, alter, octave = split_note_name(name)
    child = add_child(parent, "pitch")
    add_child(child, "step", letter)
    if alter:
        add_child(child, "alter", alter)
    add_child(child, "octave", octave)


def add_accidental(parent: Element, alter: int) -> None:
    """The sign before a note."""
    add_child(parent, "accidental", _ACCIDENTALS[alter])


def harmony_element(chord: Chord, offset: int = 0, staff: int | None = None) -> Element:
    """A chord symbol: kind and degrees of the standard, and our spelling as what is printed."""
    found = Element("harmony")
    if chord.root is None:
        add_child(add_child(found, "root"), "root-step", "C", text="")
        add_child(found, "kind", "none", text="N.C.")
    else:
        _root(add_child(found, "root"), "root", chord.root)
        add_child(found, "kind", chord.kind, text=chord.quality)
    if chord.bass is not None:
        _root(add_child(found, "bass"), "bass", chord.bass)
    for each in chord.kind_degrees if chord.root is not None else ():
        degree = add_child(found, "degree", print_object="no")
        add_child(degree, "degree-value", each.value)
        add_child(degree, "degree-alter", each.alter)
        add_child(degree, "degree-type", each.type)
    if offset:
        add_child(found, "offset", offset)
    if staff is not None:
        add_child(found, "staff", staff)
    return found


def _root(parent: Element, prefix: str, name: str) -> None:
    add_child(parent, f"{prefix}-step", name[0])
    if SIGNS[name[1:]]:
        add_child(parent, f"{prefix}-alter", SIGNS[name[1:]])


def direction_element(
    *kinds: Element, placement: str, staff: int | None, **sound: object
) -> Element:
    """A direction of `kinds`, with what it does to playback."""
    found = Element("direction", {"placement": placement})
    for kind in kinds:
        add_child(found, "direction-type").append(kind)
    if staff is not None:
        add_child(found, "staff", staff)
    if sound:
        add_child(found, "sound", **sound)
    return found


def metronome_element(tempo: float) -> Element:
    """Quarter notes a minute as a mark."""
    found = Element("metronome")
    add_child(found, "beat-unit", "quarter")
    add_child(found, "per-minute", f"{tempo:g}")
    return found


def words_element(text: str, **attributes: object) -> Element:
    """Words over the staff."""
    found = Element("words", {name.replace("_", "-"): str(v) for name, v in attributes.items()})
    found.text = text
    return found
