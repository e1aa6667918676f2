"""Chord symbols: text -> Chord. The grammar, its words, and what its pieces add up to."""

from shortway.core.symbols.parser import parse

__all__ = ["parse"]
