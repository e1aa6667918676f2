"""Costs that no path has. Knows no music."""

from __future__ import annotations

from typing import Final

#: A cost that no path has; four of them fit 32 bits.
NEVER: Final = 1 << 28
#: The same in 64 bits.
NEVER_64: Final = 1 << 60
