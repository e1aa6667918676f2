"""A client that openapi-python-client made, used as an app would: one path and one refusal."""

from __future__ import annotations

import json
import sys

from generated import AuthenticatedClient
from generated.api.paths import find_path
from generated.models import Path, PathRequest, Problem, Setting, SettingHands


def ask(client: AuthenticatedClient, chart: str) -> Path | Problem | None:
    """What the service answers to `chart`, for the left hand."""
    body = PathRequest(chart=chart, setting=Setting(hands=SettingHands.LEFT))
    return find_path.sync(client=client, body=body)


def main() -> None:
    """Ask twice, and print what came."""
    # The generator reads "a token or none" as "a token"; a service without tokens takes any.
    client = AuthenticatedClient(base_url=sys.argv[1], token="none")
    path, problem = ask(client, "| Fm7 | N.C. | Bb7 |"), ask(client, "| Fm7 | Bbq7 |")
    assert isinstance(path, Path)
    assert isinstance(problem, Problem)
    said = {
        "total": path.motion,
        "played": [step.voicing.midi_notes if step.voicing else None for step in path.steps],
        "code": problem.code,
        "pointers": [fault.pointer for fault in problem.errors],
    }
    print(json.dumps(said))


main()
