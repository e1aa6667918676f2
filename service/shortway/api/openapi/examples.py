"""Examples of every call, as requests: the OpenAPI document shows them with their responses.

They stand in examples.json; $SHEET and $PACKED_SHEET stand for the example score. Responses come
from the running service (`openapi.openapi_document`), are stored under openapi/examples, and are
replayed by the tests. The charts are from the Saturday book of an imaginary hotel-lobby quartet.
"""

import json
from collections.abc import Mapping
from dataclasses import dataclass, field
from importlib.resources import files
from typing import Any, Final

from shortway.wire import example_score


@dataclass(frozen=True, slots=True)
class Example:
    """A request; `body` is sent as JSON, or as text where `kind` is another type.

    `installed` has what of the response depends on the installation, as the document shows it.
    """

    name: str
    operation: str
    summary: str
    method: str
    path: str
    body: Any = None
    kind: str = "application/json"
    accept: str = "*/*"
    installed: Mapping[str, str] = field(default_factory=dict)

    @property
    def text(self) -> bool:
        """Whether the body is sent as text."""
        return self.kind != "application/json"


def _read() -> tuple[Example, ...]:
    text = files(__package__).joinpath("examples.json").read_text("utf-8")
    for name in ("SHEET", "PACKED_SHEET"):
        text = text.replace(f'"${name}"', json.dumps(getattr(example_score, name)))
    return tuple(Example(**row) for row in json.loads(text))


EXAMPLES: Final = _read()
