"""Shortest paths through layers of nodes: arrays in, arrays out. Knows no music."""
