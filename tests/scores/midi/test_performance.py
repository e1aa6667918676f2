"""MIDI recordings laid along a chart: times against pretty_midi's, and what belongs to which step.

pretty_midi reads the same bytes on its own and says when each note begins and ends in seconds, and
turns seconds into ticks by its own tempo map.
"""

from __future__ import annotations

import io
import warnings
from collections.abc import Sequence
from contextlib import suppress
from fractions import Fraction

import mido
import pytest
from hypothesis import given
from hypothesis import strategies as st

from shortway.core.charts import parse_chart
from shortway.core.errors import MidiError, ShortwayError
from shortway.scores.midi.performance import Alignment, align_performance, notes_in_quarters
from shortway.scores.midi.reader import MAX_BYTES, read_midi
from shortway.services.review import decoded, read_performance
from shortway.wire.schemas.alignments import MidiAlignmentSchema
from shortway.wire.validation import validated
from support.tables import each_row

with warnings.catch_warnings():  # its own imports
    warnings.simplefilter("ignore")
    import pretty_midi

TURN = parse_chart("| Dm7 | G7 | Cmaj7 | % |")
CHORDS = ((53, 57, 60, 64), (53, 57, 59, 64), (52, 55, 59, 62))
Event = tuple[int, mido.Message]


def written(events: Sequence[tuple[int, object]], division: int = 480, kind: int = 1) -> bytes:
    """A file with one track of `events`, each a tick and a message."""
    file = mido.MidiFile(type=kind, ticks_per_beat=division)
    track = mido.MidiTrack()
    file.tracks.append(track)
    now = 0
    for tick, message in sorted(events, key=lambda event: event[0]):
        track.append(message.copy(time=tick - now))  # type: ignore[attr-defined]
        now = tick
    out = io.BytesIO()
    file.save(file=out)
    return out.getvalue()


def track_of(events: bytes) -> bytes:
    """A file with one track of `events` as they are."""
    events += b"\0\xff\x2f\0"
    return b"MThd\0\0\0\6\0\0\0\1\0\x60MTrk" + len(events).to_bytes(4, "big") + events


def struck(tick: int, length: int, *notes: int, channel: int = 0) -> list[tuple[int, object]]:
    """Notes that begin and end together."""
    on = [mido.Message("note_on", note=n, velocity=70, channel=channel) for n in notes]
    off = [mido.Message("note_off", note=n, channel=channel) for n in notes]
    return [*((tick, message) for message in on), *((tick + length, message) for message in off)]


def pedal(tick: int, value: int) -> tuple[int, object]:
    return tick, mido.Message("control_change", control=64, value=value)


def tempo(tick: int, a_minute: float) -> tuple[int, object]:
    return tick, mido.MetaMessage("set_tempo", tempo=mido.bpm2tempo(a_minute))


BAR = 4 * 480


# --- times ------------------------------------------------------------------------------------


@st.composite
def recordings(draw: st.DrawFn) -> tuple[bytes, int]:
    """Notes at any time under a few tempi, no key struck again while it sounds."""
    division = draw(st.sampled_from([24, 96, 480, 960]))
    events = [tempo(0, draw(st.integers(40, 240)))]
    events += [
        tempo(draw(st.integers(1, 8 * division)), draw(st.integers(40, 240)))
        for _ in range(draw(st.integers(0, 3)))
    ]
    for note in draw(st.lists(st.integers(30, 100), min_size=1, max_size=8, unique=True)):
        onset = draw(st.integers(0, 16 * division))
        events += struck(onset, draw(st.integers(1, 4 * division)), note)
    return written(events, division), division


@given(recordings())
def test_times_are_pretty_midis(recording: tuple[bytes, int]) -> None:
    data, division = recording
    found = read_midi(data)
    theirs = pretty_midi.PrettyMIDI(io.BytesIO(data))
    notes = [note for instrument in theirs.instruments for note in instrument.notes]
    expected = sorted((note.pitch, note.start, note.end) for note in notes)
    ours = sorted(
        (note.midi, float(found.seconds(note.onset)), float(found.seconds(note.end)))
        for note in found.notes
    )
    assert len(ours) == len(expected)
    for (key, start, end), (their_key, their_start, their_end) in zip(ours, expected, strict=True):
        assert key == their_key
        assert start == pytest.approx(their_start, abs=1e-9)
        assert end == pytest.approx(their_end, abs=1e-9)
    assert found.division == division


@given(recordings(), recordings())
def test_a_tempo_map_turns_seconds_into_quarter_notes_as_pretty_midi_does(
    recording: tuple[bytes, int], other: tuple[bytes, int]
) -> None:
    """The map of one file laid over the seconds of another: `time_to_tick` of the former."""
    data, clock = recording[0], read_midi(other[0])
    tempo_map = tuple(
        (clock.quarters(tick), Fraction(60_000_000, microseconds))
        for tick, microseconds in clock.tempi
    )
    theirs = pretty_midi.PrettyMIDI(io.BytesIO(other[0]))
    found = read_midi(data)
    for ours, note in zip(notes_in_quarters(found, tempo_map), found.notes, strict=True):
        seconds = float(found.seconds(note.onset))
        ticks = theirs.time_to_tick(seconds)
        # pretty_midi rounds to whole ticks
        assert abs(float(ours.onset) * clock.division - ticks) <= 0.5 + 1e-6


def test_times_are_exact() -> None:
    """Thirds of a beat stay thirds, whatever the tempo of the file."""
    data = written([tempo(0, 97), *struck(160, 160, 60), *struck(320, 160, 62)])
    assert [note.onset for note in notes_in_quarters(read_midi(data))] == [
        Fraction(1, 3),
        Fraction(2, 3),
    ]
    assert read_midi(data).seconds(480) == Fraction(mido.bpm2tempo(97), 1_000_000)


# --- which step -------------------------------------------------------------------------------


def played(events: Sequence[tuple[int, object]], how: Alignment | None = None) -> list[set[int]]:
    return [set(notes) for notes in align_performance(TURN, written(events), how).played]


def comped(shift: int = 0, early: int = 0, length: int = BAR - 200) -> list[tuple[int, object]]:
    """The turn's chords, one a measure, `early` ticks before each but the first."""
    starts = [shift + k * BAR - (early if k else 0) for k in range(3)]
    pairs = zip(starts, CHORDS, strict=True)
    return [event for tick, notes in pairs for event in struck(tick, length, *notes)]


WHOLE = [*map(set, CHORDS), set()]


@pytest.mark.parametrize("early", [0, 1, 120, 160, 239, 240])
def test_an_anticipation_belongs_to_the_step_it_anticipates(early: int) -> None:
    assert played(comped(early=early, length=1000)) == WHOLE


def test_what_is_struck_earlier_belongs_to_the_step_before() -> None:
    found = played(comped(early=241, length=1000))
    assert found == [{*CHORDS[0], *CHORDS[1]}, set(CHORDS[2]), set(), set()]
    assert played(comped(early=400, length=1000), Alignment(early=Fraction(1))) == WHOLE


def test_a_short_step_is_anticipated_in_its_second_half_only() -> None:
    chart = parse_chart(
        {"measures": [[{"symbol": "C7", "beats": 0.5}, {"symbol": "F7", "beats": 3.5}]]}
    )
    notes = [*struck(119, 50, 60), *struck(120, 50, 62)]
    assert align_performance(chart, written(notes)).played == ((60,), (62,))


@pytest.mark.parametrize(("late", "holds"), [(-1, False), (0, False), (1, True), (900, True)])
def test_a_held_note_belongs_to_what_it_sounds_through_for_more_than_half(
    late: int, holds: bool
) -> None:
    events = struck(0, BAR + BAR // 2 + late, 60)
    assert played(events) == [{60}, {60} if holds else set(), set(), set()]


def test_the_pedal_holds() -> None:
    events = [pedal(0, 127), *struck(10, 100, 60), pedal(2 * BAR, 0)]
    assert played(events) == [{60}, {60}, set(), set()]
    assert played([pedal(0, 63), *struck(10, 100, 60)]) == [{60}, set(), set(), set()]
    for_ever = [pedal(0, 127), *struck(10, 100, 60), *struck(3 * BAR + 1800, 100, 72)]
    assert played(for_ever) == [{60}, {60}, {60}, {60, 72}]


def test_the_start_and_what_lies_outside() -> None:
    count_in = struck(0, 100, 76)
    found = align_performance(
        TURN, written([*count_in, *comped(2 * BAR)]), Alignment(start=Fraction(8))
    )
    assert [set(notes) for notes in found.played] == WHOLE
    assert (found.taken, found.left_out) == (12, 1)
    late = align_performance(TURN, written([*comped(), *struck(4 * BAR, 10, 60)]))
    assert (late.taken, late.left_out) == (12, 1)


def test_channels() -> None:
    drums = struck(0, 100, 36, 42, channel=9)
    assert played([*comped(), *drums]) == WHOLE
    bass = struck(0, 100, 38, channel=1)
    assert played([*comped(), *bass], Alignment(channels=(1,))) == WHOLE
    assert played([*comped(), *bass])[0] == {38, *CHORDS[0]}
    assert played([*comped(), *drums], Alignment(channels=(1, 10)))[0] == {36, 42, *CHORDS[0]}


def test_a_recording_without_a_click_needs_its_tempo_map() -> None:
    """Played at 60 into a file that says 120: seconds stay, quarter notes are the map's."""
    slow = [(tick * 120 // 60, message) for tick, message in comped(length=700)]
    assert played(slow) != WHOLE
    how = Alignment(tempo_map=((Fraction(0), Fraction(60)),))
    assert played(slow, how) == WHOLE


def test_other_meters_and_repeats() -> None:
    chart = parse_chart("meter: 6/8\n|: Dm7 | G7 :|")
    events = [e for k in range(4) for e in struck(k * 3 * 480, 400, 60 + k)]
    assert align_performance(chart, written(events)).played == ((60,), (61,), (62,), (63,))
    waltz = parse_chart({"meter": "3/4", "measures": [[{"symbol": "C7"}], [{"symbol": "F7"}]],
                  "meters": [{"measure": 2, "meter": "4/4"}]})  # fmt: skip
    notes = [*struck(3 * 480 - 300, 10, 60), *struck(3 * 480, 10, 62), *struck(7 * 480 - 1, 9, 64)]
    assert align_performance(waltz, written(notes)).played == ((60,), (62, 64))


# --- bad files --------------------------------------------------------------------------------

GOOD = written(comped())


@each_row(
    "data, words",
    [
        (b"", "empty"),
        (b"MThd", "truncated"),
        (b"RIFF no MIDI at all", "cannot read the MIDI"),
        (GOOD[:40], "truncated"),
        (GOOD[:-3], "truncated"),
        (GOOD[:14] + b"MTrx" + GOOD[18:], "cannot read the MIDI"),
        (GOOD[:12] + b"\xe7\x28" + GOOD[14:], "SMPTE time"),
        (written(comped(), kind=2), "format 2"),
        (written([tempo(0, 90)]), "no notes"),
        (written(struck(0, 10, 36, channel=9)), "no notes"),
        (written(struck(5 * BAR, 10, 60)), "no note of the MIDI file is within"),
        (written(struck(0, 10, 12)), "not on the keyboard"),
        (written(struck(0, 10, *range(40, 53))), "13 notes are played at Dm7 in measure 1"),
        (GOOD + bytes(MAX_BYTES), "bytes"),
        (track_of(b"\0\xff\x59\2\xf8\0"), "8 flats"),
        (track_of(b"\xff" * 6 + b"\x7f\x90\x3c\x40"), "more than four bytes"),
        (track_of(b"\xff" * 200_000 + b"\x7f\x90\x3c\x40"), "more than four bytes"),
    ],
)
def test_bad_files_are_refused(data: bytes, words: str) -> None:
    with pytest.raises(MidiError, match=words) as caught:
        read_performance(TURN, data, {})
    assert caught.value.faults[0].pointer == "/midi_file"
    assert caught.value.faults[0].expected


def test_the_longest_times_are_read() -> None:
    longest = b"\xff\xff\xff\x7f"
    note = longest + b"\x90\x3c\x40" + longest + b"\x80\x3c\0"
    assert [found.onset for found in read_midi(track_of(note)).notes] == [2**28 - 1]
    with pytest.raises(MidiError, match="no note of the MIDI file is within"):
        align_performance(TURN, track_of(note * 1000))


@given(st.data())
def test_damage_is_refused_or_read_and_never_crashes(data: st.DataObject) -> None:
    spoilt = bytearray(GOOD)
    for _ in range(data.draw(st.integers(1, 6))):
        spoilt[data.draw(st.integers(0, len(spoilt) - 1))] = data.draw(st.integers(0, 255))
    with suppress(MidiError):
        align_performance(TURN, bytes(spoilt[: data.draw(st.integers(0, len(spoilt)))]))


@pytest.mark.parametrize(("text", "at"), [("TVRo!", 4), ("TVR", 3), ("TV Ro", 2)])
def test_base64_is_strict(text: str, at: int) -> None:
    with pytest.raises(MidiError, match="base64") as caught:
        decoded(text)
    assert caught.value.faults[0].position == at


@each_row(
    "align, pointer",
    [
        ([], ""),
        ({"begin": 0}, "/begin"),
        ({"start": -1}, "/start"),
        ({"start": "0"}, "/start"),
        ({"start": True}, "/start"),
        ({"early": 4.1}, "/early"),
        ({"early": float("nan")}, "/early"),
        ({"tempo_map": 120}, "/tempo_map"),
        ({"tempo_map": [{"at": 1, "tempo": 120}]}, "/tempo_map/0/at"),
        ({"tempo_map": [{"at": 0, "tempo": 120}, {"at": 0, "tempo": 90}]}, "/tempo_map/1/at"),
        ({"tempo_map": [{"at": 0, "tempo": 0}]}, "/tempo_map/0/tempo"),
        ({"tempo_map": [{"at": 0}]}, "/tempo_map/0/tempo"),
        ({"channels": [0]}, "/channels/0"),
        ({"channels": [1, 1.5]}, "/channels/1"),
    ],
)
def test_bad_alignments_are_refused(align: object, pointer: str) -> None:
    with pytest.raises(ShortwayError) as caught:
        validated(MidiAlignmentSchema(), align)
    assert caught.value.faults[0].pointer == pointer
