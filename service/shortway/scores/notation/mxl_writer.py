"""Compressed MusicXML: a score in its container.

Knows the container of MusicXML's .mxl: a zip with META-INF/container.xml naming the score.
"""

from __future__ import annotations

from io import BytesIO
from typing import Final
from zipfile import ZIP_DEFLATED, ZIP_STORED, ZipFile, ZipInfo

_MEDIA_TYPE: Final = "application/vnd.recordare.musicxml"
_SCORE: Final = "score.musicxml"
_CONTAINER: Final = (
    '<?xml version="1.0" encoding="UTF-8"?>\n'
    "<container>\n"
    "  <rootfiles>\n"
    f'    <rootfile full-path="{_SCORE}" media-type="{_MEDIA_TYPE}+xml"/>\n'
    "  </rootfiles>\n"
    "</container>\n"
)
#: Zip has no earlier day; a score packed twice is the same bytes.
_DAY: Final = (1980, 1, 1, 0, 0, 0)


def write_mxl(score: bytes) -> bytes:
    """`score` as an .mxl file."""
    held = BytesIO()
    with ZipFile(held, "w") as file:
        for name, content, how in (
            ("mimetype", _MEDIA_TYPE.encode(), ZIP_STORED),
            ("META-INF/container.xml", _CONTAINER.encode(), ZIP_DEFLATED),
            (_SCORE, score, ZIP_DEFLATED),
        ):
            entry = ZipInfo(name, _DAY)
            entry.compress_type = how
            file.writestr(entry, content)
    return held.getvalue()
