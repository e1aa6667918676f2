"""Tables in one test: `each_row` runs a test on every row and names the rows that fail."""

from __future__ import annotations

import functools
import inspect
import random
from collections.abc import Callable, Iterable
from typing import Any

import pytest

Test = Callable[..., None]

#: Draws the rows of a sample: always the same ones.
SEED = 12


def each_row(names: str, rows: Iterable[Any], sample: int = 0) -> Callable[[Test], Test]:
    """Like ``pytest.mark.parametrize``, but one test: all rows run, and those that fail are listed.

    With `sample`, the plain run takes that many rows, always the same ones, and a second test,
    marked ``slow``, takes all of them. Fixtures are shared by the rows.
    """
    arguments, table = [name.strip() for name in names.split(",")], list(rows)
    assert table, "a table without rows checks nothing"

    def decorate(test: Test) -> Test:
        signature = inspect.signature(test)
        kept = [p for p in signature.parameters.values() if p.name not in arguments]
        taken = inspect.Parameter("taken", inspect.Parameter.KEYWORD_ONLY)

        @functools.wraps(test)
        def whole(taken: list[Any] = table, **fixtures: Any) -> None:
            _run(test, arguments, taken, fixtures)

        extra = [taken] if 0 < sample < len(table) else []
        whole.__signature__ = signature.replace(parameters=[*kept, *extra])  # type: ignore[attr-defined]
        return _at_two_sizes(table, sample)(whole) if extra else whole

    return decorate


def _run(test: Test, arguments: list[str], rows: list[Any], fixtures: dict[str, Any]) -> None:
    """Run the test on each row; raise one group of all failures, each with its row."""
    failures: list[BaseException] = []
    for row in rows:
        values = row if len(arguments) > 1 else (row,)
        try:
            test(**dict(zip(arguments, values, strict=True)), **fixtures)
        except (Exception, pytest.fail.Exception) as failure:
            failure.add_note(f"row: {row!r}")
            failures.append(failure)
    if failures:
        raise BaseExceptionGroup(f"{len(failures)} of {len(rows)} rows fail", failures)


def _at_two_sizes(rows: list[Any], sample: int) -> Callable[[Test], Test]:
    """The same test on a sample and, marked slow, on all rows."""
    few = random.Random(SEED).sample(rows, sample)
    sizes = [pytest.param(few, id="sample"), pytest.param(rows, id="all", marks=pytest.mark.slow)]
    return pytest.mark.parametrize("taken", sizes)
