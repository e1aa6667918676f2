"""A lead sheet with its repeats written out: every part's measures in playing order.

Knows MusicXML's elements and no music. Repeats, endings, signs and jumps go; where a jump lands,
what key, meter, clef, transposition and divisions hold there is said again.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence
from copy import deepcopy
from typing import Final
from xml.etree.ElementTree import Element

from shortway.core.cancellation import checkpoint
from shortway.core.errors import TooLarge
from shortway.scores.leadsheet.repeat_marks import is_jump_direction

#: What holds from a measure on, in the schema's order, and what tells several apart.
_STATE: Final = (
    "divisions", "key", "time", "staves", "part-symbol", "instruments", "clef", "staff-details",
    "transpose",
)  # fmt: skip
_JUMPS: Final = ("segno", "coda", "dacapo", "dalsegno", "tocoda", "fine", "forward-repeat")
_SIGNS: Final = ("segno", "coda")

#: Elements of a sheet that is written out; few bytes can ask for a large measure very often.
MAX_EXPANDED_ELEMENTS: Final = 1_000_000

State = dict[tuple[str, str], Element]


def expand_repeats(root: Element, order: Sequence[int]) -> None:
    """Put every part's measures into playing order; numbers from 1, or 0 for a pickup.

    Raises
    ------
    TooLarge
        If that makes more than `MAX_EXPANDED_ELEMENTS` elements.
    """
    _refuse_too_large(root, order)
    for part in root.findall("part"):
        measures = part.findall("measure")
        states = list(_states(measures))
        played = [_copy(measures[number - 1]) for number in order]
        for measure in measures:
            part.remove(measure)
        begins_short = played[0].get("implicit") == "yes"
        for place, (measure, number) in enumerate(zip(played, order, strict=True)):
            _clean(measure, is_last=place + 1 == len(played))
            measure.set("number", str(place + (not begins_short)))
            if place and order[place - 1] != number - 1:
                _say_again(measure, states[order[place - 1]], states[number - 1])
            part.append(measure)


def _refuse_too_large(root: Element, order: Sequence[int]) -> None:
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


def _copy(measure: Element) -> Element:
    checkpoint()
    return deepcopy(measure)


def _states(measures: Sequence[Element]) -> Iterator[State]:
    """What holds before each measure, and after the last."""
    state: State = {}
    for measure in measures:
        yield dict(state)
        for attributes in measure.findall("attributes"):
            for child in attributes:
                if child.tag in _STATE:
                    state[child.tag, child.get("number", "")] = child
    yield state


def _say_again(measure: Element, before: State, here: State) -> None:
    """Say at the beginning of `measure` what holds there and did not before it."""
    own = _opening(measure)
    said = Element("attributes") if own is None else own
    given = {(child.tag, child.get("number", "")) for child in said}
    for name, element in here.items():
        was = before.get(name)
        if name not in given and (was is None or not _equal(was, element)):
            said.append(deepcopy(element))
    children = sorted(said, key=lambda child: _place(child.tag))
    said[:] = children
    if said is not own and len(said):
        measure.insert(0, said)


def _opening(measure: Element) -> Element | None:
    """The attributes that stand before any music."""
    for child in measure:
        if child.tag == "attributes":
            return child
        if child.tag in ("note", "forward", "backup"):
            break
    return None


def _place(tag: str) -> int:
    return _STATE.index(tag) if tag in _STATE else -1 if tag in ("footnote", "level") else 99


def _equal(one: Element, two: Element) -> bool:
    def told(element: Element) -> list[object]:
        return [(e.tag, (e.text or "").strip(), sorted(e.attrib.items())) for e in element.iter()]

    return told(one) == told(two)


def _clean(measure: Element, *, is_last: bool) -> None:
    """Take away what says how measures are played."""
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
