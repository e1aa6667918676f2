"""A lead sheet of our own, as the document shows it: plain, and packed.

Knows no noun. It is packed without deflating, so that its bytes are the same on every machine.
"""

import base64
import io
from importlib.resources import files
from typing import Final
from zipfile import ZIP_STORED, ZipFile, ZipInfo

SHEET: Final = files("shortway.wire").joinpath("example_sheet.musicxml").read_text("utf-8")

_CONTAINER: Final = (
    '<?xml version="1.0" encoding="UTF-8"?>\n<container><rootfiles>'
    '<rootfile full-path="sheet.musicxml"/></rootfiles></container>\n'
)


def _packed() -> bytes:
    file = io.BytesIO()
    with ZipFile(file, "w", ZIP_STORED) as archive:
        for name, content in (("META-INF/container.xml", _CONTAINER), ("sheet.musicxml", SHEET)):
            archive.writestr(ZipInfo(name), content)
    return file.getvalue()


PACKED_SHEET: Final = base64.b64encode(_packed()).decode()
