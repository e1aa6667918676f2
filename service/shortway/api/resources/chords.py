"""Chords: symbols read, one or many."""

from collections.abc import Mapping
from typing import Any

from flask import Response, request

from shortway.api.http.responses import json_response, with_etag
from shortway.api.resource import Resource
from shortway.core.errors import SymbolError
from shortway.services.parse_chords import parse_chord, parse_chords
from shortway.wire.schemas.chords import (
    ChordListSchema,
    ChordQuerySchema,
    ChordSchema,
    ChordsRequestSchema,
)
from shortway.wire.serializers.chords import chord_json, chords_json

calls = Resource("chords", "Chord symbols and what they stand for")


@calls.get("/v1/chords", "getChord", ChordSchema, query=ChordQuerySchema)
def get_chord(query: Mapping[str, str]) -> Response:
    """Read one chord symbol

    The chord that a symbol stands for: its degrees, spelled notes, tensions, MusicXML kind and
    Harte label. In a URL + means a space: write it as %2B, and # as %23.
    """
    _reject_bare_plus(query["symbol"])
    return with_etag(json_response(chord_json(parse_chord(query["symbol"]))))


@calls.post("/v1/chords", "readChords", ChordListSchema, body=ChordsRequestSchema)
def post_chords(body: Mapping[str, Any]) -> Response:
    """Read many chord symbols

    A chord for each symbol, in the same order. A symbol that cannot be read has its problem in
    the place of its chord; the others are read.
    """
    return json_response(chords_json(parse_chords(body["symbols"])))


def _reject_bare_plus(symbol: str) -> None:
    """Reject a symbol with a space that may be an unescaped +."""
    if " " in symbol and b"+" in request.query_string:
        position = symbol.index(" ")
        detail = "a space is no part of a symbol; an unescaped + in a URL means a space"
        expected = "+ written as %2B, or a space written as %20"
        raise SymbolError.at("/symbol", detail, position, expected)
