"""Requests made from the document, to the running service: whatever is sent, the answer is one
that the document names. `run.py` makes them; what it prints is shown where a test fails."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import pytest

from conformance import run as conformance


@pytest.fixture(scope="module")
def told() -> Mapping[str, Any]:
    return conformance.report(conformance.SHORT)


def test_no_server_error_and_no_violation(told: Mapping[str, Any]) -> None:
    found = conformance.counts(told)
    assert (found["5xx"], found["violations"], found["errors"]) == (0, 0, 0), told["failures"]


def test_no_call_and_no_phase_is_left_out(told: Mapping[str, Any], document: Any) -> None:
    """All but the document itself, which schemathesis leaves out."""
    calls = sum(map(len, document["paths"].values())) - 1
    assert told["operations"]["tested"] == calls
    assert "skip" not in {phase["status"] for phase in told["phases"].values()}


def test_much_is_sent_and_much_of_what_fits_is_accepted(told: Mapping[str, Any]) -> None:
    """A third: scores and timed events are sent each option of their query at its limits, all at
    once, which few charts go with."""
    found = conformance.counts(told)
    assert found["requests"] > 3_000
    assert found["accepted"] > found["made to fit"] / 3
