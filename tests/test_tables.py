"""`support.tables`: what fails is named, what passes is silent, and a sample is always the same."""

from __future__ import annotations

import pytest

from support.tables import each_row


def test_every_row_runs_and_those_that_fail_are_named() -> None:
    seen = []

    @each_row("number, half", [(2, 1), (3, 1), (4, 2), (5, 9)])
    def halves(number: int, half: int) -> None:
        seen.append(number)
        assert number == 2 * half

    with pytest.raises(ExceptionGroup, match="2 of 4 rows fail") as caught:
        halves()
    assert seen == [2, 3, 4, 5]
    assert [e.__notes__ for e in caught.value.exceptions] == [["row: (3, 1)"], ["row: (5, 9)"]]


def test_an_error_that_was_not_raised_is_a_failure_too() -> None:
    @each_row("number", [0, 1])
    def inverse(number: int) -> None:
        with pytest.raises(ZeroDivisionError):
            1 / number

    with pytest.raises(BaseExceptionGroup, match="1 of 2 rows fail"):
        inverse()


def test_a_table_without_rows_is_refused() -> None:
    with pytest.raises(AssertionError, match="checks nothing"):
        each_row("number", [])
