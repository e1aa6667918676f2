"""Scores that are hostile, broken or empty: a clear problem each, time and memory bounded."""

from __future__ import annotations

import base64
import io
import random
import re
import struct
import subprocess
import sys
import time
import tracemalloc
from zipfile import ZIP_BZIP2, ZIP_DEFLATED, ZipFile

import pytest

from shortway.core import charts
from shortway.core.errors import ShortwayError, TooLarge
from shortway.scores.leadsheet.document import mxl_reader as archive
from shortway.scores.leadsheet.document import xml_parser as markup
from shortway.services.read_chart import read_chart, read_lead_sheet
from shortway.wire.example_score import SHEET
from support.sheets import CONTAINER, harmony, measures, note, packed, rest, score
from support.tables import each_row

GOOD = score(measures(harmony("C") + note("C5", 16)))

LAUGHS = "<!DOCTYPE score-partwise [<!ENTITY a 'ha'>" + "".join(
    f"<!ENTITY {name} '{('&' + before + ';') * 10}'>"
    for before, name in zip("abcdefghi", "bcdefghij", strict=True)
) + "]>"  # fmt: skip
FILE = "<!DOCTYPE score-partwise [<!ENTITY file SYSTEM 'file:///etc/passwd'>]>"
PARAMETER = "<!DOCTYPE score-partwise [<!ENTITY % far SYSTEM 'http://127.0.0.1:9/x.dtd'> %far;]>"
#: Each measure would get a megabyte of attributes.
DEFAULTS = "<!DOCTYPE score-partwise [<!ATTLIST measure " + "".join(
    f"x{i} CDATA '{'y' * 10_000}'" for i in range(100)
) + ">]>"  # fmt: skip

XML = [
    ("nothing", "", "cannot read the XML"),
    ("no XML", "| C | F |", "cannot read the XML"),
    ("truncated", GOOD[: len(GOOD) // 2], "cannot read the XML: .* in line 1, column"),
    ("another document", "<html><body/></html>", "root element is 'html'"),
    ("a million laughs", LAUGHS + GOOD.replace("Part P1", "&j;"), "inside a DOCTYPE"),
    ("an external entity", FILE + GOOD.replace("Part P1", "&file;"), "inside a DOCTYPE"),
    ("an external DTD", PARAMETER + GOOD, "inside a DOCTYPE"),
    ("attribute defaults", DEFAULTS + GOOD, "inside a DOCTYPE"),
    ("many attributes", "<a " + " ".join(f"x{i}=''" for i in range(90_000)) + "/>",
     "a tag or comment of more than 262,144 bytes"),
    ("many elements with attributes", "<a>" + "<b c='' d=''/>" * 125_001 + "</a>",
     "more than 250,000 attributes"),
    ("deep nesting", "<a>" * 100_000, "nested more than 64 levels"),
    ("many elements", "<a>" + "<b/>" * 250_001 + "</a>", "more than 250,000 elements"),
    ("too large", "<a>" + " " * (8 << 20), "limit of 8,388,608"),
    ("no part", score(), "the score has no part"),
    ("no measures", score(""), "0 measures"),
    ("no harmony", score(measures(note("C5", 16))), "the score has no harmony"),
    ("a harmony in the part", score(harmony("C") + measures(rest(16))), "outside any measure"),
    ("a harmony in the score", score(measures(rest(16)), head=harmony("C")), "outside any part"),
    ("a harmony behind its measure", score(measures(harmony("C", offset=16) + rest(16))),
     "is outside the measure"),
    ("a harmony before its measure", score(measures(harmony("C", offset=-1) + rest(16))),
     "is outside the measure"),
    ("a duration of letters", GOOD.replace(">16<", ">long<"), "duration 'long'"),
    ("a huge duration", GOOD.replace(">16<", ">1e999999999<"), "duration '1e999999999'"),
    ("a measure of a million beats", GOOD.replace(">16<", ">4000000<"), "which fits no meter"),
    ("no divisions", GOOD.replace("<divisions>4</divisions>", ""), "precedes the divisions"),
    ("divisions of 0", GOOD.replace("<divisions>4<", "<divisions>0<"), "divisions are 0"),
    ("a meter of letters", GOOD.replace("<beats>4<", "<beats>c<"), "cannot read the meter c/4"),
    ("a step H", GOOD.replace("<step>C<", "<step>H<"), "the step 'H'"),
    ("an octave of 40", GOOD.replace("<octave>5<", "<octave>40<"), "octave 40"),
    ("a backup too far", GOOD.replace("<note>", "<backup><duration>1</duration></backup><note>"),
     "exceeds the measure"),
    ("a chord a hair's breadth long",
     score(measures(f'{harmony("C")}{harmony("F", offset=1)}{note("C5", 16)}')).replace(
         "<offset>1<", "<offset>0.0001<"),
     "closer than 1/96 beat"),
    ("65 chords in a measure", score(measures(harmony("C") * 65 + note("C5", 16))),
     "a measure has 65 chords"),
]  # fmt: skip


@each_row("name, xml, said", XML)
def test_a_score_is_refused_in_little_time(name: str, xml: str, said: str) -> None:
    begun = time.perf_counter()
    with pytest.raises(ShortwayError, match=said) as caught:
        read_chart({"musicxml": xml})
    assert time.perf_counter() - begun < 20, name
    for fault in caught.value.faults:
        assert fault.pointer.startswith("/musicxml"), name
        assert fault.expected, name
        assert len(fault.detail) < 400


def test_a_truncated_text_says_where() -> None:
    cut = GOOD[: len(GOOD) // 2]
    with pytest.raises(ShortwayError) as caught:
        read_chart({"musicxml": "\n" + cut})
    assert caught.value.faults[0].position is not None
    with pytest.raises(ShortwayError) as caught:
        read_chart({"musicxml": GOOD.replace("<note>", "<note<")})
    assert caught.value.faults[0].position == GOOD.index("<note>") + len("<note")


@pytest.mark.parametrize("coding", ["no-such", "utf-16", "utf-8"])
def test_a_coding_that_is_unknown_or_another(coding: str) -> None:
    text = f'<?xml version="1.0" encoding="{coding}"?>' + GOOD.replace("Part P1", "\xe4")
    with pytest.raises(ShortwayError, match=r"cannot (decode|read) the XML"):
        read_lead_sheet(text.encode("latin-1"), "musicxml")


def test_more_chords_than_a_chart_may_have() -> None:
    many = measures(*([harmony("C") + note("C5", 16)] * 4097))
    with pytest.raises(TooLarge, match="the limit is 4,096"):
        read_lead_sheet(score(many).encode(), "musicxml")


def locked() -> bytes:
    """A zip whose score is marked as encrypted, in both of its headers."""
    data = bytearray(packed({"a.xml": GOOD}, "a.xml"))
    for signature, at in ((b"PK\x03\x04", 6), (b"PK\x01\x02", 8)):
        place = data.rindex(signature)
        data[place + at] |= 1
    return bytes(data)


def lying() -> bytes:
    """A zip that says that its bomb unpacks to 100 bytes."""
    data = bytearray(packed({"a.xml": " " * (64 << 20)}, "a.xml"))
    for signature, at in ((b"PK\x03\x04", 22), (b"PK\x01\x02", 24)):
        place = data.rindex(signature)
        data[place + at : place + at + 4] = struct.pack("<I", 100)
    return bytes(data)


def squeezed() -> bytes:
    file = io.BytesIO()
    with ZipFile(file, "w", ZIP_DEFLATED) as found:
        found.writestr("META-INF/container.xml", CONTAINER.format("a.xml"))
        found.writestr("a.xml", GOOD, ZIP_BZIP2)
    return file.getvalue()


PACKED = [
    ("nothing", b"", "cannot unpack"),
    ("no zip", b"PK\x03\x04 and no more", "cannot unpack"),
    ("truncated", packed({"a.xml": GOOD}, "a.xml")[:-30], "cannot unpack"),
    ("no container", packed({"a.xml": GOOD}), "has no member 'META-INF/container.xml'"),
    ("a container that is no XML", packed({"META-INF/container.xml": "score: a.xml"}),
     "cannot read the XML"),
    ("a container that names nothing", packed({"META-INF/container.xml": "<container/>"}),
     "names no score"),
    ("a container that names nothing there", packed({"a.xml": GOOD}, "b.xml"),
     "has no member 'b.xml'"),
    ("a path upwards", packed({"../a.xml": GOOD}, "../a.xml"), "is outside the .mxl"),
    ("a path from the root", packed({"/etc/passwd": GOOD}, "/etc/passwd"), "is outside the .mxl"),
    ("a file of the machine", packed({"a.xml": GOOD}, "/etc/passwd"),
     "has no member '/etc/passwd'"),
    ("a bomb", packed({"a.xml": " " * (64 << 20)}, "a.xml"), "unpacks to more than 8,388,608"),
    ("a small bomb", packed({"a.xml": "<a>" + " " * (4 << 20)}, "a.xml"), "250 times its size"),
    ("a bomb that lies", lying(), "cannot unpack|unpacks to more|cannot read"),
    ("a container that is a bomb", packed({"META-INF/container.xml": " " * (8 << 20)}),
     "unpacks to more than 65,536"),
    ("too many members",
     packed({f"{number}": "" for number in range(1001)} | {"a.xml": GOOD}, "a.xml"),
     "1,003 members"),
    ("locked", locked(), "encrypted"),
    ("packed otherwise", squeezed(), "unsupported compression"),
    ("an archive in it", packed({"a.xml": packed({"a.xml": GOOD}, "a.xml")}, "a.xml"),
     "cannot read the XML"),
]  # fmt: skip


@each_row("name, data, said", PACKED)
def test_a_packed_score_is_refused_in_little_time_and_memory(
    name: str, data: bytes, said: str
) -> None:
    tracemalloc.start()
    begun = time.perf_counter()
    try:
        with pytest.raises(ShortwayError, match=said) as caught:
            read_lead_sheet(data, "mxl")
        peak = tracemalloc.get_traced_memory()[1]
    finally:
        tracemalloc.stop()
    assert time.perf_counter() - begun < 10, name
    assert peak < 40 << 20, name
    assert caught.value.code == "chart-unreadable"
    with pytest.raises(ShortwayError) as caught:
        read_chart({"mxl": base64.b64encode(data).decode()})
    assert caught.value.faults[0].pointer == "/mxl"


@pytest.mark.parametrize(
    ("value", "code", "pointer"),
    [
        ({"mxl": "not base64!"}, "chart-unreadable", "/mxl"),
        ({"mxl": "QUJD\u00e4"}, "chart-unreadable", "/mxl"),
        ({"mxl": 4}, "wrong-type", "/mxl"),
        ({"musicxml": None}, "wrong-type", "/musicxml"),
        ({"musicxml": GOOD, "title": "x"}, "unknown-field", "/title"),
        ({"musicxml": GOOD, "mxl": "x"}, "chart-unreadable", ""),
        (4, "wrong-type", ""),
    ],
)
def test_the_door_refuses_what_is_no_form_of_a_chart(
    value: object, code: str, pointer: str
) -> None:
    with pytest.raises(ShortwayError) as caught:
        read_chart(value)
    assert (caught.value.code, caught.value.faults[0].pointer) == (code, pointer)


@pytest.mark.slow
def test_the_largest_score_stays_within_bounds() -> None:
    """As many elements as are read, most of them notes over many chords."""
    notes = (markup.MAX_ELEMENTS - 3000) // 6
    each = notes // 200
    measure = harmony("C") + note("C5", 16, more="<chord/>") * each + note("E5", 16)
    text = score(measures(*[measure] * 200))
    assert len(text) < 64 << 20
    if len(text) > markup.MAX_XML_BYTES:
        text = score(measures(*[measure] * (200 * markup.MAX_XML_BYTES // len(text) - 1)))
    tracemalloc.start()
    begun = time.perf_counter()
    read_lead_sheet(text.encode(), "musicxml")
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert time.perf_counter() - begun < 60
    assert peak < 300 << 20


#: What may stand in a text, and what may stand between two elements, of a damaged sheet.
TEXTS = ("", "0", "-1", "x", "999999999", "1.5", "7", "2", "minor", "add", "C")
PIECES = (
    '<barline location="left"><repeat direction="forward"/></barline>',
    '<barline><repeat direction="backward"/></barline>',
    '<barline location="left"><ending type="start" number="1"/></barline>',
    '<barline><ending type="stop" number="1"/><repeat direction="backward"/></barline>',
    '<barline location="left"><ending type="start" number="2"/></barline>',
    *(f'<sound {mark}="yes"/>' for mark in ("dacapo", "dalsegno", "segno", "tocoda", "coda")),
)  # fmt: skip


def damaged(text: str, rng: random.Random) -> str:
    """`text` with a value changed, or an element lost, doubled or added."""
    how = rng.randrange(4)
    values = list(re.finditer(r">([^<>\s][^<>]*)<", text))
    leaves = list(re.finditer(r"<(\w[\w-]*)[^<>]*?(?:/>|>[^<>]*</\1>)", text))
    found, place = rng.choice(leaves), rng.choice(leaves).start()
    if how == 0:
        found = rng.choice(values)
        return text[: found.start(1)] + rng.choice(TEXTS) + text[found.end(1) :]
    if how == 1:
        return text[: found.start()] + text[found.end() :]
    if how == 2:
        return text[:place] + found[0] + text[place:]
    ends = [match.end() for match in re.finditer(r"<measure[^>]*>|</note>", text)]
    place = rng.choice(ends) if ends else 0
    return text[:place] + rng.choice(PIECES) + text[place:]


def test_damaged_sheets_are_read_or_refused_and_what_is_read_reads_back() -> None:
    rng = random.Random(4)
    outcomes = {"read": 0, "refused": 0}
    unexplained: list[str] = []
    for _ in range(600):
        text = SHEET
        for _ in range(rng.randint(1, 4)):
            text = damaged(text, rng)
        try:
            chart = read_chart({"musicxml": text}).chart
        except ShortwayError as error:
            outcomes["refused"] += 1
            unexplained += [fault.detail for fault in error.faults if not fault.expected]
        else:
            outcomes["read"] += 1
            assert charts.parse_chart(charts.chart_json(chart)) == chart
    assert unexplained == []
    assert min(outcomes.values()) > 50, outcomes


def test_limits_are_those_that_the_documents_name() -> None:
    assert (markup.MAX_XML_BYTES, markup.MAX_ELEMENTS, markup.MAX_DEPTH) == (8 << 20, 250_000, 64)
    assert (archive.MAX_MEMBERS, archive.MAX_RATIO) == (1000, 250)


def test_solving_a_text_chart_loads_nothing_that_reads_or_writes_scores() -> None:
    code = (
        "import sys; from shortway.api import create_app\n"
        "from shortway.services.solve_path import solve_path\n"
        "create_app(); solve_path({'chart': '| Dm7 | G7 |'})\n"
        "print(*sorted({name.partition('.')[0] for name in sys.modules}))"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    loaded = set(done.stdout.split())
    assert {"shortway", "flask"} <= loaded
    assert not loaded & {"music21", "verovio", "mido", "defusedxml"}
