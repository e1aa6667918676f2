"""The command line, ``shortway``: one module a command or group of commands."""

from shortway.cli.commands import main

__all__ = ["main"]
