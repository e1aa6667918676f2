"""Write what the documentation takes from the code anew: ``python tests/docs/write.py``."""

from __future__ import annotations

import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1]))

from docs import blocks as doc_blocks
from docs import tables as doc_tables


def main() -> None:
    """Write generated parts, printed outputs and pictures; name each file that changes."""
    for file in doc_blocks.FILES:
        before = file.read_text("utf-8")
        for made in (doc_tables.written, doc_blocks.with_outputs):
            file.write_text(made(file), "utf-8")
        if before != file.read_text("utf-8"):
            print(file.relative_to(doc_blocks.ROOT))
    for picture, content in doc_blocks.drawn().items():
        if picture.read_bytes() != content:
            picture.write_bytes(content)
            print(picture.relative_to(doc_blocks.ROOT))


if __name__ == "__main__":
    main()
