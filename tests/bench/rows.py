"""A row of the table that tests/bench/run.py gathers."""

from __future__ import annotations


def row(what: str, figure: str, beside: str = "–") -> None:
    """Print it; both figures are of one run."""
    print(f"| {what} | {figure} | {beside} |", flush=True)
