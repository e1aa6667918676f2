"""A score: a path solved, made into music, and written in the form asked for.

Loads what needs an engraver, or the cairo library, when it is first needed.
"""

import re
from collections.abc import Callable, Mapping
from dataclasses import replace
from typing import Any, Final
from urllib.parse import quote

from shortway.core.charts import Chart, unroll
from shortway.core.charts.headers import TITLE_EXPECTED, normalize_title
from shortway.core.errors import SettingError, TooLarge, one_of
from shortway.core.harmony.functions import main_key
from shortway.core.rhythm.rhythm import RHYTHM_FIELDS, Rhythm, parse_rhythm
from shortway.request_trace import RENDERING, phase
from shortway.scores.display import ScoreDisplay
from shortway.scores.formats import FORMS
from shortway.scores.midi.writer import write_midi
from shortway.scores.notation.excerpt import excerpt
from shortway.scores.notation.insertion.part_insertion import insert_piano_part
from shortway.scores.notation.model import Score, build_score
from shortway.scores.notation.musicxml import write_musicxml, write_mxl
from shortway.scores.pictures.keyboards import draw_keyboards
from shortway.scores.pictures.voice_lines import draw_voice_lines
from shortway.scores.sound import ScoreSound
from shortway.services.choruses import (
    PlayedPart,
    check_choruses,
    join_parts,
    last_chorus,
    solve_choruses,
)
from shortway.services.read_chart import requested_chart
from shortway.services.solve_path import solve_path

_MOST_NAME: Final = 80
#: Fields that say how the path is written; all others say which path it is.
_MEASURES: Final = frozenset({"from_measure", "to_measure"})
_SOUND: Final = ("program", "count_in", "roots")
_OWN: Final = (
    "title", "tempo", *RHYTHM_FIELDS, *_SOUND, "choruses", "vary", "from_measure", "to_measure",
    "show", "format",
)  # fmt: skip
#: Fields of a paths request that a score has no use for.
_UNUSED: Final = (
    "alternatives", "differs_in", "with_least_motion", "choices_at", "limit", "level",
)  # fmt: skip
#: Steps that a picture shows at most.
MOST_DRAWN: Final = 1024


def write_score(request: Mapping[str, Any], form: str) -> tuple[str | None, bytes]:
    """The score that a request asks for: its title, if any, and the bytes of its file.

    Raises ShortwayError with pointers into the request.
    """
    music = music_of(request)
    with phase(RENDERING):
        return music.title, _WRITERS[form](music)


def music_of(request: Mapping[str, Any]) -> Score:
    """The music that a request asks for. Raises ShortwayError with pointers into the request."""
    title = _title(request.get("title"))
    rhythm = _rhythm(request)
    reading = requested_chart(request)
    _check_sections(rhythm, reading.chart)
    choruses = request.get("choruses", 1)
    check_choruses(reading.chart, choruses)
    asked = {name: value for name, value in request.items() if name not in (*_OWN, *_UNUSED)}
    asked["chart"] = reading.chart
    parts = _parts(asked, choruses, request)
    chart, path = join_parts(parts)
    if chart.key is None and _MEASURES & request.keys():  # an excerpt has the key of the whole
        chart = replace(chart, key=main_key(reading.chart, unroll(reading.chart)))
    show = ScoreDisplay(**request.get("show", {}))
    with phase(RENDERING):
        return build_score(
            chart,
            path,
            title=title,
            tempo=request.get("tempo"),
            tempi=reading.sheet.tempi if reading.sheet else {},
            show=show,
            sheet=None if _MEASURES & request.keys() else reading.sheet,
            rhythm=rhythm,
            loop=request.get("loop", False),
            sound=ScoreSound(**{name: request[name] for name in _SOUND if name in request}),
            last_chorus=last_chorus(parts) if choruses > 1 else None,
        )


def _parts(asked: Mapping[str, Any], choruses: int, request: Mapping[str, Any]) -> list[PlayedPart]:
    """What is played: the chart, its choruses, or an excerpt so many times."""
    vary, chart = request.get("vary", False), asked["chart"]
    first, last = request.get("from_measure"), request.get("to_measure")
    if first is None and last is None:
        if choruses > 1:
            return solve_choruses(asked, choruses, vary=vary)
        return [PlayedPart(chart, solve_path(asked))]
    whole = PlayedPart(*excerpt(chart, solve_path(asked), first, last))
    return [whole] * choruses


def _rhythm(request: Mapping[str, Any]) -> Rhythm:
    return parse_rhythm({n: request[n] for n in RHYTHM_FIELDS if request.get(n) is not None})


def _check_sections(rhythm: Rhythm, chart: Chart) -> None:
    """Reject a rhythm of a section that the chart does not have."""
    known = list(dict.fromkeys(section.name for section in chart.sections))
    for k, name in enumerate(rhythm.sections):
        if name not in known:
            detail = f"the chart has no section {name[:40]!r}"
            expected = one_of(known) if known else "a chart with sections, such as [A] | Dm7 |"
            raise SettingError.at(f"/section_rhythms/{k}/section", detail, expected=expected)


def _title(given: str | None) -> str | None:
    if given is None:
        return None
    title = normalize_title(given)
    if title is None:
        raise SettingError.at("/title", "this is no title", expected=TITLE_EXPECTED)
    return title


def _musicxml(music: Score) -> bytes:
    if music.sheet is not None:
        return insert_piano_part(music, music.sheet)
    return write_musicxml(music)


def _check_drawn(music: Score) -> None:
    steps = len(music.path.steps)
    if steps > MOST_DRAWN:
        detail = f"a picture of {steps:,} chords would be too large"
        raise TooLarge.at(
            "/chart", detail, expected=f"at most {MOST_DRAWN:,} steps, repeats counted"
        )


def _pdf(music: Score) -> bytes:
    from shortway.scores.pictures import pdf, score_pages

    _check_drawn(music)
    pdf.load_cairo()
    pages = score_pages.draw_pages(music)
    return pdf.write_pdf(pages, music.title, score_pages.PAPERS[music.show.paper])


def _svg(music: Score) -> bytes:
    _check_drawn(music)
    title, width = music.title, music.show.width
    if music.show.picture == "staff":
        from shortway.scores.pictures import score_pages

        return score_pages.draw_score(music)
    draw = {"keyboards": draw_keyboards, "lines": draw_voice_lines}[music.show.picture]
    return draw(music.path, title, width, music.show.theme)


_WRITERS: Final[Mapping[str, Callable[[Score], bytes]]] = {
    "musicxml": _musicxml,
    "mxl": lambda music: write_mxl(_musicxml(music)),
    "midi": write_midi,
    "svg": _svg,
    "pdf": _pdf,
}


def disposition(title: str | None, form: str) -> str:
    """The Content-Disposition of a file with this title (RFC 6266), safe in any header.

    >>> print(disposition("Café: 1/2", "midi"))
    attachment; filename="Caf-1-2.mid"; filename*=UTF-8''Caf%C3%A9-1-2.mid
    """
    end = FORMS[form][1]
    plain = re.sub(r"[^A-Za-z0-9]+", "-", title or "").strip("-")[:_MOST_NAME] or "score"
    full = re.sub(r"[^\w]+", "-", title or "").strip("-")[:_MOST_NAME] or "score"
    return f"attachment; filename=\"{plain}{end}\"; filename*=UTF-8''{quote(full + end)}"
