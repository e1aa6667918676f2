"""Pictures read back: what an SVG of ours draws, from its bytes alone."""

from __future__ import annotations

import re
from collections.abc import Iterator
from typing import NamedTuple
from xml.etree import ElementTree as ET

from shortway.scores.pictures.svg import text_width

SVG = "{http://www.w3.org/2000/svg}"
XLINK = "{http://www.w3.org/1999/xlink}href"


def luminance(colour: str) -> float:
    """Relative luminance of ``#rrggbb`` as WCAG 2.2 defines it."""
    channels = [int(colour[k : k + 2], 16) / 255 for k in (1, 3, 5)]
    r, g, b = (c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in channels)
    return 0.2126 * r + 0.7152 * g + 0.0722 * b


def contrast(a: str, b: str) -> float:
    """Contrast ratio as WCAG 2.2 defines it, 1 to 21."""
    dark, light = sorted((luminance(a), luminance(b)))
    return (light + 0.05) / (dark + 0.05)


def steps(root: ET.Element) -> dict[int, ET.Element]:
    """The group of each step by its number."""
    groups = [group for group in root.iter(f"{SVG}g") if group.get("data-step") is not None]
    found = {int(group.get("data-step", "")): group for group in groups}
    assert len(found) == len(groups)
    return found


def shift(group: ET.Element) -> tuple[float, float]:
    """Where a group is moved to."""
    match = re.fullmatch(r"translate\((\S+) (\S+)\)", group.get("transform", "translate(0 0)"))
    assert match
    return float(match[1]), float(match[2])


class Word(NamedTuple):
    """A line of text and the box that it takes at the most, px of the whole picture."""

    text: str
    left: float
    right: float
    top: float
    bottom: float


def words(
    node: ET.Element,
    x: float = 0,
    y: float = 0,
    size: float = 10,
    anchor: str = "start",
    weight: str = "normal",
) -> Iterator[Word]:
    """Every text below `node`, sized as the widest usual sans serif would be."""
    dx, dy = shift(node)
    x, y = x + dx, y + dy
    size, anchor = float(node.get("font-size", size)), node.get("text-anchor", anchor)
    weight = node.get("font-weight", weight)
    if node.tag == f"{SVG}text":
        wide = text_width(node.text or "", size, bold=weight == "bold")
        left = x + float(node.get("x", 0)) - {"start": 0, "middle": wide / 2, "end": wide}[anchor]
        foot = y + float(node.get("y", 0))
        yield Word(node.text or "", left, left + wide, foot - 0.72 * size, foot)
    for child in node:
        if child.tag != f"{SVG}defs":
            yield from words(child, x, y, size, anchor, weight)


def unsafe(svg: bytes) -> list[str]:
    """What a picture must not have: scripts, handlers, styles, anything loaded from elsewhere."""
    found = [word for word in (b"<!DOCTYPE", b"<!ENTITY", b"<?xml-stylesheet") if word in svg]
    told = [word.decode() for word in found]
    for node in ET.fromstring(svg).iter():
        name = node.tag.removeprefix(SVG)
        if name in ("script", "foreignObject", "a", "iframe", "image", "set", "animate", "handler"):
            told.append(name)
        for key, value in node.attrib.items():
            reference = key in ("href", XLINK, "src")
            if key.lower().startswith("on") or (reference and not value.startswith(("#", "data:"))):
                told.append(f"{name} {key}")
            if "javascript:" in value or re.search(r"url\((?!['\"]?(?:#|data:))", value):
                told.append(f"{name} {key}={value}")
        if name == "style" and re.search(r"@import|url\((?!['\"]?data:)", node.text or ""):
            told.append("style loads something")
    return told
