"""Settings of the service that come from the environment: a table, and its reading.

Knows the standard library only.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

#: Name in the app's settings: least value and default. The variable is ``SHORTWAY_`` and the name.
NUMBERS: Final[Mapping[str, tuple[int, int]]] = {
    "ANSWER_CACHE_MB": (0, 64),  # MiB of answers kept by each process; 0 keeps none
    "BATCH_IDLE_SECONDS": (1, 60),  # how long a batch's client may neither send nor read
}


def settings(environment: Mapping[str, str]) -> dict[str, int]:
    """The numbers that `environment` gives, or their defaults.

    Raises
    ------
    ValueError
        If a variable holds no whole number, or one too small.

    >>> settings({"SHORTWAY_ANSWER_CACHE_MB": "0"})
    {'ANSWER_CACHE_MB': 0, 'BATCH_IDLE_SECONDS': 60}
    """
    return {
        name: _number(f"SHORTWAY_{name}", environment.get(f"SHORTWAY_{name}", default), least)
        for name, (least, default) in NUMBERS.items()
    }


def _number(variable: str, value: str | int, least: int) -> int:
    text = str(value)
    if not (text.isascii() and text.isdigit() and len(text) < 10 and int(text) >= least):
        raise ValueError(f"{variable} is {text[:40]!r}; a whole number from {least} is expected")
    return int(text)
