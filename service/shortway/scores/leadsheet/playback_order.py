"""The playback order of measures: repeats, endings and jumps followed.

Knows the marks and nothing else of a score. Common practice where MusicXML leaves it open: after a
jump, repeats are not taken and the last of several endings is played; a jump is taken once, when
its repeats are done; fine and to-coda count after a jump only. ``after-jump`` overrides this for a
repeat.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field

from shortway.core.charts.model import MAX_STEPS, chart_too_large
from shortway.scores.leadsheet.document.xml_values import chart_error
from shortway.scores.leadsheet.repeat_marks import RepeatMarks


@dataclass(frozen=True, slots=True)
class Ending:
    """Measures `first` to `last`, from 0, for some `times` of a repeat that is played `most` times.

    `group` is the first measure of the repeat's first ending; `final` marks its last ending.
    """

    first: int
    last: int
    times: tuple[int, ...]
    most: int
    group: int
    final: bool


@dataclass(slots=True)
class _Repeat:
    start: int
    turn: int = 1


@dataclass(slots=True)
class _Player:
    marks: Sequence[RepeatMarks]
    endings: dict[int, Ending]
    at: int = 0
    jumped: bool = False
    taken: set[int] = field(default_factory=set)
    repeats: list[_Repeat] = field(default_factory=lambda: [_Repeat(0)])
    inside: Ending | None = None


def playback_order(marks: Sequence[RepeatMarks]) -> tuple[int, ...]:
    """The numbers of the measures as played, from 1.

    Raises ChartError if a jump has no target; TooLarge if more measures are played than a chart may
    have steps.

    >>> playback_order([RepeatMarks(), RepeatMarks(backward=2), RepeatMarks()])
    (1, 2, 1, 2, 3)
    """
    player = _Player(marks, {e.first: e for e in find_endings(marks)})
    played: list[int] = []
    while player.at < len(marks):
        if _enter(player):
            continue
        played.append(player.at + 1)
        if len(played) > MAX_STEPS:
            raise chart_too_large(len(played))
        _leave(player)
    return tuple(played)


def find_endings(marks: Sequence[RepeatMarks]) -> list[Ending]:
    """The endings; adjacent ones belong to one repeat."""
    groups: list[list[tuple[int, int]]] = []
    for first, mark in enumerate(marks):
        if mark.ending is None:
            continue
        if not groups or groups[-1][-1][1] != first - 1 or mark.ending == (1,):
            groups.append([])
        groups[-1].append((first, _last_measure(marks, first)))
    return [ending for group in groups for ending in _endings_of_repeat(marks, group)]


def _last_measure(marks: Sequence[RepeatMarks], first: int) -> int:
    """The last measure of the ending that begins with `first`."""
    for index in range(first, len(marks) - 1):
        ends = marks[index].ending_stops or marks[index].backward
        if ends or marks[index + 1].ending is not None:
            return index
    return len(marks) - 1


def _endings_of_repeat(
    marks: Sequence[RepeatMarks], group: Sequence[tuple[int, int]]
) -> list[Ending]:
    """The endings of one repeat; one without a number is for the next time."""
    times: list[tuple[int, ...]] = []
    for first, _ in group:
        times.append(marks[first].ending or (max((t[-1] for t in times), default=0) + 1,))
    begin, end = group[0][0], group[-1][1]
    most = max(t[-1] for t in times) + (len(group) == 1 and marks[end].backward > 0)
    return [
        Ending(first, last, t, most, begin, last == end)
        for (first, last), t in zip(group, times, strict=True)
    ]


def _enter(player: _Player) -> bool:
    """Begin a measure; whether it is skipped instead."""
    marks, repeats = player.marks[player.at], player.repeats
    if marks.forward and repeats[-1].start != player.at:
        repeats.append(_Repeat(player.at))
    ending = player.endings.get(player.at)
    if ending is None:
        return False
    turn = repeats[-1].turn if not player.jumped else max(repeats[-1].turn, ending.most)
    if turn in ending.times:
        player.inside = ending
        return False
    player.at = ending.last + 1
    if ending.final:
        _close(player)
    return True


def _leave(player: _Player) -> None:
    """Go on after a measure: back, away, or to the next."""
    marks, here = player.marks[player.at], player.at
    if player.jumped and marks.fine is not None:
        player.at = len(player.marks)
        return
    if player.jumped and marks.tocoda is not None:
        _go(player, _target(player.marks, "coda", marks.tocoda, here))
        return
    ending = player.inside if player.inside and player.inside.last == here else None
    if ending:
        player.inside = None
    if marks.backward and _again(player, marks, ending):
        return
    player.at = here + 1
    if marks.backward or (ending and ending.final):
        _close(player)
    _jump(player, marks, here)


def _again(player: _Player, marks: RepeatMarks, ending: Ending | None) -> bool:
    """Go back to the start of the repeat, if it is played again."""
    repeat = player.repeats[-1]
    times = ending.most if ending else marks.backward
    if repeat.turn >= times or (player.jumped and not marks.after_jump):
        return False
    repeat.turn += 1
    player.at = repeat.start
    return True


def _close(player: _Player) -> None:
    """End a repeat; the next one begins here unless it has a sign."""
    if len(player.repeats) > 1:
        player.repeats.pop()
    else:
        player.repeats[-1] = _Repeat(player.at)


def _jump(player: _Player, marks: RepeatMarks, here: int) -> None:
    if here in player.taken or (marks.dalsegno is None and marks.dacapo is None):
        return
    player.taken.add(here)
    player.jumped = True
    segno = marks.dalsegno
    _go(player, 0 if segno is None else _target(player.marks, "segno", segno, here))


def _go(player: _Player, to: int) -> None:
    player.at = to
    player.inside = None
    player.repeats = [_Repeat(to)]


def _target(marks: Sequence[RepeatMarks], name: str, label: str, here: int) -> int:
    """The measure of the sign with the jump's label, else of the only sign."""
    labels = [(index, getattr(mark, name)) for index, mark in enumerate(marks)]
    signs = [(index, found) for index, found in labels if found is not None]
    same = [index for index, found in signs if found == label] or [index for index, _ in signs]
    if len(same) != 1:
        what = f"{len(signs)} of them" if signs else "none"
        detail = f"measure {here + 1} leads to a {name}, and there is {what}"
        raise chart_error(detail, f"one {name} with that label")
    return same[0]
