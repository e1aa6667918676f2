"""The chords of a measure in the JSON form, with what a singer holds over them.

Knows entries and symbols; no measure around them.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from fractions import Fraction
from functools import partial
from typing import Final

from shortway.core.cache import Memo
from shortway.core.charts.json_values import (
    read_beats,
    read_pitch,
    require_field,
    require_list,
    require_word,
)
from shortway.core.charts.model import Entry, exact
from shortway.core.errors import (
    ChartError,
    SettingError,
    ShortwayError,
    SymbolError,
    WrongType,
    one_of,
)
from shortway.core.symbols import parser as symbols
from shortway.core.theory.pitch import pitch_name

ENTRY_FIELDS = ("symbol", "beats", "melody", "ceiling", "top", "colours")
#: Degrees that an entry may add to what its symbol writes.
COLOURS = ("b7", "b9", "9", "#9", "11", "#11", "b13", "13", "6", "7")
#: Notes of a melody over one chord.
MOST_MELODY = 128


def read_entry(value: Mapping[str, object], length: Fraction, where: str) -> Entry:
    """The entry that an object writes, `length` beats long.

    Raises
    ------
    WrongType, SettingError, ChartError, SymbolError
        With the pointer to the faulty field, below `where`.
    """
    symbol = require_field(value, "symbol", where)
    if not isinstance(symbol, str):
        raise WrongType.at(f"{where}/symbol", "a symbol must be text", expected="a chord symbol")
    try:
        chord = symbols.parse(symbol)
    except SymbolError as error:
        raise error.under(f"{where}/symbol") from None
    if value.keys() <= {"symbol", "beats"}:
        return Entry(symbol, chord, length)
    melody, ceiling, top = read_melody_constraint(value, where)
    return Entry(symbol, chord, length, melody, ceiling, top, _colours(value, where))


def read_melody_constraint(
    value: Mapping[str, object], where: str
) -> tuple[tuple[int, ...], int | None, int | None]:
    """What holds over a chord: its melody, ceiling and top, each optional.

    Raises
    ------
    WrongType, SettingError
        With the pointer to the faulty field, below `where`.
    """
    return _melody(value, where), _pitch(value, "ceiling", where), _pitch(value, "top", where)


def _melody(value: Mapping[str, object], where: str) -> tuple[int, ...]:
    expected = f'a list of at most {MOST_MELODY} notes, such as ["E5", "G5"]'
    given = require_list(value.get("melody", ()), f"{where}/melody", expected)
    if len(given) > MOST_MELODY:
        detail = f"{len(given)} notes are too many for one chord"
        raise SettingError.at(f"{where}/melody", detail, expected=expected)
    return tuple(read_pitch(note, f"{where}/melody/{i}") for i, note in enumerate(given))


def _pitch(value: Mapping[str, object], name: str, where: str) -> int | None:
    return read_pitch(value[name], f"{where}/{name}") if name in value else None


def _colours(value: Mapping[str, object], where: str) -> tuple[str, ...] | None:
    return read_colours(value["colours"], f"{where}/colours") if "colours" in value else None


def read_colours(value: object, pointer: str) -> tuple[str, ...]:
    """The colours that a list names, each once.

    Raises
    ------
    WrongType, SettingError
        With the pointer to the faulty one.
    """
    given = require_list(value, pointer, f"a list of any of {one_of(COLOURS)}")
    for index, degree in enumerate(given):
        detail = f"{str(degree)[:20]!r} is not a colour"
        require_word(degree, COLOURS, f"{pointer}/{index}", detail)
    return tuple(dict.fromkeys(str(degree) for degree in given))


#: Entries by symbol and beats as given, the beats before them in their measure and those that fit
#: it, each with the beats before the next: an entry then mostly keeps what it is unrolled to.
_ENTRIES: Final[Memo[tuple[object, ...], tuple[Entry, int | Fraction]]] = Memo(
    "chart entries", 6 << 20, lambda _: 200
)


def plain_entries(
    given: Sequence[object], fit: int, may_be_short: bool
) -> tuple[Entry, ...] | None:
    """The entries of a measure where each has a symbol and beats alone; None at any fault."""
    found: list[Entry] = []
    have: int | Fraction = 0
    for value in given:
        if type(value) is not dict or len(value) != 2:
            return None
        symbol, beats = value.get("symbol"), value.get("beats")
        if type(symbol) is not str or type(beats) not in (int, float):
            return None
        key = symbol, beats, have, fit
        try:
            entry, have = _ENTRIES.get(key) or _ENTRIES.recall(key, partial(_plain, value, have))
        except ShortwayError:
            return None
        found.append(entry)
    return tuple(found) if have == fit or (have < fit and may_be_short) else None


def _plain(value: Mapping[str, object], before: int | Fraction) -> tuple[Entry, int | Fraction]:
    entry = read_entry(value, read_beats(value["beats"], ""), "")
    return entry, exact(before + entry.beats)


def entry_lengths(objects: Sequence[Mapping[str, object]], where: str, fit: int) -> list[Fraction]:
    """The beats of each chord; equal shares of the `fit` that fit where no chord has any.

    Raises ChartError where only some chords have beats, and as `read_beats` does.
    """
    missing = [i for i, value in enumerate(objects) if "beats" not in value]
    if len(missing) == len(objects):
        return len(objects) * [Fraction(fit, len(objects))]
    if missing:
        pointer = f"{where}/{missing[0]}"
        detail = "beats are missing here but given for other chords of the measure"
        raise ChartError.at(pointer, detail, expected="beats for every chord of a measure or none")
    return [read_beats(value["beats"], f"{where}/{i}/beats") for i, value in enumerate(objects)]


def entry_json(entry: Entry) -> dict[str, object]:
    """`entry` in the JSON form; what it does not have is left out."""
    whole = entry.beats.denominator == 1
    form: dict[str, object] = {
        "symbol": entry.symbol,
        "beats": int(entry.beats) if whole else float(entry.beats),
    }
    return form | constraint_json(entry.melody, entry.ceiling, entry.top, entry.colours)


def constraint_json(
    melody: Sequence[int], ceiling: int | None, top: int | None, colours: Sequence[str] | None
) -> dict[str, object]:
    """What a chord has beside symbol and beats, notes by name."""
    form: dict[str, object] = {}
    if melody:
        form["melody"] = [pitch_name(note) for note in melody]
    if ceiling is not None:
        form["ceiling"] = pitch_name(ceiling)
    if top is not None:
        form["top"] = pitch_name(top)
    if colours is not None:
        form["colours"] = list(colours)
    return form
