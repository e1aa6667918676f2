"""Comping rhythms: patterns as data, and when the chords of a chart are struck."""
