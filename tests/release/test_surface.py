"""The public surface is the one that is committed."""

from __future__ import annotations

import dataclasses

import pytest

import shortway_client
from release import surface
from shortway_client import models


@pytest.mark.parametrize("distribution", ["shortway", "shortway_client"])
def test_surface_is_the_committed_one(distribution: str) -> None:
    """A change of it is looked at, and told in the distribution's CHANGELOG."""
    committed = (surface.FOLDER / f"{distribution}.txt").read_text()
    message = "run: python tests/release/surface.py --write"
    assert surface.surface(distribution) == committed, message


def test_every_value_that_an_answer_holds_has_a_public_name() -> None:
    values = {name for name, value in vars(models).items() if dataclasses.is_dataclass(value)}
    assert values <= set(shortway_client.__all__)
