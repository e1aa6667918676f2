"""Errors that stop a whole batch; an invalid line does not.

Knows no other module. ::

    BatchError
    ├── CannotStart     the command has to change: another input, no such file, a foreign output
    ├── Stopped         it ended before the end; answered lines are kept, the same command resumes
    └── InputChanged    the input is not what it was at the beginning
"""


class BatchError(Exception):
    """A batch that did not finish; the message is for the user."""


class CannotStart(BatchError):
    """The batch cannot start; nothing was changed."""


class Stopped(BatchError):
    """The batch stopped before the end of the input; the same command resumes it."""


class InputChanged(BatchError):
    """The input is not what it was when the batch began: the answers may be of either."""
