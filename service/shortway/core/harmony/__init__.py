"""Harmony of a chart: local keys, the function of each chord, transposition."""
