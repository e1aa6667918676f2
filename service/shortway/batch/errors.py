"""Errors that stop a whole batch; an invalid line does not.

Knows no other module.
"""


class BatchError(Exception):
    """A batch that did not finish; the message is for the user."""


class CannotStart(BatchError):
    """The batch cannot start and nothing was changed: no such file, a foreign output."""


class Stopped(BatchError):
    """It stopped before the end: answered lines are kept, the same command resumes it."""


class InputChanged(BatchError):
    """The input is not what it was when the batch began: the answers may be of either."""
