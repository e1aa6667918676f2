"""The music21 process: a line of JSON in, a line of JSON out, until its input ends.

music21 takes a second to load and a lot of memory, and a strange file may keep it busy for long, so
it has a process of its own, with a limit on memory, which the caller can kill. A chord becomes a
placeholder with the root C, D, … B in turn, so that whoever reads the score can tell that each is
where it was; the chords of a Roman numeral analysis come beside, as Harte labels.
"""

import contextlib
import io
import json
import resource
import signal
import sys
import warnings
from typing import Any, Final

import music21

from shortway.core.theory.pitch import NATURALS
from shortway.scores.chart_files.music21_client import PLACEHOLDERS

#: Bytes of memory that the process may have.
_MOST_MEMORY: Final = 4 << 30


def serve_music21() -> None:
    """Answer ``[format, text]`` with ``{"musicxml", "labels"}``, or ``{"problem"}``."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # the parent handles Ctrl-C
    resource.setrlimit(resource.RLIMIT_AS, (_MOST_MEMORY, _MOST_MEMORY))
    warnings.simplefilter("ignore")
    music21.defaults.title = music21.defaults.author = ""
    for line in sys.stdin:
        sys.stdout.write(json.dumps(_answer(*json.loads(line))) + "\n")
        sys.stdout.flush()


def _answer(format_: str, text: str) -> dict[str, Any]:
    said = io.StringIO()
    try:
        with contextlib.redirect_stderr(said), contextlib.redirect_stdout(said):
            score = music21.converter.parseData(text, format=format_)
            labels = _take_numerals(score) if format_ == "romantext" else []
            exporter = music21.musicxml.m21ToXml.GeneralObjectExporter(score)
            musicxml = exporter.parse().decode()
    except MemoryError:
        return {"problem": "it takes too much memory"}
    except Exception as error:  # whatever a strange file makes music21 raise
        said_last = " ".join(map(str, error.args)).strip().splitlines() or [type(error).__name__]
        return {"problem": said_last[-1][:200]}
    assumed = next((line for line in said.getvalue().splitlines() if "assuming" in line), None)
    return {"problem": assumed[-200:]} if assumed else {"musicxml": musicxml, "labels": labels}


def _take_numerals(score: Any) -> list[tuple[str, str]]:
    """All Roman numerals with their labels; each becomes a placeholder over a rest."""
    labels: list[tuple[str, str]] = []
    for measure in score.recurse().getElementsByClass(music21.stream.Measure):
        for element in list(measure):
            numeral = isinstance(element, music21.roman.RomanNumeral)
            if not numeral and not isinstance(element, music21.harmony.NoChord):
                continue
            placeholder = music21.harmony.ChordSymbol(PLACEHOLDERS[len(labels) % 7])
            labels.append((str(element.figure), _label(element) if numeral else "N"))
            if numeral:
                rest = music21.note.Rest(quarterLength=element.quarterLength)
                measure.insert(element.offset, rest)
            measure.insert(element.offset, placeholder)
            measure.remove(element)
    return labels


def _label(numeral: Any) -> str:
    """A Roman numeral as a Harte label; an augmented sixth as the seventh chord that it sounds."""
    root, sixth = numeral.root(), None
    for low in numeral.pitches:
        for high in numeral.pitches:
            if _degree(low, high) == "#6":
                root, sixth = low, high
    degrees = ["b7" if pitch is sixth else _degree(root, pitch) for pitch in numeral.pitches]
    bass = "b7" if numeral.bass() is sixth else _degree(root, numeral.bass())
    name = str(root.name).replace("-", "b")
    return f"{name}:({','.join(dict.fromkeys(degrees))})/{bass}"


def _degree(root: Any, pitch: Any) -> str:
    """The degree of `pitch` above `root`, whatever the octave: b3."""
    steps = (pitch.diatonicNoteNum - root.diatonicNoteNum) % 7
    alter = (pitch.pitchClass - root.pitchClass - NATURALS[steps] + 6) % 12 - 6
    number = {1: 9, 3: 11}.get(steps, steps + 1)
    return f"{'b' * -alter or '#' * alter}{number}"


if __name__ == "__main__":
    serve_music21()
