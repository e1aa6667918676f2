"""Solfège names in a chart: rejected, since some would be read as something else.

Knows the reader of symbols. ``Do7`` is a common spelling of D diminished; beside ``Re``, ``Mi`` or
``Sol`` it would be the C7 of a chart whose roots have solfège names.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import Final

from shortway.core.errors import Fault, SymbolError
from shortway.core.symbols import parser as symbols

_OTHERS: Final = ("Re", "Ré", "Mi", "Sol")


def check_solfege(words: Iterable[tuple[str, str, int | None]]) -> None:
    """Reject a chart with ``Do`` and another solfège name; a word has its pointer and position.

    Raises
    ------
    SymbolError
        With both places, and what the ``Do`` would be read as.
    """
    do = other = None
    for word in words:
        if do is None and word[0].startswith("Do"):
            do = word
        elif other is None and word[0].startswith(_OTHERS):
            other = word
        if do and other:
            raise _solfege_error(do, other)


def _solfege_error(
    do: tuple[str, str, int | None], other: tuple[str, str, int | None]
) -> SymbolError:
    expected = "a letter A to G: C for Do, D for Re"
    try:
        reading = f"{do[0]!r} would be read as {symbols.parse(do[0]).name}"
    except SymbolError:
        reading = f"cannot read {do[0]!r}"
    detail = f"{reading}; beside {other[0]!r} it is a solfège name, which is not read"
    faults = (
        Fault(do[1], detail, do[2], expected),
        Fault(other[1], f"{other[0]!r} is a solfège name, which is not read", other[2], expected),
    )
    return SymbolError(detail, *faults)
