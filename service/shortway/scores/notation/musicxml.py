"""MusicXML 4.0 files: a score of one piano part, plain or compressed (.mxl)."""

from io import BytesIO
from typing import Final
from zipfile import ZIP_DEFLATED, ZIP_STORED, ZipFile, ZipInfo

from shortway import __version__
from shortway.scores.notation.elements import (
    barline_element,
    element,
    score_part_element,
    text_element,
)
from shortway.scores.notation.model import Score
from shortway.scores.notation.piano_part import piano_part_measures
from shortway.scores.notation.systems import PAPER
from shortway.scores.sound import PROGRAMS

VERSION: Final = "4.0"
HEAD: Final = (
    '<?xml version="1.0" encoding="UTF-8"?>\n'
    '<!DOCTYPE score-partwise PUBLIC "-//Recordare//DTD MusicXML 4.0 Partwise//EN"'
    ' "http://www.musicxml.org/dtds/partwise.dtd">\n'
)
_PART: Final = "P1"
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
#: The earliest date of a zip member: the same score gives the same bytes.
_DATE: Final = (1980, 1, 1, 0, 0, 0)


def write_musicxml(music: Score) -> bytes:
    """The MusicXML file of `music`. Raises SettingError if a time is too fine for note values."""
    return f"{HEAD}{score_text(music, PAPER)}\n".encode()


def score_text(music: Score, room: float, *, engraved: bool = False) -> str:
    """The MusicXML of `music` in systems `room` staff spaces wide.

    `engraved`: without heading and tempo, and without what is not printed.

    Raises SettingError if a time is too fine for note values.
    """
    titled = music.title and not engraved
    title = element("work", text_element("work-title", music.title)) if titled else ""
    program, instrument = PROGRAMS[music.sound.program]
    encoder = element("encoding", text_element("software", f"Shortway {__version__}"))
    last = barline_element("light-heavy")
    *measures, final = piano_part_measures(music, room=room, engraved=engraved)
    closed = final.removesuffix("</measure>") + f"{last}\n</measure>"
    return element(
        "score-partwise",
        "\n",
        title and f"{title}\n",
        element("identification", encoder),
        "\n",
        element("part-list", score_part_element(_PART, instrument, 1, program)),
        "\n",
        element("part", "\n", "\n".join([*measures, closed]), "\n", id=_PART),
        "\n",
        version=VERSION,
    )


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
