"""A suffix half read: its pieces, and what has been made of them so far.

Knows the vocabulary and errors. The grammar lines fill a state piece by piece;
`shortway.core.symbols.semantics` makes a quality of it.
"""

from shortway.core.errors import SymbolError
from shortway.core.symbols.lexicon import VOCABULARY, Word, classify_word


class ParseState:
    """What has been read of a suffix; the dicts hold the piece that wrote each degree.

    Attributes
    ----------
    pieces : list of str
        The suffix cut up; `start` is the position of the first.
    third, fifth, seventh : str
        Degrees so far; ``""`` for none.
    family : str
        Which word made the triad: major, minor, diminished, half-diminished, augmented, power,
        dominant; ``""`` for none.
    extension : int
        0, or 7 to 13.
    sus : str
        ``""``, ``"4"``, ``"2"`` or ``"24"``.
    altered, added, omitted : dict of str to int
        Degrees (numbers for `omitted`) and the index of their piece.
    """

    __slots__ = (
        "added", "alt", "altered", "depth", "extension", "family", "fifth", "loose", "omitted",
        "pieces", "seventh", "signed", "six", "stacked", "start", "sus", "third", "third_too",
        "trailing",
    )  # fmt: skip

    def __init__(self, pieces: list[str], start: int) -> None:
        self.pieces = pieces
        self.start = start
        self.third = "3"
        self.fifth = "5"
        self.seventh = ""
        self.extension = 0
        self.family = ""
        self.six = self.alt = self.third_too = self.signed = self.trailing = False
        self.sus = self.stacked = ""
        self.depth = 0
        self.loose = -1
        self.altered: dict[str, int] = {}
        self.added: dict[str, int] = {}
        self.omitted: dict[str, int] = {}

    def fault(self, at: int, detail: str, expected: str) -> SymbolError:
        """The error at the piece with index `at`."""
        position = self.start + sum(map(len, self.pieces[:at]))
        return SymbolError.at("", detail, position, expected)

    def next(self, at: int) -> tuple[int, Word]:
        """The piece at `at`, or after spaces there, with its index; ``end`` past the last."""
        pieces = self.pieces
        while at < len(pieces) and pieces[at] == " ":
            at += 1
        if at == len(pieces):
            return at, Word("end")
        return at, VOCABULARY.get(pieces[at]) or classify_word(pieces[at]) or Word("unknown")

    def after(self, at: int) -> str:
        """The piece directly after `at`, or ``""``."""
        return self.pieces[at + 1] if at + 1 < len(self.pieces) else ""

    def is_first(self, at: int) -> bool:
        """Nothing that means anything stands before the piece at `at`."""
        return not self.signed and (at == 0 or all(p in " ([" for p in self.pieces[:at]))

    def need_first(self, at: int) -> None:
        """Refuse a word that stands elsewhere than directly after the root. Raises SymbolError."""
        if not self.is_first(at):
            detail = f"{self.pieces[at]!r} must come directly after the root"
            raise self.fault(at, detail, "degrees only")

    def once(self, at: int, degree: str) -> None:
        """Refuse a degree that is written already. Raises SymbolError."""
        if degree in self.altered or degree in self.added or degree == str(self.extension):
            raise self.fault(at, f"{degree} is given twice", "each degree once")

    def add(self, at: int, degree: str) -> None:
        """Add `degree`, written by the piece at `at`."""
        self.once(at, degree)
        self.added[degree] = at
