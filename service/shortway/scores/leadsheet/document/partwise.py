"""MusicXML's two orders of parts and measures made one.

Knows XML elements. A score-timewise, whose measures hold parts, becomes the score-partwise that it
stands for; what else is in it stays.
"""

from __future__ import annotations

from xml.etree.ElementTree import Element

from shortway.core.errors import ChartError


def to_partwise(root: Element) -> Element:
    """`root` itself, or the score-partwise of a score-timewise.

    Raises
    ------
    ChartError
        If it is neither.
    """
    if root.tag == "score-partwise":
        return root
    if root.tag != "score-timewise":
        detail = f"the root element is {str(root.tag)[:60]!r}"
        raise ChartError.at("", detail, expected="score-partwise or score-timewise")
    score = Element("score-partwise", root.attrib)
    score.extend(child for child in root if child.tag != "measure")
    parts: dict[str, Element] = {}
    for timed in root.findall("measure"):
        for piece in timed.findall("part"):
            id_ = piece.get("id", "")
            if id_ not in parts:
                parts[id_] = Element("part", {"id": id_})
            measure = Element("measure", timed.attrib)
            measure.extend(piece)
            parts[id_].append(measure)
    score.extend(parts.values())
    return score
