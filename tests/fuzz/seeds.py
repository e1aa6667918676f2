"""What fuzzing begins with: our own charts, sheets, files and requests, and the words in them."""

from __future__ import annotations

import base64
import json
import re
from collections.abc import Iterator, Mapping
from functools import cache, partial
from pathlib import Path
from typing import Any, Final

from fuzz.laws import CALLS, CUT
from shortway.core.charts.json_codec import FIELDS
from shortway.core.charts.json_entries import ENTRY_FIELDS
from shortway.core.settings import families, presets
from shortway.core.settings.setting import FIELDS as SETTING
from shortway.wire.example_score import SHEET
from support.sheets import CONTAINER, harmony, measures, note, packed, rest, score

ROOT: Final = Path(__file__).parents[2]
EXAMPLES: Final = ROOT / "openapi" / "examples"
FOUND: Final = Path(__file__).parent / "found"
SUFFIXES: Final = ROOT / "tests" / "data" / "suffixes.tsv"

_TEXTS: Final = (
    "| Dm7 | G7 | Cmaj7 | % |",
    "title: Late Checkout\nkey: Bb\nmeter: 4/4\n|: Bb6 G7 | Cm7 F7 |1. Cm7 F7 :|2. Cm7 / F7 Bb6 |",
    "meter: 3/4\nF6 / C7 | N.C. |]\n",
    "|: C(b5,9) | F :|: G7(#11) :||",
)
#: Songs, tunes and analyses of ours in the other text formats.
_FORMATS: Final[Mapping[str, tuple[str, ...]]] = {
    "chordpro": (
        "{title: Wet Umbrella}\n{key: G}\n{time: 3/4}\n{soc}\n[G]Rain [*soft]on | [Em7]the\n{eoc}\n"
        "{chorus}\n",
        "{sog 1+4x4+1}\nA || G7 . . . | % . | C7 . F . :| x3\n|1 C . :|2 D / |. end\n{eog}\n",
        "# [A]\n[(Am)]la [N.C.]la\n{sot}\nE|--3--\n{eot}\n{x_measure_each: line}\n",
    ),
    "lab": (
        "0.0\t1.2\tN\n1.2\t3.2\tC:maj7\n3.2\t4.2\tA:min7/b3\n4.2\t5.2\tD/3\n",
        "# ours\n0 2 G:7(b9,*5)\n2 4 X\n4 5.5 C#:hdim7/b5 # on b5\n",
        "0 2.5 F\n2.5 5 Bb:sus4(b7)\n",
    ),
    "abc": (
        'X:1\nT:Ours\nM:3/4\nL:1/4\nK:Bb\n"Bb6"B2 c|"^slow""F7(b9)"f2 "Eb/G"e||\n|:"Bb"B2 c:|\n',
        'X:1\nM:4/4\nL:1/8\nK:G\nG2|"Am"c4 "D7"{d}x4|1"G"G8:|2"N.C."G8|]\nw:ex y\n',
        'X:1\nL:1/4\nM:6/8\nK:Am\n"Am"(3abc !trill!d3/2|]',
    ),
    "romantext": (
        "Title: Ours\nTime Signature: 4/4\nm0 b4 C: V\nm1 I b3 V6\nm2 ||: vi b2.5 ii6/5 :||\n",
        "m1 a: i b3 Cad64 b4 V7\nm2 = m1\nm3 NC b3 viio7/V % all\nNote: end\n",
        "Time Signature: 6/8\nm1 F: Ger65 b2 V[add9]\n",
    ),
}
_DEMO: Final = ROOT / "service" / "shortway" / "page" / "examples"


@cache
def seeds(law: str) -> tuple[bytes, ...]:
    """The inputs that the fuzzing of a law begins with; what was found once comes again."""
    found = tuple(path.read_bytes() for path in sorted(FOUND.glob(f"{law}/*")))
    return tuple(dict.fromkeys((*_SEEDS[law](), *found)))


def words(law: str) -> list[bytes]:
    """The words that mutations may put in."""
    return sorted({word for word in _WORDS[law]() if 0 < len(word) <= 60})


# --- by law ------------------------------------------------------------------------------------


def _symbols() -> Iterator[bytes]:
    yield from (b"C" + suffix for suffix in _suffixes())
    yield from (b"N.C.", b"Abm7b5/Gb", "B♭Δ9♯11".encode(), b"F6/9/C", b"Ebb5")


def _suffixes() -> Iterator[bytes]:
    for row in SUFFIXES.read_text("utf-8").splitlines():
        if row and row[0] != "#":
            yield row.partition("\t")[0].removeprefix(".").encode()


def _texts() -> Iterator[bytes]:
    yield from (text.encode() for text in _TEXTS)
    yield from (path.read_bytes() for path in sorted(_DEMO.glob("*.txt")))


def _format_seeds(name: str) -> Iterator[bytes]:
    yield from (text.encode() for text in _FORMATS[name])


def _format_words(name: str) -> Iterator[bytes]:
    for text in _FORMATS[name]:
        yield from (word.encode() for word in re.findall(r"\w+|\W", text))


def _charts() -> Iterator[bytes]:
    for request in _requests():
        body = request["body"]
        chart = body.get("chart", body) if isinstance(body, dict) else None
        if isinstance(chart, dict) and not {"symbol", "symbols"} & set(chart):
            yield json.dumps(chart).encode()
    yield from (json.dumps({"text": text}).encode() for text in _TEXTS)


def _sheets() -> Iterator[bytes]:
    yield SHEET.encode()
    yield score(measures(harmony("C") + note("C5", 16))).encode()
    repeated = measures(
        '<barline location="left"><repeat direction="forward"/></barline>'
        + harmony("Bb", "dominant", (9, -1, "add"), bass="D", offset=4) + note("D5", 8) + rest(8),
        harmony("E", "half-diminished", text="m7b5") + note("G5", 16, ("start",))
        + '<direction><sound dacapo="yes"/></direction>'
        + '<barline location="right"><ending number="1" type="stop"/>'
        + '<repeat direction="backward"/></barline>',
    )  # fmt: skip
    yield score(repeated, measures(rest(16), rest(16))).encode()


def _archives() -> Iterator[bytes]:
    for sheet in _sheets():
        yield packed({"score.musicxml": sheet}, "score.musicxml")
        yield CONTAINER.format("score.musicxml").encode() + CUT + sheet


def _midis() -> Iterator[bytes]:
    from shortway.services.write_score import write_score

    for request in _requests():
        if isinstance(request["body"], dict) and "midi_file" in request["body"]:
            yield base64.b64decode(request["body"]["midi_file"])
    yield write_score({"chart": _TEXTS[0]}, "midi")[1]
    yield (
        b"MThd\0\0\0\6\0\1\0\2\0\x60MTrk\0\0\0\x0d\0\xff\x51\3\7\xa1\x20\0\xff\x2f\0MTrk\0\0\0\x1c"
        b"\0\xb0\x40\x7f\0\x90\x3c\x40\x60\x3c\0\0\xb0\x40\0\0\xff\x59\2\xfd\0\0\xf0\2\1\xf7\0\xff\x2f\0"
    )


def _lines() -> Iterator[bytes]:
    paths = [request["body"] for request in _requests() if request["path"] == "/v1/paths"]
    whole = [json.dumps({"id": str(k), **each}).encode() for k, each in enumerate(paths)]
    yield from whole
    yield b"\n\n".join([b'{"id":"a","chart":{"text":"| C | F |"}}', b"[]", b'{"id":7}', b"nul"])


def _bodies() -> Iterator[bytes]:
    for request in _requests():
        call = request["path"].removeprefix("/v1/")
        if call in CALLS:
            yield bytes([CALLS.index(call)]) + json.dumps(request["body"]).encode()


def _requests() -> Iterator[Mapping[str, Any]]:
    """The requests of the document's examples that are JSON."""
    for path in sorted(EXAMPLES.glob("*.json")):
        request = json.loads(path.read_text())["request"]
        if request["method"] == "POST" and request.get("type") == "application/json":
            yield request


# --- words -------------------------------------------------------------------------------------


def _symbol_words() -> Iterator[bytes]:
    yield from _suffixes()
    yield from (sign.encode() for sign in "♭♯Δ°ø()/,-+")
    yield from (b"add", b"no3", b"omit", b"sus", b"alt", b"dom", b"maj", b"N.C.", b"NC")


def _text_words() -> Iterator[bytes]:
    yield from _symbol_words()
    yield from (b"|:", b":|", b":|:", b"|1.", b"|2.", b"|1.,2.", b"|1-3.", b"||", b"|]", b"%", b"/")
    yield from (b"key: ", b"meter: ", b"title: ", b"\r\n", "\ufeff".encode(), b"3/4", b"32/32")


def _json_words() -> Iterator[bytes]:
    names = {*FIELDS, *ENTRY_FIELDS, *SETTING, *families.FAMILIES, *presets.PRESETS}
    for path in EXAMPLES.glob("*.json"):
        names |= set(
            re.findall(r'"([a-z_-]{2,30})":', json.dumps(json.loads(path.read_text())["request"]))
        )
    yield from (b'"%b"' % name.encode() for name in names)
    yield from (
        b"null",
        b"true",
        b"1e400",
        b"-0.0",
        b"1e-300",
        b"9" * 40,
        b'"\\ud800"',
        b'"\\u0000"',
    )
    yield from (b'{"musicxml":"', b'{"mxl":"', b"1.3333", b"[[", b"]]", b"{}", b"[]")


def _xml_words() -> Iterator[bytes]:
    text = b"".join(_sheets())
    yield from re.findall(rb"</?[a-z-]+[ />]", text)
    yield from re.findall(rb' [a-z-]+="[^"]*"', text)
    tags = "backup forward transpose chromatic diatonic octave-change staff voice dot chord grace"
    more = " cue tie segno coda fine dalsegno tocoda time senza-misura key-step numeral function"
    yield from (f"<{tag}>".encode() for tag in (tags + more).split())
    yield from (
        b"<![CDATA[",
        b"<!DOCTYPE",
        b"<!ENTITY",
        b"&amp;",
        b"encoding='utf-16'",
        b"1/3",
        b"-1",
    )


def _midi_words() -> Iterator[bytes]:
    yield from (b"MThd\0\0\0\6\0\0\0\1", b"MTrk\0\0\0", b"\xff\x51\3", b"\xff\x2f\0", b"\xff\x59\2")
    yield from (
        b"\xff\x58\4",
        b"\xff\x54\5",
        b"\x90\x3c\x40",
        b"\x80\x3c\0",
        b"\xb0\x40\x7f",
        b"\xf0",
    )
    yield from (b"\xff\xff\xff\x7f", b"\xff" * 12 + b"\x7f", b"\xf7", b"\xe8\x04")


_SEEDS: Final = {
    "symbol": _symbols, "chart_text": _texts, "chart_json": _charts, "musicxml": _sheets,
    "mxl": _archives, "midi": _midis, "json_lines": _lines, "body": _bodies,
    **{name: partial(_format_seeds, name) for name in _FORMATS},
}  # fmt: skip
_WORDS: Final = {
    "symbol": _symbol_words, "chart_text": _text_words, "chart_json": _json_words,
    "musicxml": _xml_words, "mxl": _xml_words, "midi": _midi_words, "json_lines": _json_words,
    "body": _json_words, **{name: partial(_format_words, name) for name in _FORMATS},
}  # fmt: skip
