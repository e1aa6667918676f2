"""Repeat marks of each measure: repeats, endings, signs and jumps.

Knows XML elements; `leadsheet.playback_order` follows the marks. Marks of all parts are merged. A
``sound`` takes precedence over the sign or the words of a direction.
"""

import re
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final
from xml.etree.ElementTree import Element

from shortway.core.charts.model import MAX_STEPS
from shortway.scores.leadsheet.document.xml_values import chart_error

#: Words that are marks, in lower-case letters only.
_WORDS: Final = {
    **dict.fromkeys(("dc", "dacapo", "dcalfine", "dacapoalfine", "dcalcoda", "dacapoalcoda"),
                    ("dacapo", "yes")),
    **dict.fromkeys(("ds", "dalsegno", "dsalfine", "dalsegnoalfine", "dsalcoda", "dalsegnoalcoda"),
                    ("dalsegno", "")),
    "fine": ("fine", "yes"),
    **dict.fromkeys(("tocoda", "alcoda"), ("tocoda", "")),
}  # fmt: skip
_SOUNDS: Final = ("segno", "coda", "dacapo", "dalsegno", "tocoda", "fine")
_NUMBERS: Final = re.compile(r"(\d{1,2})(?:\s*-\s*(\d{1,2}))?")
_MOST_TIMES: Final = MAX_STEPS + 1


@dataclass(slots=True)
class RepeatMarks:
    """The marks of one measure; a mark without a label is ``""``, a missing mark None.

    A repeat begins (`forward`), or ends and is played `backward` times (0: none ends), after a jump
    only if `after_jump`. An `ending` for some times begins (empty: without a number), or stops.
    `plain_coda`: there is a coda sign without a ``sound``.
    """

    forward: bool = False
    backward: int = 0
    after_jump: bool = False
    ending: tuple[int, ...] | None = None
    ending_stops: bool = False
    segno: str | None = None
    coda: str | None = None
    dacapo: str | None = None
    dalsegno: str | None = None
    tocoda: str | None = None
    fine: str | None = None
    plain_coda: bool = False


def collect_repeat_marks(parts: Sequence[Element]) -> list[RepeatMarks]:
    """The marks of every measure. Raises ChartError if a mark cannot be read."""
    found: list[RepeatMarks] = []
    for part in parts:
        for index, measure in enumerate(part.findall("measure")):
            if index == len(found):
                found.append(RepeatMarks())
            for child in measure:
                if child.tag == "barline":
                    _barline(found[index], child, measure.get("number", "?")[:20])
                elif child.tag == "sound":
                    _sound(found[index], child)
                elif child.tag == "direction":
                    _direction(found[index], child)
    _settle_codas(found)
    return found


def _barline(marks: RepeatMarks, barline: Element, number: str) -> None:
    repeat, ending = barline.find("repeat"), barline.find("ending")
    if repeat is not None:
        if barline.get("location") == "middle":
            detail = f"measure {number} has a repeat inside it"
            raise chart_error(detail, "repeats at the ends of measures")
        if repeat.get("direction") == "forward":
            marks.forward = True
        else:
            marks.backward = _times(repeat.get("times"), number)
            marks.after_jump = repeat.get("after-jump") == "yes"
    if ending is not None:
        if ending.get("type") == "start":
            marks.ending = _numbers(ending.get("number", ""), number)
        else:
            marks.ending_stops = True
    if barline.find("segno") is not None:
        marks.segno = barline.get("segno", "")
    if barline.find("coda") is not None:
        marks.coda = barline.get("coda")
        marks.plain_coda = marks.coda is None


def _times(given: str | None, number: str) -> int:
    if given is None:
        return 2
    if not given.isdecimal() or len(given) > 6:
        raise chart_error(f"measure {number} is repeated {given[:20]!r} times", "a whole number")
    return min(max(int(given), 1), _MOST_TIMES)


def _numbers(given: str, number: str) -> tuple[int, ...]:
    """The times of an ending: ``1, 2`` or ``1-3``."""
    if given and not re.fullmatch(r"[\d\s,.-]{1,80}", given):
        detail = f"the ending of measure {number} is for {given[:20]!r}"
        raise chart_error(detail, "numbers such as 1 or 1, 2")
    found: set[int] = set()
    for first, last in _NUMBERS.findall(given):
        found |= set(range(int(first), int(last or first) + 1))
    return tuple(sorted(found))


def _sound(marks: RepeatMarks, sound: Element) -> bool:
    """Set the marks of a ``sound``; whether there are any."""
    given = {name: sound.attrib[name] for name in _SOUNDS if name in sound.attrib}
    if given.get("dacapo", "yes") != "yes":
        del given["dacapo"]
    for name, label in given.items():
        setattr(marks, name, label)
    return bool(given)


def _direction(marks: RepeatMarks, direction: Element) -> None:
    sound = direction.find("sound")
    if sound is not None and _sound(marks, sound):
        return
    kinds = [kind for type_ in direction.findall("direction-type") for kind in type_]
    signs = {kind.tag for kind in kinds}
    words = "".join(kind.text or "" for kind in kinds if kind.tag == "words")
    said = _letters(words)
    if "coda" in signs and said == "to":
        marks.tocoda = ""
    elif "coda" in signs:
        marks.plain_coda = True
    elif "segno" in signs and not said:
        marks.segno = marks.segno or ""
    elif said in _WORDS and len(words) < 40:
        name, label = _WORDS[said]
        if getattr(marks, name) is None:
            setattr(marks, name, label)


def _letters(words: str) -> str:
    return re.sub(r"[^a-z]", "", words.lower())


def is_jump_direction(words: Element) -> bool:
    """Whether an element is a ``words`` with a jump: ``D.S. al Coda``, ``Fine``, ``To``."""
    said = _letters(words.text or "")
    return words.tag == "words" and (said in _WORDS or said == "to")


def _settle_codas(found: Sequence[RepeatMarks]) -> None:
    """Of coda signs that no ``sound`` explains, the last begins the coda; others lead to it."""
    plain = [marks for marks in found if marks.plain_coda]
    if plain and all(marks.coda is None for marks in found):
        plain[-1].coda = ""
        for marks in plain[:-1]:
            marks.tocoda = marks.tocoda or ""
