"""A lead sheet with its repeats expanded: every part's measures in playback order.

Knows MusicXML elements and no music. Repeats, endings, signs and jumps are removed. After a jump
the key, meter, clef, transposition and divisions in force are written again, and the chord symbol.
"""

from collections import Counter
from collections.abc import Iterator, Sequence
from copy import deepcopy
from typing import Final
from xml.etree.ElementTree import Element, fromstring

from shortway.core.cancellation import checkpoint
from shortway.core.errors import TooLarge
from shortway.scores.leadsheet.document.xml_values import child_decimal
from shortway.scores.leadsheet.repeat_marks import is_jump_direction

#: Attributes that stay in force, in the order of the schema.
_STATE: Final = (
    "divisions", "key", "time", "staves", "part-symbol", "instruments", "clef", "staff-details",
    "transpose",
)  # fmt: skip
_JUMPS: Final = ("segno", "coda", "dacapo", "dalsegno", "tocoda", "fine", "forward-repeat")
_SIGNS: Final = ("segno", "coda")
_NO_CHORD: Final = (
    '<harmony><root><root-step text="">C</root-step></root><kind text="N.C.">none</kind></harmony>'
)

#: Elements of an expanded sheet: a small file can repeat a large measure very often.
MAX_EXPANDED_ELEMENTS: Final = 1_000_000

State = dict[tuple[str, str], Element]


def expand_repeats(root: Element, order: Sequence[int]) -> None:
    """Put every part's measures into playback order; numbers from 1, or 0 for a pickup.

    Raises TooLarge if the result has more than `MAX_EXPANDED_ELEMENTS` elements.
    """
    _check_size(root, order)
    for part in root.findall("part"):
        measures = part.findall("measure")
        states, symbols = list(_states(measures)), list(_symbols(measures))
        played = []
        for number in order:
            checkpoint()
            played.append(deepcopy(measures[number - 1]))
        for measure in measures:
            part.remove(measure)
        begins_short = played[0].get("implicit") == "yes"
        for place, (measure, number) in enumerate(zip(played, order, strict=True)):
            _remove_marks(measure, is_last=place + 1 == len(played))
            measure.set("number", str(place + (not begins_short)))
            if place and order[place - 1] != number - 1:
                _restore_symbol(measure, symbols[order[place - 1]], symbols[number - 1])
                _restore_state(measure, states[order[place - 1]], states[number - 1])
            part.append(measure)


def _check_size(root: Element, order: Sequence[int]) -> None:
    times = Counter(order)
    count = sum(
        times[number] * sum(1 for _ in measure.iter())
        for part in root.findall("part")
        for number, measure in enumerate(part.findall("measure"), 1)
    )
    if count > MAX_EXPANDED_ELEMENTS:
        detail = f"with repeats expanded, the lead sheet has {count:,} elements"
        raise TooLarge.at(
            "/chart", detail, expected=f"at most {MAX_EXPANDED_ELEMENTS:,}: fewer repeats"
        )


def _states(measures: Sequence[Element]) -> Iterator[State]:
    """The attributes in force before each measure, and after the last."""
    state: State = {}
    for measure in measures:
        yield dict(state)
        for attributes in measure.findall("attributes"):
            for child in attributes:
                if child.tag in _STATE:
                    state[_key(child)] = child
    yield state


def _symbols(measures: Sequence[Element]) -> Iterator[Element | None]:
    """The chord symbol in force before each measure, and after the last; None for none yet."""
    symbol = None
    for measure in measures:
        yield symbol
        symbol = next(reversed(measure.findall("harmony")), symbol)
    yield symbol


def _restore_symbol(measure: Element, before: Element | None, here: Element | None) -> None:
    """Write the chord symbol in force at the start of `measure`, if another was before it."""
    if before is here:
        return
    for child in measure:
        if child.tag == "harmony" and not child_decimal(child, "offset"):
            return
        if child.tag in ("note", "forward", "backup"):
            break
    if here is None:
        symbol = fromstring(_NO_CHORD)
    else:
        symbol = deepcopy(here)
        for offset in symbol.findall("offset"):
            symbol.remove(offset)
    measure.insert(0, symbol)


def _restore_state(measure: Element, before: State, here: State) -> None:
    """Write the attributes in force in `measure` that differ from those before it; no others."""
    own = _first_attributes(measure)
    attributes = Element("attributes") if own is None else own
    found = [(_key(child), child) for child in attributes]
    found += [(key, deepcopy(here[key])) for key in here if key not in dict(found)]
    kept = [
        element
        for key, element in found
        if key not in before or _content(before[key]) != _content(element)
    ]
    attributes[:] = sorted(kept, key=lambda child: _schema_order(child.tag))
    if own is None and kept:
        measure.insert(0, attributes)
    elif own is not None and not kept:
        measure.remove(own)


def _first_attributes(measure: Element) -> Element | None:
    """The attributes before the first note."""
    for child in measure:
        if child.tag == "attributes":
            return child
        if child.tag in ("note", "forward", "backup"):
            break
    return None


def _key(attribute: Element) -> tuple[str, str]:
    return attribute.tag, attribute.get("number", "")


def _schema_order(tag: str) -> int:
    return _STATE.index(tag) if tag in _STATE else -1 if tag in ("footnote", "level") else 99


def _content(element: Element) -> list[object]:
    return [(e.tag, (e.text or "").strip(), sorted(e.attrib.items())) for e in element.iter()]


def _remove_marks(measure: Element, *, is_last: bool) -> None:
    """Remove all marks of the playback order."""
    for child in list(measure):
        if child.tag == "barline":
            _clean_barline(measure, child, is_last)
        elif child.tag == "sound":
            _clean_sound(measure, child)
        elif child.tag == "direction":
            _clean_direction(measure, child)


def _clean_barline(measure: Element, barline: Element, is_last: bool) -> None:
    gone = [e for e in barline if e.tag in ("repeat", "ending", *_SIGNS)]
    if any(e.tag == "repeat" for e in gone) and not is_last:
        gone += barline.findall("bar-style")
    for element in gone:
        barline.remove(element)
    for name in _SIGNS:
        barline.attrib.pop(name, None)
    if gone and not len(barline):
        measure.remove(barline)


def _clean_sound(parent: Element, sound: Element) -> None:
    jumps = [name for name in _JUMPS if name in sound.attrib]
    for name in jumps:
        del sound.attrib[name]
    if jumps and not sound.attrib and not len(sound):
        parent.remove(sound)


def _clean_direction(measure: Element, direction: Element) -> None:
    for kind in direction.findall("direction-type"):
        for sign in [e for e in kind if e.tag in _SIGNS or is_jump_direction(e)]:
            kind.remove(sign)
        if not len(kind):
            direction.remove(kind)
    for sound in direction.findall("sound"):
        _clean_sound(direction, sound)
    if direction.find("direction-type") is None:
        measure.remove(direction)
