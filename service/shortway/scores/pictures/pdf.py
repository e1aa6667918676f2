"""PDF files of pages in SVG, made by CairoSVG, an optional package.

The same pages give the same bytes.
"""

from collections.abc import Sequence
from functools import cache
from io import BytesIO
from typing import Any, Final

from shortway.core.cancellation import checkpoint
from shortway.core.errors import FormatUnavailable

#: The date in every file: the same score gives the same bytes.
_DATE: Final = "1980-01-01T00:00:00Z"
_POINTS_PER_INCH: Final = 72.0
_MM_PER_INCH: Final = 25.4


def write_pdf(pages: Sequence[bytes], title: str | None, size: tuple[float, float]) -> bytes:
    """The PDF of `pages`, each of `size` in mm.

    Raises FormatUnavailable where CairoSVG or the cairo library is not installed.
    """
    cairo, shown, tree = load_cairo()
    out = BytesIO()
    points = [length * _POINTS_PER_INCH / _MM_PER_INCH for length in size]
    file = cairo.PDFSurface(out, *points)
    if title:
        file.set_metadata(cairo.PDF_METADATA_TITLE, title)
    file.set_metadata(cairo.PDF_METADATA_CREATE_DATE, _DATE)

    class Page(shown):  # type: ignore[misc, valid-type]
        """A page of the one file."""

        def _create_surface(self, width: float, height: float) -> tuple[Any, float, float]:
            return file, width, height

    for page in pages:
        checkpoint()
        Page(tree(bytestring=page), None, 96).context.show_page()
    file.finish()
    return out.getvalue()


@cache
def load_cairo() -> tuple[Any, Any, Any]:
    """The cairo library, CairoSVG's PDF surface and its tree.

    Raises FormatUnavailable where one of them is not installed.
    """
    try:
        import cairocffi
        from cairosvg.parser import Tree
        from cairosvg.surface import PDFSurface
    except (ImportError, OSError) as error:
        detail = f"PDF needs CairoSVG and the cairo library: {error}"[:200]
        expected = "pip install 'shortway[pdf]' and libcairo2, or another format"
        raise FormatUnavailable.at("/format", detail, expected=expected) from None
    return cairocffi, PDFSurface, Tree
