"""A safe XML parser: bytes or text to an element tree.

Knows nothing of music. Entities, external references, deep nesting and too many elements are
rejected during parsing, which bounds time and memory. A DOCTYPE is ignored and never fetched.
"""

from __future__ import annotations

from typing import Final
from xml.etree.ElementTree import Element, ParseError, TreeBuilder

from defusedxml.common import DefusedXmlException
from defusedxml.ElementTree import DefusedXMLParser

from shortway.core.cancellation import checkpoint
from shortway.core.errors import ChartError

MAX_XML_BYTES: Final = 8 << 20
#: A note in a score has about ten elements, nested six deep.
MAX_ELEMENTS: Final = 400_000
MAX_DEPTH: Final = 64
_ELEMENTS_PER_CHECKPOINT: Final = 1000
_EXPECTED: Final = "a MusicXML document"


class _LimitedTreeBuilder(TreeBuilder):
    def __init__(self) -> None:
        super().__init__()
        self._count = self._depth = 0

    def start(self, tag: str, attrs: dict[str, str]) -> Element:
        self._count += 1
        self._depth += 1
        if self._count % _ELEMENTS_PER_CHECKPOINT == 0:
            checkpoint()
        if self._depth > MAX_DEPTH:
            raise _error(f"the XML is nested more than {MAX_DEPTH} levels deep")
        if self._count > MAX_ELEMENTS:
            raise _error(f"the XML has more than {MAX_ELEMENTS:,} elements")
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
    parser = DefusedXMLParser(target=_LimitedTreeBuilder(), forbid_dtd=False)
    try:
        parser.feed(document)
        root = parser.close()
    except ParseError as error:
        raise _syntax_error(document, error) from None
    except DefusedXmlException as error:
        detail = f"XML entities are not supported: {error}"
        raise _error(detail[:200], "a document without entities of its own") from None
    except ChartError:
        raise
    except (ValueError, LookupError) as error:  # an unknown or wrong encoding
        raise _error(f"cannot decode the XML: {error}"[:200]) from None
    if not isinstance(root, Element):
        raise _error("the XML has no element")
    return root


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
