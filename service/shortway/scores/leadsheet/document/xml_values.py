"""Strict reading of the texts and numbers of XML elements."""

import re
from fractions import Fraction
from xml.etree.ElementTree import Element

from shortway.core.errors import ChartError

#: The digits are limited, so that no number is expensive to convert.
_DECIMAL = re.compile(r"[+-]?\d{1,9}(?:\.\d{0,9})?")


def chart_error(detail: str, expected: str) -> ChartError:
    """The error of an unreadable lead sheet, at the pointer ``""``."""
    return ChartError.at("", detail, expected=expected)


def child_text(parent: Element, tag: str) -> str:
    """The stripped text of the child `tag`; ``""`` if there is none."""
    return (parent.findtext(tag) or "").strip()


def child_decimal(parent: Element, tag: str) -> Fraction | None:
    """The number in the child `tag`; None if there is no such child.

    Raises ChartError if the text is not a number.
    """
    if parent.find(tag) is None:
        return None
    given = child_text(parent, tag)
    if _DECIMAL.fullmatch(given) is None:
        raise chart_error(f"cannot read {tag} {given[:20]!r}", "a number")
    return Fraction(given)


def attribute_decimal(element: Element, name: str) -> Fraction | None:
    """The number in an attribute; None if there is none."""
    given = element.get(name, "").strip()
    return Fraction(given) if _DECIMAL.fullmatch(given) else None


def child_integer(
    parent: Element, tag: str, least: int, most: int, default: int | None = None
) -> int:
    """The integer in the child `tag`, from `least` to `most`.

    Raises ChartError if it is not an integer in the range, or missing without a default.
    """
    found = child_decimal(parent, tag)
    if found is None:
        if default is not None:
            return default
        raise chart_error(f"{tag} is missing", f"{tag}, {least} to {most}")
    if found.denominator != 1 or not least <= found <= most:
        raise chart_error(f"{tag} {found} is out of range", f"a whole number, {least} to {most}")
    return int(found)
