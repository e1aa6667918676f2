"""Costs in 32 bits, of the searches that compare cost first. Knows no music."""

from __future__ import annotations

from typing import Final

#: A cost that no path has; four of them fit 32 bits.
NEVER: Final = 1 << 28
