"""A lead sheet of our own, as the document shows it: plain, and packed.

Knows no noun. It is packed without deflating, so that its bytes are the same on every machine.
"""

import base64
import io
from typing import Final
from zipfile import ZIP_STORED, ZipFile, ZipInfo

SHEET: Final = """<?xml version="1.0" encoding="UTF-8"?>
<score-partwise version="4.0">
  <work><work-title>Second Floor, Please</work-title></work>
  <part-list><score-part id="P1"><part-name>Voice</part-name></score-part></part-list>
  <part id="P1">
    <measure number="1">
      <attributes>
        <divisions>2</divisions>
        <key><fifths>-1</fifths><mode>major</mode></key>
        <time><beats>4</beats><beat-type>4</beat-type></time>
      </attributes>
      <harmony>
        <root><root-step>G</root-step></root><kind text="m7">minor-seventh</kind>
      </harmony>
      <note>
        <pitch><step>D</step><octave>5</octave></pitch>
        <duration>4</duration><type>half</type>
      </note>
      <harmony>
        <root><root-step>C</root-step></root><kind text="7">dominant</kind>
        <degree>
          <degree-value>9</degree-value><degree-alter>-1</degree-alter>
          <degree-type>add</degree-type>
        </degree>
      </harmony>
      <note>
        <pitch><step>B</step><alter>-1</alter><octave>4</octave></pitch>
        <duration>4</duration><type>half</type>
      </note>
    </measure>
    <measure number="2">
      <harmony>
        <root><root-step>F</root-step></root><kind text="maj7">major-seventh</kind>
      </harmony>
      <note>
        <pitch><step>A</step><octave>4</octave></pitch>
        <duration>8</duration><type>whole</type>
      </note>
      <barline location="right"><repeat direction="backward"/></barline>
    </measure>
  </part>
</score-partwise>
"""

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
