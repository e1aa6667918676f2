"""Context: the function of a chord in its progression, as a value.

Knows nothing else; `harmony.functions` finds the context of each chord of a chart.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Final

#: Every function that a chord may have.
FUNCTIONS: Final = (
    "tonic", "predominant", "dominant", "substitute-dominant", "backdoor-dominant", "subdominant",
    "mediant", "submediant", "passing-diminished", "borrowed", "vamp", "other",
)  # fmt: skip


@dataclass(slots=True)
class Context:
    """The function of a chord in its progression; results share it.

    Attributes
    ----------
    function : str
        One of `FUNCTIONS`.
    goal : str
        The key or chord that it leads to, as a key is written: ``F``, ``Dm``.
    why : str
        The reason, in a musician's words.
    colours : tuple of str
        Degrees that may be added to what the symbol writes. A ``b7`` among them makes a
        suspended chord without a number a dominant.
    wants : tuple of tuple of str
        Groups of degrees that the context asks for; any one degree of a group satisfies it.
    fragment : bytes
        A place for what a serializer makes of it; empty before.
    """

    function: str
    goal: str
    why: str
    colours: tuple[str, ...]
    wants: tuple[tuple[str, ...], ...] = ()
    fragment: bytes = field(default=b"", init=False, compare=False, repr=False)
