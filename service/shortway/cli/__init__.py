"""The command line, ``shortway``."""

from shortway.cli.app import main

__all__ = ["main"]
