"""Exercises: one chart through many keys."""
