"""RomanText analyses: Roman numerals with keys -> chart.

The format of Tymoczko, Gotham, Cuthbert and Ariza, "The RomanText Format", ISMIR 2019 (from
memory). music21 reads much that it cannot mean, so lines are checked here before.
"""

import re
from typing import Final

from shortway.core.charts.headers import METER_EXPECTED, read_meter
from shortway.core.errors import ChartError
from shortway.scores.chart_files.music21_client import check_text, read_with_music21
from shortway.scores.leadsheet.model import ChartSource

_HEADER: Final = re.compile(r"\s*([A-Za-z][A-Za-z .'-]*+):(?=\s|\Z)\s*(.*)")
_MEASURE: Final = re.compile(r"\s*m(\d+)(?:(var\d+)|[a-z])?(?:-m?\d+)?:?\s*(=\s*m?\d+(?:-m?\d+)?)?")
_TOKEN: Final = re.compile(r"\S+")
_KEY: Final = re.compile(r"[A-Ga-g][b#]*:")
_BEAT: Final = re.compile(r"b(\d+(?:\.\d+)?)")
#: Signs that are no chords: repeats, phrases.
_SIGN: Final = re.compile(r"\|?\|:|:\|\|?|\|\||[()]")
_NUMERAL: Final = r"[b#]*(?:VII|VI|IV|V|III|II|I|vii|vi|iv|v|iii|ii|i)(?:/o|[oø°+d%])?M?(?:maj)?"
_CHORD: Final = re.compile(
    rf"(?:NC|Cad(?:64|6/4)?|(?:It|Ger|Fr|Sw|N|{_NUMERAL})[#b]*(?:\d+(?:/[#b]*\d+)*)?)"
    rf"(?:\[[^\[\]]*\])*(?:/{_NUMERAL})*"
)


def read_roman_text(text: str) -> ChartSource:
    """The chart of a Roman numeral analysis.

    Raises ChartError, SymbolError, BeatsError, TooLarge with the position in `text` of what is
    found before music21 reads it; FormatUnavailable if music21 is not installed.
    """
    check_text(text, "RomanText")
    beats, measures, keyed, at = 4, 0, False, 0
    read: list[str] = []
    for line in text.splitlines(keepends=True):
        bare = line.partition("%")[0]
        header, measure = _HEADER.match(bare), _MEASURE.match(bare)
        is_variant = measure is not None and measure[2] is not None
        read.append("" if is_variant else bare.rstrip())
        if measure is not None and not is_variant:
            measures += 1
            keyed = _check_tokens(bare, measure, at, beats, keyed)
        elif header is not None:
            if header[1].lower() == "time signature":
                beats = _beats(header[2].rstrip(), at + header.start(2))
        elif bare.strip() and not is_variant:
            detail = f"cannot read {bare.strip()[:40]!r}"
            raise ChartError.at("", detail, at, "m1 and chords, or a header such as Title:")
        at += len(line)
    if not measures:
        raise ChartError.at("", "the analysis has no measure", len(text), "m1 C: I b3 V")
    return read_with_music21("\n".join(read), "romantext")


def _beats(value: str, position: int) -> int:
    meter = read_meter({"C": "4/4", "Cut": "2/2"}.get(value, value))
    if meter is None:
        detail = f"{value[:40]!r} is not a valid time signature"
        raise ChartError.at("", detail, position, METER_EXPECTED)
    beats, unit = meter
    # a beat of a compound meter is three of its units
    return beats // 3 if unit >= 8 and beats % 3 == 0 and beats > 3 else beats


def _check_tokens(line: str, measure: re.Match[str], at: int, beats: int, keyed: bool) -> bool:
    """Check the chords of a measure; whether a key is known after it."""
    last = 1.0
    for token in _TOKEN.finditer(line, measure.end()):
        where = at + token.start()
        if beat := _BEAT.fullmatch(token[0]):
            if not last <= float(beat[1]) < beats + 1:
                detail = f"beat {beat[1]} is out of order or outside its measure"
                raise ChartError.at("", detail, where, f"beats ascending from b1 to b{beats}")
            last = float(beat[1])
        elif _KEY.fullmatch(token[0]):
            keyed = True
        elif not _SIGN.fullmatch(token[0]):
            if not _CHORD.fullmatch(token[0]):
                detail = f"cannot read {token[0][:40]!r}"
                raise ChartError.at("", detail, where, "a Roman numeral, such as ii6/5 or V7/IV")
            if not keyed:
                raise ChartError.at("", "no key comes before the chord", where, "C: or a: first")
    return keyed
