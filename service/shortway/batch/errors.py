"""What can stop a batch as a whole; a bad line stops nothing.

Knows no other module. ::

    BatchError
    ├── CannotStart     the command has to change: another input, no such file, a foreign output
    └── Stopped         it ended before the end; what is answered is kept, the same command goes on
"""

from __future__ import annotations


class BatchError(Exception):
    """A batch that did not come to its end; its text is for whoever gave the command."""


class CannotStart(BatchError):
    """The command cannot be done as it was given; nothing was changed."""


class Stopped(BatchError):
    """The batch ended before the end of the input; the same command goes on where it stopped."""
