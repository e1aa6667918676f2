"""Reader of compressed lead sheets (.mxl).

Knows zip and nothing of music. Writes no file and never uses a member's name as a path; unpacks
only the container and the score that it names, within the limits below. MusicXML 4.0, "Compressed
.MXL files": META-INF/container.xml names the score.
"""

import io
import zlib
from typing import Final
from zipfile import ZIP_DEFLATED, ZIP_STORED, BadZipFile, ZipFile

from shortway.core.errors import ChartError
from shortway.scores.leadsheet.document.xml_parser import MAX_XML_BYTES, parse_xml

CONTAINER: Final = "META-INF/container.xml"
MAX_MEMBERS: Final = 1000
MAX_CONTAINER_BYTES: Final = 64 << 10
#: The largest ratio of unpacked to packed bytes; that of a score is about 10.
MAX_RATIO: Final = 250
#: The ratio of smaller members is not checked.
RATIO_FROM: Final = 256 << 10

_SCORE_TYPES: Final = ("", "application/vnd.recordare.musicxml+xml", "text/xml", "application/xml")
_BROKEN: Final = (
    BadZipFile, zlib.error, EOFError, NotImplementedError, RuntimeError, OSError, ValueError,
)  # fmt: skip
_EXPECTED: Final = "a compressed MusicXML file (.mxl)"


def read_mxl(data: bytes) -> bytes:
    """The score in an .mxl file.

    Raises ChartError if the archive is damaged, exceeds a limit or names no score.
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
    container = parse_xml(_member(archive, CONTAINER, MAX_CONTAINER_BYTES))
    for found in container.iter():
        if found.tag.rpartition("}")[2] == "rootfile":
            kind, name = found.get("media-type", ""), found.get("full-path", "")
            if kind in _SCORE_TYPES and name:
                return _member(archive, name, MAX_XML_BYTES)
    raise _error(f"{CONTAINER} in the .mxl names no score", "a rootfile with its full-path")


def _member(archive: ZipFile, name: str, most: int) -> bytes:
    """The content of a member, at most `most` bytes."""
    shown = repr(name[:80])
    try:
        info = archive.getinfo(name)
    except KeyError:
        detail = f"the .mxl has no member {shown}"
        raise _error(detail, f"{CONTAINER}, and the score that it names") from None
    if ".." in name.split("/") or name.startswith("/"):
        raise _error(f"{shown} is outside the .mxl", "a name inside it")
    if info.flag_bits & 1 or info.compress_type not in (ZIP_STORED, ZIP_DEFLATED):
        detail = f"{shown} is encrypted or has an unsupported compression"
        raise _error(detail, "members that are deflated or stored")
    content = b""
    if info.file_size <= most:
        if info.file_size > RATIO_FROM and info.file_size > MAX_RATIO * info.compress_size:
            raise _error(f"{shown} unpacks to more than {MAX_RATIO} times its size")
        with archive.open(info) as member:
            content = member.read(most + 1)
    if info.file_size > most or len(content) > most:
        raise _error(f"{shown} in the .mxl unpacks to more than {most:,} bytes")
    return content


def _error(detail: str, expected: str = _EXPECTED) -> ChartError:
    return ChartError.at("", detail, expected=expected)
