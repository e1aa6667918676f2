"""A safe XML parser: bytes or text to an element tree.

Knows nothing of music. Declarations inside a DOCTYPE (entities, attribute defaults), deep nesting,
too many elements or attributes and huge tags are rejected during parsing, which bounds time and
memory. The DTD that a DOCTYPE names is never fetched.
"""

from typing import Final
from xml.etree.ElementTree import Element, ParseError, TreeBuilder

from defusedxml.ElementTree import DefusedXMLParser

from shortway.core.cancellation import checkpoint
from shortway.core.errors import ChartError

MAX_XML_BYTES: Final = 8 << 20
#: A note in a score has about ten elements, nested six deep; 8 MiB of a score have fewer.
MAX_ELEMENTS: Final = 250_000
#: Of all elements together.
MAX_ATTRIBUTES: Final = 250_000
MAX_DEPTH: Final = 64
#: Of one tag or comment.
MAX_TAG_BYTES: Final = 256 << 10
_PIECE: Final = 64 << 10
_ELEMENTS_PER_CHECKPOINT: Final = 1000
_EXPECTED: Final = "a MusicXML document"


class _LimitedTreeBuilder(TreeBuilder):
    def __init__(self) -> None:
        super().__init__()
        self._count = self._depth = self._attributes = 0

    def start(self, tag: str, attrs: dict[str, str]) -> Element:
        self._count += 1
        self._depth += 1
        self._attributes += len(attrs)
        if self._count % _ELEMENTS_PER_CHECKPOINT == 0:
            checkpoint()
        if self._depth > MAX_DEPTH:
            raise _error(f"the XML is nested more than {MAX_DEPTH} levels deep")
        if self._count > MAX_ELEMENTS:
            raise _error(f"the XML has more than {MAX_ELEMENTS:,} elements")
        if self._attributes > MAX_ATTRIBUTES:
            raise _error(f"the XML has more than {MAX_ATTRIBUTES:,} attributes")
        return super().start(tag, attrs)

    def end(self, tag: str) -> Element:
        self._depth -= 1
        return super().end(tag)


def parse_xml(document: str | bytes) -> Element:
    """The root of an XML document, without comments.

    Raises ChartError if the document is not well-formed or exceeds a limit; with a position in a
    text.
    """
    if len(document) > MAX_XML_BYTES:
        raise _error(f"{len(document):,} bytes of XML exceed the limit of {MAX_XML_BYTES:,}")
    coding = "utf-8" if isinstance(document, str) else None
    parser = DefusedXMLParser(target=_LimitedTreeBuilder(), encoding=coding)
    parser.parser.StartDoctypeDeclHandler = _reject_declarations
    try:
        _feed(parser, document.encode() if isinstance(document, str) else document)
        root = parser.close()
    except ParseError as error:
        raise _syntax_error(document, error) from None
    except ChartError:
        raise
    except (ValueError, LookupError) as error:  # an unknown or wrong encoding
        raise _error(f"cannot decode the XML: {error}"[:200]) from None
    if not isinstance(root, Element):
        raise _error("the XML has no element")
    return root


def _feed(parser: DefusedXMLParser, document: bytes) -> None:
    """Parse piece by piece, so that a huge tag is noticed before expat has split it."""
    for begin in range(0, len(document), _PIECE):
        piece = document[begin : begin + _PIECE]
        parser.feed(piece)
        if begin + len(piece) - parser.parser.CurrentByteIndex > MAX_TAG_BYTES:
            raise _error(f"the XML has a tag or comment of more than {MAX_TAG_BYTES:,} bytes")


def _reject_declarations(_: str, __: str | None, ___: str | None, has_declarations: bool) -> None:
    """Expat's handler of a DOCTYPE: attribute defaults multiply a document as entities do."""
    if has_declarations:
        detail = "declarations inside a DOCTYPE, such as entities, are not supported"
        raise _error(detail, "a document without declarations of its own")


def _error(detail: str, expected: str = _EXPECTED) -> ChartError:
    return ChartError.at("", detail, expected=expected)


def _syntax_error(document: str | bytes, error: ParseError) -> ChartError:
    line, column = error.position
    reason = str(error).partition(":")[0]
    detail = f"cannot read the XML: {reason} in line {line}, column {column + 1}"
    position = None
    if isinstance(document, str):
        before = document.split("\n", line - 1)[:-1] if line > 1 else []
        position = min(sum(len(text) + 1 for text in before) + column, len(document))
    return ChartError.at("", detail, position, _EXPECTED)
