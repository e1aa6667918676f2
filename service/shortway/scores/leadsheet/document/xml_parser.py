"""XML as an element tree, or a refusal that says where.

Knows XML and nothing of music. Entities, external references, deep nesting and more elements than
a lead sheet has are refused while they are read, so that time and memory are bounded by the limits
below; a DOCTYPE is passed over, and nothing it names is fetched.
"""

from __future__ import annotations

from typing import Final
from xml.etree.ElementTree import Element, ParseError, TreeBuilder

from defusedxml.common import DefusedXmlException
from defusedxml.ElementTree import DefusedXMLParser

from shortway.core.cancellation import checkpoint
from shortway.core.errors import ChartError

#: Bytes of XML.
MAX_XML_BYTES: Final = 8 << 20
#: Elements of a document, and how deep they may be nested; a score's note has about ten, at six.
MAX_ELEMENTS: Final = 400_000
MAX_DEPTH: Final = 64
#: Elements between two signs of effort.
_BETWEEN: Final = 1000

_EXPECTED: Final = "a MusicXML document"


class _Bounded(TreeBuilder):
    """Builds the tree, and counts."""

    def __init__(self) -> None:
        super().__init__()
        self._count = self._depth = 0

    def start(self, tag: str, attrs: dict[str, str]) -> Element:
        self._count += 1
        self._depth += 1
        if self._count % _BETWEEN == 0:
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
    """The root of an XML document; comments are not kept.

    Raises
    ------
    ChartError
        With the position where there is one; it counts characters of a `document` that is a text.
    """
    if len(document) > MAX_XML_BYTES:
        raise _error(f"{len(document):,} bytes of XML exceed the limit of {MAX_XML_BYTES:,}")
    parser = DefusedXMLParser(target=_Bounded(), forbid_dtd=False)
    try:
        parser.feed(document)
        root = parser.close()
    except ParseError as error:
        raise _not_xml(document, error) from None
    except DefusedXmlException as error:
        detail = f"XML entities are not supported: {error}"
        raise _error(detail[:200], "a document without entities of its own") from None
    except (ValueError, LookupError) as error:  # a coding that is unknown, or not what it says
        if isinstance(error, ChartError):
            raise
        raise _error(f"cannot decode the XML: {error}"[:200]) from None
    if not isinstance(root, Element):
        raise _error("the XML has no element")
    return root


def _error(detail: str, expected: str = _EXPECTED) -> ChartError:
    return ChartError.at("", detail, expected=expected)


def _not_xml(document: str | bytes, error: ParseError) -> ChartError:
    line, column = error.position
    reason = str(error).partition(":")[0]
    detail = f"cannot read the XML: {reason} in line {line}, column {column + 1}"
    position = None
    if isinstance(document, str):
        before = document.split("\n", line - 1)[:-1] if line > 1 else []
        position = min(sum(len(text) + 1 for text in before) + column, len(document))
    return ChartError.at("", detail, position, _EXPECTED)
