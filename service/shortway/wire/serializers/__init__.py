"""Core values as JSON-ready dictionaries."""
