"""MusicXML 4.0 files: a score of one piano part, plain or compressed (.mxl)."""

from __future__ import annotations

from io import BytesIO
from typing import Final
from xml.etree import ElementTree
from xml.etree.ElementTree import Element
from zipfile import ZIP_DEFLATED, ZIP_STORED, ZipFile, ZipInfo

from shortway import __version__
from shortway.core.cancellation import checkpoint
from shortway.scores.notation.elements import add_child, score_part_element
from shortway.scores.notation.model import Score
from shortway.scores.notation.piano_part import piano_part_measures

VERSION: Final = "4.0"
INSTRUMENT: Final = "Piano"
_PART: Final = "P1"
_HEAD: Final = (
    b'<?xml version="1.0" encoding="UTF-8"?>\n'
    b'<!DOCTYPE score-partwise PUBLIC "-//Recordare//DTD MusicXML 4.0 Partwise//EN"'
    b' "http://www.musicxml.org/dtds/partwise.dtd">\n'
)
_MEDIA_TYPE: Final = "application/vnd.recordare.musicxml"
_MEMBER: Final = "score.musicxml"
_CONTAINER: Final = (
    '<?xml version="1.0" encoding="UTF-8"?>\n'
    "<container>\n"
    "  <rootfiles>\n"
    f'    <rootfile full-path="{_MEMBER}" media-type="{_MEDIA_TYPE}+xml"/>\n'
    "  </rootfiles>\n"
    "</container>\n"
)
_PIECES_PER_CHECKPOINT: Final = 10_000
#: The earliest date of a zip member: the same score gives the same bytes.
_DATE: Final = (1980, 1, 1, 0, 0, 0)


def write_musicxml(music: Score) -> bytes:
    """The MusicXML file of `music`.

    Raises SettingError if a time is too fine for note values.
    """
    root = Element("score-partwise", {"version": VERSION})
    if music.title:
        add_child(root, "work", {"work-title": music.title})
    add_child(root, "identification", {"encoding": {"software": f"Shortway {__version__}"}})
    add_child(root, "part-list").append(score_part_element(_PART, INSTRUMENT, channel=1))
    part = add_child(root, "part", id=_PART)
    part.extend(piano_part_measures(music))
    add_child(part[-1], "barline", {"bar-style": "light-heavy"}, location="right")
    ElementTree.indent(root)
    return serialize_musicxml(root)


def serialize_musicxml(root: Element) -> bytes:
    """The document of a tree, in UTF-8."""
    body = _Pieces()
    ElementTree.ElementTree(root).write(body, encoding="unicode")
    return _HEAD + "".join(body.pieces).encode() + b"\n"


class _Pieces:
    """A file whose writer can be cancelled."""

    def __init__(self) -> None:
        self.pieces: list[str] = []

    def write(self, piece: str) -> None:
        self.pieces.append(piece)
        if len(self.pieces) % _PIECES_PER_CHECKPOINT == 0:
            checkpoint()


def write_mxl(score: bytes) -> bytes:
    """The .mxl file of a MusicXML file: a zip whose META-INF/container.xml names the score."""
    buffer = BytesIO()
    with ZipFile(buffer, "w") as file:
        for name, content, compression in (
            ("mimetype", _MEDIA_TYPE.encode(), ZIP_STORED),
            ("META-INF/container.xml", _CONTAINER.encode(), ZIP_DEFLATED),
            (_MEMBER, score, ZIP_DEFLATED),
        ):
            entry = ZipInfo(name, _DATE)
            entry.compress_type = compression
            file.writestr(entry, content)
    return buffer.getvalue()
