"""The forms that a score may be written in.

Knows their names alone.
"""

from collections.abc import Mapping
from typing import Final

#: Forms of a score: media type and the end of a file's name.
FORMS: Final[Mapping[str, tuple[str, str]]] = {
    "musicxml": ("application/vnd.recordare.musicxml+xml", ".musicxml"),
    "mxl": ("application/vnd.recordare.musicxml", ".mxl"),
    "midi": ("audio/midi", ".mid"),
    "svg": ("image/svg+xml", ".svg"),
    "pdf": ("application/pdf", ".pdf"),
}


def form_of_name(name: str) -> str | None:
    """The form that a file's name ends as; None where it is none.

    >>> form_of_name("waltz.mid"), form_of_name("Waltz.MXL"), form_of_name("waltz.wav")
    ('midi', 'mxl', None)
    """
    return next((f for f, (_, end) in FORMS.items() if name.lower().endswith(end)), None)
