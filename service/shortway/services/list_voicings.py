"""The voicings of a chord symbol."""

from collections.abc import Mapping
from typing import Any

from shortway.core.solver import solve
from shortway.core.solver.results import Listing
from shortway.request_trace import SEARCH, phase
from shortway.services.parse_chords import parse_chord
from shortway.wire.serializers.paths import read_context


def list_voicings(request: Mapping[str, Any]) -> Listing:
    """The page of voicings that a request asks for.

    `request`: the fields of `VoicingsRequestSchema`: each but the symbol is an argument of the
    core's `voicings`.

    Raises ShortwayError with pointers into the request.
    """
    chord = parse_chord(request["symbol"])
    options = {name: value for name, value in request.items() if name != "symbol"}
    if options.get("context") is not None:
        options["context"] = read_context(options["context"])
    with phase(SEARCH):
        return solve.voicings(chord, **options)
