"""MusicXML elements as text: the builder, and the small elements that several writers need.

Children are in the order of the MusicXML 4.0 schema; the tests validate against it.
"""

from functools import lru_cache
from typing import Final
from xml.sax.saxutils import escape, quoteattr

from shortway.core.theory.chord import Chord
from shortway.core.theory.pitch import SIGNS

#: In percent.
_VOLUME: Final = 80


def element(tag: str, *children: str, **attributes: object) -> str:
    """An element with its children, which are elements.

    None omits an attribute; underscores in names of `attributes` become hyphens.

    >>> element("tie", type="start"), element("time", text_element("beats", 4))
    ('<tie type="start"/>', '<time><beats>4</beats></time>')
    """
    named = "".join(
        [_attribute(name, str(value)) for name, value in attributes.items() if value is not None]
    )
    inner = "".join(children)
    return f"<{tag}{named}>{inner}</{tag}>" if inner else f"<{tag}{named}/>"


@lru_cache(maxsize=4096)
def _attribute(name: str, value: str) -> str:
    return f" {name.replace('_', '-')}={quoteattr(value)}"


def text_element(tag: str, content: object, **attributes: object) -> str:
    """An element with a text.

    >>> text_element("words", "a < b", halign="left")
    '<words halign="left">a &lt; b</words>'
    """
    return element(tag, escape(str(content)), **attributes)


def barline_element(style: str) -> str:
    """The bar line that ends a measure."""
    return element("barline", text_element("bar-style", style), location="right")


def text_elements(**contents: object) -> str:
    """Elements in a row by tag, None omitted.

    >>> text_elements(root_step="E", root_alter=None)
    '<root-step>E</root-step>'
    """
    return "".join(
        text_element(tag.replace("_", "-"), content)
        for tag, content in contents.items()
        if content is not None
    )


@lru_cache(maxsize=2048)
def harmony_element(chord: Chord, offset: int, staff: int, *, printed: bool = False) -> str:
    """A chord symbol: kind and degrees of the standard, printed with our suffix.

    `printed`: without its degrees, which are not printed.
    """
    if chord.root is None:
        root = element("root", text_element("root-step", "C", text=""))
        kind = text_element("kind", "none", text="N.C.")
    else:
        root = _root("root", chord.root)
        kind = text_element("kind", chord.kind, text=chord.quality)
    degrees = (
        element(
            "degree",
            text_elements(
                degree_value=degree.value, degree_alter=degree.alter, degree_type=degree.type
            ),
            print_object="no",
        )
        for degree in (chord.kind_degrees if chord.root is not None and not printed else ())
    )
    return element(
        "harmony",
        root,
        kind,
        _root("bass", chord.bass) if chord.bass is not None else "",
        *degrees,
        text_elements(offset=offset or None, staff=staff),
    )


def _root(tag: str, name: str) -> str:
    step, alter = text_element(f"{tag}-step", name[0]), SIGNS[name[1:]]
    return element(tag, step, text_element(f"{tag}-alter", alter) if alter else "")


def direction_element(content: str, *more: str, placement: str = "above", staff: int = 1) -> str:
    """A direction of one type; `more` follows its staff."""
    inner = element("direction-type", content), text_element("staff", staff)
    return element("direction", *inner, *more, placement=placement)


def score_part_element(part_id: str, name: str, channel: int, program: int) -> str:
    """A part's entry in the part list, with a MIDI instrument; programs count from 0."""
    instrument = f"{part_id}-I1"
    return element(
        "score-part",
        text_element("part-name", name),
        element("score-instrument", text_element("instrument-name", name), id=instrument),
        element(
            "midi-instrument",
            text_elements(midi_channel=channel, midi_program=program + 1, volume=_VOLUME),
            id=instrument,
        ),
        id=part_id,
    )
