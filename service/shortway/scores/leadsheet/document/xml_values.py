"""Texts and numbers of XML elements, read strictly.

Knows elements and errors. A number that is none, or out of its range, is refused; nothing is
converted that could be large.
"""

from __future__ import annotations

import re
from fractions import Fraction
from xml.etree.ElementTree import Element

from shortway.core.errors import ChartError

_DECIMAL = re.compile(r"[+-]?\d{1,9}(?:\.\d{0,9})?")


def child_text(parent: Element, tag: str) -> str:
    """The text of the child `tag` without blanks around it; ``""`` where there is none."""
    return (parent.findtext(tag) or "").strip()


def child_decimal(parent: Element, tag: str) -> Fraction | None:
    """The number in the child `tag`; None where there is no such child.

    Raises
    ------
    ChartError
    """
    child = parent.find(tag)
    if child is None:
        return None
    given = (child.text or "").strip()
    if _DECIMAL.fullmatch(given) is None:
        raise ChartError.at("", f"cannot read {tag} {given[:20]!r}", expected="a number")
    return Fraction(given)


def child_integer(
    parent: Element, tag: str, least: int, most: int, missing: int | None = None
) -> int:
    """The whole number in the child `tag`, from `least` to `most`; `missing` where it is missing.

    Raises
    ------
    ChartError
    """
    found = child_decimal(parent, tag)
    if found is None:
        if missing is not None:
            return missing
        raise ChartError.at("", f"{tag} is missing", expected=f"{tag}, {least} to {most}")
    if found.denominator != 1 or not least <= found <= most:
        raise ChartError.at(
            "", f"{tag} {found} is out of range", expected=f"a whole number, {least} to {most}"
        )
    return int(found)
