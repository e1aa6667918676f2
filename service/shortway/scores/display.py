"""What a score shows: ties or struck notes, texts, the kind of picture and its size.

Knows no music.
"""

from dataclasses import dataclass
from typing import Final

HELD: Final = ("tied", "struck")
PICTURE_THEMES: Final = ("light", "dark")
PAGE_BREAKS: Final = ("none", "sections")
PICTURES: Final = ("staff", "keyboards", "lines")
PAPER_SIZES: Final = ("a4", "letter")
#: The smallest and the largest width of a picture, px.
WIDTH: Final = (240, 4000)
DEFAULT_WIDTH: Final = 960


@dataclass(frozen=True, slots=True)
class ScoreDisplay:
    """What a score shows: ties or struck notes, symbols, degrees; picture, width in px, paper.

    `page_breaks`: whether sections begin pages; `theme`: of a picture.
    """

    held: str = "tied"
    symbols: bool = True
    degrees: bool = False
    picture: str = "staff"
    width: float = DEFAULT_WIDTH
    paper: str = "a4"
    page_breaks: str = "none"
    theme: str = "light"
