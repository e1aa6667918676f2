"""The files of the page at ``/`` and of ``/docs``: plain HTML, CSS and script modules.

`examples` has the example charts, which the page offers and ``shortway demo`` plays.
"""

from importlib.resources import files


def example_charts() -> list[tuple[str, str]]:
    """File names and texts of the example charts, in order."""
    found = [file for file in (files(__name__) / "examples").iterdir() if ".txt" in file.name]
    return sorted((file.name, file.read_text("utf-8")) for file in found)
