"""Text formats that music21 reads, as lead sheets: ABC and RomanText.

Knows no music21: it runs in a process of its own (`music21_process`), which writes a MusicXML score
with a placeholder for each chord. The chords themselves are ours, read beforehand or from labels.
"""

from collections.abc import Sequence
from importlib.util import find_spec
from typing import Final
from xml.etree import ElementTree
from xml.etree.ElementTree import Element

from shortway.core.errors import ChartError, FormatUnavailable, SymbolError
from shortway.core.symbols.parser import parse
from shortway.core.theory.chord import Chord
from shortway.scores.child_process import ProcessFailed, child_process
from shortway.scores.leadsheet.document.xml_parser import parse_xml
from shortway.scores.leadsheet.model import ChartSource
from shortway.scores.leadsheet.reader import read_musicxml
from shortway.scores.notation.elements import harmony_element

#: Characters of a text that music21 gets: about a thousand measures.
MAX_TEXT: Final = 64 << 10
#: The roots of placeholders, in turn.
PLACEHOLDERS: Final = "CDEFGAB"
#: Seconds that a text may take.
_MOST_SECONDS: Final = 10.0
_MODULE: Final = "shortway.scores.chart_files.music21_process"


def check_text(text: str, name: str) -> None:
    """Reject a text that is too long or has control characters.

    Raises ChartError, and FormatUnavailable where music21 is not installed.
    """
    if find_spec("music21") is None:
        detail = f"{name} needs the optional package music21, which is not installed here"
        raise FormatUnavailable.at("", detail, expected="pip install 'shortway[music21]'")
    if len(text) > MAX_TEXT:
        detail = f"the text has {len(text):,} characters"
        raise ChartError.at("", detail, MAX_TEXT, f"at most {MAX_TEXT:,}")
    for position, char in enumerate(text):
        if ord(char) < 32 and char not in "\t\r\n\f":
            raise ChartError.at("", f"unexpected {char!r}", position, f"a text in {name}")


def read_with_music21(
    text: str, format_: str, symbols: Sequence[tuple[Chord, int]] = ()
) -> ChartSource:
    """The lead sheet of a text.

    `format_`: music21's name: ``abc`` or ``romantext``. `symbols`: the chords for which `text` has
    placeholders, and where they stand in the caller's text; none where music21 reads the chords.

    Raises ChartError, BeatsError, SymbolError, TooLarge with a position where there is one.
    """
    try:
        answer = child_process(_MODULE, _MOST_SECONDS).call([format_, text])
    except ProcessFailed as error:
        answer = {"problem": str(error)}
    if "problem" in answer:
        detail = f"music21 cannot read the text: {answer['problem']}"
        raise ChartError.at("", detail, 0, "a text that music21 reads")
    root = parse_xml(answer["musicxml"])
    chords = [chord for chord, _ in symbols] or [_chord(*pair) for pair in answer["labels"]]
    positions = [position for _, position in symbols]
    _put_chords(root, chords, positions)
    return read_musicxml(root)


def _chord(numeral: str, label: str) -> Chord:
    try:
        return parse(label)
    except SymbolError as error:
        detail = f"{numeral} has no chord symbol: {error.detail}"
        raise SymbolError.at("", detail, None, "a chord that has a symbol") from None


def _put_chords(root: Element, chords: Sequence[Chord], positions: Sequence[int]) -> None:
    """The chords in the places of their placeholders, which must all be there, in order."""
    harmonies = list(root.iter("harmony"))
    found = [harmony.findtext("root/root-step", "") for harmony in harmonies]
    wanted = [PLACEHOLDERS[k % len(PLACEHOLDERS)] for k in range(len(chords))]
    if found != wanted:
        pairs = enumerate(zip(found, wanted, strict=False))
        lost = next((k for k, (one, other) in pairs if one != other), len(found))
        raise ChartError.at(
            "",
            "a chord symbol belongs to no note of its own, or to another voice than the one before",
            positions[min(lost, len(positions) - 1)] if positions else None,
            "each chord symbol before a note or rest of one voice",
        )
    for harmony, chord in zip(harmonies, chords, strict=True):
        offset = harmony.find("offset")
        own = ElementTree.fromstring(harmony_element(chord, 0, 1))
        harmony[:] = [child for child in own if child.tag != "staff"]
        if offset is not None:
            harmony.append(offset)
