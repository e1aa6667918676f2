"""Small MusicXML lead sheets of our own, put together from short words."""

from __future__ import annotations

import io
from collections.abc import Iterable
from zipfile import ZIP_DEFLATED, ZipFile

CONTAINER = '<container><rootfiles><rootfile full-path="{}"/></rootfiles></container>'


def score(*parts: str, head: str = "") -> str:
    """A partwise score of `parts`, each the measures of one."""
    ids = [f"P{number}" for number in range(1, len(parts) + 1)]
    listed = "".join(
        f'<score-part id="{id_}"><part-name>Part {id_}</part-name></score-part>' for id_ in ids
    )
    music = "".join(f'<part id="{id_}">{part}</part>' for id_, part in zip(ids, parts, strict=True))
    return f'<score-partwise version="4.0">{head}<part-list>{listed}</part-list>{music}</score-partwise>'  # noqa: E501


def measures(*contents: str, first: int = 1) -> str:
    """Measures in order; the first one gets divisions of 4 and 4/4 unless it has attributes."""
    found = []
    for number, content in enumerate(contents, first):
        begin = ATTRIBUTES if number == first and "<attributes>" not in content else ""
        found.append(f'<measure number="{number}">{begin}{content}</measure>')
    return "".join(found)


def attributes(
    meter: str | None = "4/4", fifths: int | None = None, mode: str = "", more: str = "",
    divisions: int | None = 4,
) -> str:  # fmt: skip
    """Attributes in the schema's order: divisions, key, time, the rest."""
    parts = [f"<divisions>{divisions}</divisions>" if divisions else ""]
    if fifths is not None:
        parts.append(
            f"<key><fifths>{fifths}</fifths>{f'<mode>{mode}</mode>' if mode else ''}</key>"
        )
    if meter:
        beats, unit = meter.split("/")
        parts.append(f"<time><beats>{beats}</beats><beat-type>{unit}</beat-type></time>")
    return f"<attributes>{''.join(parts)}{more}</attributes>"


ATTRIBUTES = attributes()


def note(
    pitch: str, duration: int, ties: Iterable[str] = (), more: str = "", after: str = ""
) -> str:
    """A note such as ``Bb4``, with ties ``start`` and ``stop``; `more` stands first."""
    step, alter, octave = pitch[0], {"b": -1, "#": 1}.get(pitch[1:-1], 0), pitch[-1]
    altered = f"<alter>{alter}</alter>" if alter else ""
    tied = "".join(f'<tie type="{kind}"/>' for kind in ties)
    spelled = f"<pitch><step>{step}</step>{altered}<octave>{octave}</octave></pitch>"
    return f"<note>{more}{spelled}<duration>{duration}</duration>{tied}{after}</note>"


def rest(duration: int) -> str:
    """A rest; 16 fill a measure."""
    return f"<note><rest/><duration>{duration}</duration></note>"


def harmony(
    root: str, kind: str = "major", *degrees: tuple[int, int, str], bass: str = "", more: str = "",
    text: str | None = None, offset: int = 0, attribute: str = "",
) -> str:  # fmt: skip
    """A harmony in the schema's order: root, kind, inversion, bass, degrees, offset."""
    shown = "" if text is None else f' text="{text}"'
    given = "".join(
        f"<degree><degree-value>{value}</degree-value><degree-alter>{alter}</degree-alter>"
        f"<degree-type>{type_}</degree-type></degree>"
        for value, alter, type_ in degrees
    )
    under = _named("bass", bass) if bass else ""
    placed = f"<offset>{offset}</offset>" if offset else ""
    inner = f"{_named('root', root)}<kind{shown}>{kind}</kind>{more}{under}{given}{placed}"
    return f"<harmony {attribute}>{inner}</harmony>"


def _named(what: str, name: str) -> str:
    alter = name.count("#") - name[1:].count("b")
    altered = f"<{what}-alter>{alter}</{what}-alter>" if alter else ""
    return f"<{what}><{what}-step>{name[0]}</{what}-step>{altered}</{what}>"


def packed(members: dict[str, bytes | str], rootfile: str | None = None) -> bytes:
    """A zip of `members`, with a container that names `rootfile`."""
    file = io.BytesIO()
    with ZipFile(file, "w", ZIP_DEFLATED) as archive:
        if rootfile is not None:
            archive.writestr("META-INF/container.xml", CONTAINER.format(rootfile))
        for name, content in members.items():
            archive.writestr(name, content)
    return file.getvalue()
