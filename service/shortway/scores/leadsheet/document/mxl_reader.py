"""Compressed lead sheets (.mxl): the score out of the zip, or a refusal.

Knows zip and nothing of music. Nothing is written to a disk and no name in the archive is taken
for a path; only the container and the score it points to are unpacked, within the limits below.
MusicXML 4.0, "Compressed .MXL files": META-INF/container.xml points to the score.
"""

from __future__ import annotations

import io
import zlib
from typing import Final
from zipfile import ZIP_DEFLATED, ZIP_STORED, BadZipFile, ZipFile, ZipInfo

from shortway.core.errors import ChartError
from shortway.scores.leadsheet.document import xml_parser as markup

CONTAINER: Final = "META-INF/container.xml"
#: Members of an archive, and bytes of the container.
MAX_MEMBERS: Final = 1000
MAX_CONTAINER_BYTES: Final = 64 << 10
#: How many times larger the score may be than what is packed; scores shrink to a tenth or less.
MAX_RATIO: Final = 250
#: Below so many bytes the ratio does not matter.
RATIO_FROM: Final = 256 << 10

_SCORE_TYPES: Final = ("", "application/vnd.recordare.musicxml+xml", "text/xml", "application/xml")
_BROKEN: Final = (
    BadZipFile, zlib.error, EOFError, NotImplementedError, RuntimeError, OSError, ValueError,
)  # fmt: skip
_EXPECTED: Final = "a compressed MusicXML file (.mxl)"


def read_mxl(data: bytes) -> bytes:
    """The score in an .mxl file.

    Raises
    ------
    ChartError
    """
    try:
        with ZipFile(io.BytesIO(data)) as archive:
            return _score(archive)
    except ChartError:
        raise
    except _BROKEN as error:
        raise _error(f"cannot unpack the .mxl: {error}"[:200]) from None


def _score(archive: ZipFile) -> bytes:
    members = archive.infolist()
    if len(members) > MAX_MEMBERS:
        raise _error(f"the .mxl has {len(members):,} members, more than {MAX_MEMBERS:,}")
    container = markup.parse_xml(_member(archive, CONTAINER, MAX_CONTAINER_BYTES))
    for found in container.iter():
        if found.tag.rpartition("}")[2] == "rootfile":
            kind, name = found.get("media-type", ""), found.get("full-path", "")
            if kind in _SCORE_TYPES and name:
                return _member(archive, name, markup.MAX_XML_BYTES)
    raise _error(f"{CONTAINER} in the .mxl names no score", "a rootfile with its full-path")


def _member(archive: ZipFile, name: str, most: int) -> bytes:
    """The content of a member, at most `most` bytes."""
    try:
        info = archive.getinfo(name)
    except KeyError:
        detail = f"the .mxl has no member {name[:80]!r}"
        raise _error(detail, f"{CONTAINER}, and the score that it names") from None
    _check(info, most)
    with archive.open(info) as member:
        content = member.read(most + 1)
    if len(content) > most:
        raise _too_large(name, most)
    return content


def _check(info: ZipInfo, most: int) -> None:
    """Refuse what need not be unpacked to be refused."""
    if ".." in info.filename.split("/") or info.filename.startswith("/"):
        raise _error(f"{info.filename[:80]!r} is outside the .mxl", "a name inside it")
    if info.flag_bits & 1 or info.compress_type not in (ZIP_STORED, ZIP_DEFLATED):
        detail = f"{info.filename[:80]!r} is encrypted or has an unsupported compression"
        raise _error(detail, "members that are deflated or stored")
    if info.file_size > most:
        raise _too_large(info.filename, most)
    if info.file_size > RATIO_FROM and info.file_size > MAX_RATIO * info.compress_size:
        detail = f"{info.filename[:80]!r} unpacks to more than {MAX_RATIO} times its size"
        raise _error(detail)


def _too_large(name: str, most: int) -> ChartError:
    return _error(f"{name[:80]!r} in the .mxl unpacks to more than {most:,} bytes")


def _error(detail: str, expected: str = _EXPECTED) -> ChartError:
    return ChartError.at("", detail, expected=expected)
