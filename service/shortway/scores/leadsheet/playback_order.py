"""The order in which measures are played: repeats, endings and jumps followed.

Knows the marks and nothing else of a score. Common practice where MusicXML leaves it open: after a
jump repeats are not taken and of several endings the last is; a jump is taken once, when its
repeats are done; fine and the way to the coda count after a jump only. MusicXML's ``after-jump``
says otherwise for a repeat.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

from shortway.core.charts.model import MAX_STEPS, chart_too_large
from shortway.core.errors import ChartError
from shortway.scores.leadsheet.repeat_marks import RepeatMarks, labelled_measures


@dataclass(frozen=True, slots=True)
class Ending:
    """Measures `first` to `last`, from 0, for some times; `final` is the last of its repeat."""

    first: int
    last: int
    times: tuple[int, ...]
    most: int
    final: bool


@dataclass(slots=True)
class _Repeat:
    """A repeat that is being played, for the `turn`-th time."""

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
    """The measures as played, by their numbers from 1.

    Raises
    ------
    ChartError
        If a jump leads nowhere.
    TooLarge
        If more measures are played than a chart may have steps.

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
    """The endings; neighbours belong to one repeat."""
    groups: list[list[tuple[int, int, tuple[int, ...]]]] = []
    for index, mark in enumerate(marks):
        if mark.ending is None:
            continue
        last = _last(marks, index)
        if groups and groups[-1][-1][1] == index - 1 and mark.ending != (1,):
            groups[-1].append((index, last, mark.ending))
        else:
            groups.append([(index, last, mark.ending)])
    return [ending for group in groups for ending in _group(marks, group)]


def _last(marks: Sequence[RepeatMarks], first: int) -> int:
    """The last measure of the ending that begins with `first`."""
    for index in range(first, len(marks)):
        following = marks[index + 1 : index + 2]
        ends = marks[index].ending_stops or marks[index].backward
        if ends or (following and following[0].ending is not None):
            return index
    return len(marks) - 1


def _group(
    marks: Sequence[RepeatMarks], group: Sequence[tuple[int, int, tuple[int, ...]]]
) -> list[Ending]:
    """The endings of one repeat; one without a number is for the time after those before it."""
    numbered: list[tuple[int, int, tuple[int, ...]]] = []
    for first, last, times in group:
        numbered.append((first, last, times or (max((t[2][-1] for t in numbered), default=0) + 1,)))
    leads_back = marks[numbered[-1][1]].backward and len(numbered) == 1
    most = max(times[-1] for _, _, times in numbered) + bool(leads_back)
    final = len(numbered) - 1
    return [
        Ending(first, last, times, most, index == final)
        for index, (first, last, times) in enumerate(numbered)
    ]


def _enter(player: _Player) -> bool:
    """Before the measure is played; whether it is passed over instead."""
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
    """After the measure is played: back, away, or on."""
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
    """Go back to where the repeat began, if it is played again."""
    repeat = player.repeats[-1]
    times = ending.most if ending else marks.backward
    if repeat.turn >= times or (player.jumped and not marks.after_jump):
        return False
    repeat.turn += 1
    player.at = repeat.start
    return True


def _close(player: _Player) -> None:
    """A repeat is done; without a sign of its own, the next one begins here."""
    if len(player.repeats) > 1:
        player.repeats.pop()
    else:
        player.repeats[-1] = _Repeat(player.at)


def _jump(player: _Player, marks: RepeatMarks, here: int) -> None:
    if here in player.taken:
        return
    if marks.dalsegno is not None:
        player.taken.add(here)
        player.jumped = True
        _go(player, _target(player.marks, "segno", marks.dalsegno, here))
    elif marks.dacapo is not None:
        player.taken.add(here)
        player.jumped = True
        _go(player, 0)


def _go(player: _Player, to: int) -> None:
    player.at = to
    player.inside = None
    player.repeats = [_Repeat(to)]


def _target(marks: Sequence[RepeatMarks], name: str, label: str, here: int) -> int:
    """Where a jump leads: the sign with its label, else the only one."""
    signs = list(labelled_measures(marks, name))
    same = [index for index, found in signs if found == label] or [index for index, _ in signs]
    if len(set(same)) != 1:
        what = f"{len(signs)} of them" if signs else "none"
        detail = f"measure {here + 1} leads to a {name}, and there is {what}"
        raise ChartError.at("", detail, expected=f"one {name} with that label")
    return same[0]
