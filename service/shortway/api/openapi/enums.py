"""Enumerations of the document as components with names, which client generators make types of.

Knows the core's tables and the document's form. An enumeration that is listed here becomes a
reference wherever it stands; each value has a name for programs.
"""

import re
from collections.abc import Iterable, Mapping
from typing import Any, Final

from shortway.core.charts import MEASURE_EACH
from shortway.core.charts.json_entries import COLOURS
from shortway.core.exercises.exercise import FORMULAS
from shortway.core.exercises.key_orders import KEY_ORDERS
from shortway.core.harmony.context import FUNCTIONS
from shortway.core.review.findings import CODES
from shortway.core.rhythm.patterns import PATTERNS
from shortway.core.rhythm.rhythm import DENSITIES
from shortway.core.settings.families import FAMILIES
from shortway.core.settings.keyboard import REACHES
from shortway.core.settings.presets import PRESETS
from shortway.core.settings.prices import PRICES, PRICING
from shortway.core.settings.setting import HANDS, LOW_LIMITS, MELODY, REPEATS, RULES, TENSIONS
from shortway.core.theory.pitch import DEGREES
from shortway.core.theory.qualities import CHORD_TYPES
from shortway.core.voice_leading.objective import TOP_LINES
from shortway.scores.chart_files.formats import TEXT_FORMATS
from shortway.scores.display import HELD, PICTURES
from shortway.scores.formats import FORMS
from shortway.scores.sound import PROGRAMS, ROOTS

Json = dict[str, Any]

ENUMS: Final[Mapping[str, Iterable[str]]] = {
    "Hands": HANDS, "FamilyName": FAMILIES, "PresetName": PRESETS, "ReachName": REACHES,
    "TensionChoice": TENSIONS, "RepeatChoice": REPEATS, "LowIntervalLimits": LOW_LIMITS,
    "HardRule": RULES, "MelodyChoice": MELODY, "Pricing": PRICING, "PriceName": PRICES,
    "ChordFunction": FUNCTIONS, "ChordType": CHORD_TYPES, "Degree": DEGREES,
    "AddedDegree": COLOURS, "VoicingForm": ("A", "B"), "TopLine": TOP_LINES,
    "KeyOrder": KEY_ORDERS, "Formula": FORMULAS, "RhythmName": PATTERNS,
    "Density": DENSITIES, "Program": PROGRAMS, "RootTrack": ROOTS, "HeldNotes": HELD,
    "Picture": PICTURES, "ScoreFormat": FORMS, "MeasureEach": MEASURE_EACH,
    "TextFormat": TEXT_FORMATS, "FindingCode": CODES,
    "Severity": ("fault", "remark", "strength"),
    "NotePart": ("tone", "tension", "bass", "foreign", "free"),
    "KindDegreeType": ("add", "alter", "subtract"), "PriceKind": ("voicing", "move"),
    "PathLevel": ("full", "brief"), "Hand": ("left", "right"),
}  # fmt: skip
_NAMES: Final = {frozenset(values): name for name, values in ENUMS.items()}


def name_enums(document: Json) -> None:
    """Put a reference in the place of every enumeration that has a name, and add the components."""
    used: set[str] = set()
    for part in (document["components"]["schemas"], document["paths"]):
        _replace(part, used)
    for name in sorted(used):
        document["components"]["schemas"][name] = _component(name, list(ENUMS[name]))


def _component(name: str, values: list[str]) -> Json:
    """The component; its values' names begin with its own, since some languages share them."""
    prefix = re.sub(r"(?<=[a-z])(?=[A-Z])", "_", name).upper()
    names = [f"{prefix}_{variable_name(value)}" for value in values]
    return {
        "type": "string", "enum": values, "description": "One of these words.",
        "x-enum-varnames": names,
    }  # fmt: skip


def variable_name(value: str) -> str:
    """A value as a program's constant.

    >>> [variable_name(value) for value in ("#11", "b9", "13", "drop-2", "bb7")]
    ['SHARP_11', 'FLAT_9', 'NATURAL_13', 'DROP_2', 'DOUBLE_FLAT_7']
    """
    sign, number = re.fullmatch(r"(bb|b|#|)(\d+)|.*", value).groups()  # type: ignore[union-attr]
    if number:
        word = {"": "NATURAL", "#": "SHARP", "b": "FLAT", "bb": "DOUBLE_FLAT"}[sign]
        return f"{word}_{number}"
    return re.sub(r"\W", "_", value).upper()


def _replace(node: Any, used: set[str]) -> None:
    """Replace the enumerations in `node`; examples are values and stay."""
    if isinstance(node, list):
        for inner in node:
            _replace(inner, used)
    if not isinstance(node, dict):
        return
    values = node.get("enum")
    if isinstance(values, list) and node.get("type") in ("string", ["string", "null"]):
        _refer(node, used)
    for key, inner in node.items():
        if key not in ("example", "examples"):
            _replace(inner, used)


def _refer(node: Json, used: set[str]) -> None:
    words = frozenset(value for value in node["enum"] if value is not None)
    name = _NAMES.get(words)
    if name is None:
        return
    nullable = None in node["enum"] or isinstance(node["type"], list)
    used.add(name)
    del node["enum"], node["type"]
    reference = {"$ref": f"#/components/schemas/{name}"}
    node |= {"anyOf": [reference, {"type": "null"}]} if nullable else reference
