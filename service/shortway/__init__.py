"""Shortway: the smoothest playable keyboard voicings for a chord chart."""

__version__ = "0.1.0"
