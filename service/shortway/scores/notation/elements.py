"""MusicXML elements: the builder, and the small elements that several writers need.

Children are in the order of the MusicXML 4.0 schema; the tests validate against it.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final
from xml.etree.ElementTree import Element, SubElement

from shortway.core.theory.chord import Chord
from shortway.core.theory.pitch import SIGNS

#: General MIDI's acoustic grand piano, counted from 1 as in MusicXML; volume in percent.
_PROGRAM: Final = 1
_VOLUME: Final = 80


def add_child(
    parent: Element, tag: str, content: object = None, /, **attributes: object
) -> Element:
    """Append a child to `parent` and return it.

    `content` is the text, or maps tags of children to their contents, where None omits a child.
    Underscores in names of `attributes` become hyphens.
    """
    named = {name.replace("_", "-"): str(value) for name, value in attributes.items()}
    child = SubElement(parent, tag, named)
    if isinstance(content, Mapping):
        for name, inner in content.items():
            if inner is not None:
                add_child(child, name, inner)
    elif content is not None:
        child.text = str(content)
    return child


def harmony_element(chord: Chord, offset: int, staff: int) -> Element:
    """A chord symbol: kind and degrees of the standard, printed with our suffix."""
    found = Element("harmony")
    if chord.root is None:
        add_child(add_child(found, "root"), "root-step", "C", text="")
        add_child(found, "kind", "none", text="N.C.")
    else:
        _add_root(found, "root", chord.root)
        add_child(found, "kind", chord.kind, text=chord.quality)
    if chord.bass is not None:
        _add_root(found, "bass", chord.bass)
    for degree in chord.kind_degrees if chord.root is not None else ():
        content = {f"degree-{name}": getattr(degree, name) for name in ("value", "alter", "type")}
        add_child(found, "degree", content, print_object="no")
    if offset:
        add_child(found, "offset", offset)
    add_child(found, "staff", staff)
    return found


def _add_root(parent: Element, tag: str, name: str) -> None:
    add_child(parent, tag, {f"{tag}-step": name[0], f"{tag}-alter": SIGNS[name[1:]] or None})


def direction_element(
    kind: str,
    content: object = None,
    placement: str = "above",
    staff: int = 1,
    **attributes: object,
) -> Element:
    """A direction of one `kind`, which has `content` and `attributes` as in `add_child`."""
    found = Element("direction", {"placement": placement})
    add_child(add_child(found, "direction-type"), kind, content, **attributes)
    add_child(found, "staff", staff)
    return found


def score_part_element(part_id: str, name: str, channel: int) -> Element:
    """A part's entry in the part list, with a piano as its MIDI instrument."""
    found = Element("score-part", {"id": part_id})
    add_child(found, "part-name", name)
    instrument = f"{part_id}-I1"
    add_child(found, "score-instrument", {"instrument-name": name}, id=instrument)
    midi = {"midi-channel": channel, "midi-program": _PROGRAM, "volume": _VOLUME}
    add_child(found, "midi-instrument", midi, id=instrument)
    return found
