"""The generated Python client, used as an app would: a symbol, a path, a score and a refusal."""

from __future__ import annotations

import json
import sys
from hashlib import sha256

import openapi_client as shortway


def main() -> None:
    """Ask four times, and print what came."""
    client = shortway.ApiClient(shortway.Configuration(host=sys.argv[1]))
    setting = shortway.Setting(hands=shortway.Hands.HANDS_LEFT)
    chart = shortway.ChartInput(text="| Fm7 | N.C. | Bb7 |")
    chord = shortway.ChordsApi(client).get_chord("Abm7b5/Gb")
    paths = shortway.PathsApi(client)
    path = paths.find_path(shortway.PathRequest(chart=chart, setting=setting))
    asked = shortway.ScoreRequest(chart=chart, setting=setting, format="midi")
    score = shortway.ScoresApi(client).write_score(asked)
    try:
        unread = shortway.ChartInput(text="| Fm7 | Bbq7 |")
        paths.find_path(shortway.PathRequest(chart=unread, setting=setting))
    except shortway.ApiException as error:
        problem = error.data
    said = {
        "bass": chord.bass,
        "motion": path.motion,
        "played": [step.midi_notes for step in path.steps],
        "score": sha256(score).hexdigest(),
        "code": problem.code,
        "pointer": problem.errors[0].pointer,
    }
    print(json.dumps(said))


main()
