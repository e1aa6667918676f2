"""Links of the OpenAPI document: which part of a response is another call's request.

Knows the calls by their operationId. The service keeps no state, so a link only repeats what the
client has already; test generators follow them. A link's request is an expression, never an object:
client generators reject that.
"""

from typing import Any, Final

Json = dict[str, Any]

#: Links of the response to each call that has some.
LINKS: Final[dict[str, Json]] = {
    "listVoicings": {
        "chordOfVoicings": {
            "operationId": "getChord",
            "parameters": {"symbol": "$response.body#/chord/symbol"},
            "description": "The chord that the voicings are of.",
        }
    },
    "findPath": {
        "scoreOfPath": {
            "operationId": "writeScore",
            "requestBody": "$request.body",
            "description": "The same path as notes, sound or a picture, by Accept.",
        }
    },
}
