"""The fuzzing itself: what breaks a law is noticed, and what hangs or dies leaves its input."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

from fuzz import run as fuzz

CHILD = """
import sys
sys.path.insert(0, {tests!r})
from pathlib import Path
from fuzz import run as fuzz
fuzz.MOST_SECONDS = 0.5
def law(data):
    {law}
watched = fuzz.Watched("symbol", law, Path({place!r}))
watched(b"before")
watched(b"the last one")
"""


def run(law: str, place: Path) -> subprocess.CompletedProcess[bytes]:
    tests = str(Path(__file__).parents[1])
    code = CHILD.format(tests=tests, law=law, place=str(place))
    return subprocess.run([sys.executable, "-c", code], capture_output=True, check=False)


@pytest.mark.parametrize(
    ("law", "why"),
    [
        ("while data != b'before': pass", "seconds of processor time"),
        ("__import__('re').match('(a|aa)+$', 'a' * 99 + 'b' if len(data) > 9 else '')", "seconds"),
        ("len(data) > 9 and __import__('os').abort()", "the process ended with -6"),
    ],
)
def test_what_ends_a_process_is_kept(
    law: str, why: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The second hangs inside a regular expression, where no Python code runs that could look."""
    monkeypatch.setattr(fuzz, "FOUND", tmp_path / "found")
    told = fuzz.ended("symbol", run(law, tmp_path), tmp_path)
    assert why in told.partition("\n")[0]
    (kept,) = (tmp_path / "found").glob("symbol/*")
    assert kept.read_bytes() == b"the last one"


def test_what_breaks_a_law_is_kept_once_for_each_place(tmp_path: Path) -> None:
    def law(data: bytes) -> None:
        if data.startswith(b"bad"):
            raise ValueError("one place")
        data.decode()

    place = tmp_path / "place"
    place.mkdir()
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(fuzz, "FOUND", tmp_path / "found")
        patch.setattr(fuzz.signal, "setitimer", lambda *_: None)
        patch.setattr(fuzz.faulthandler, "register", lambda *_, **__: None)
        watched = fuzz.Watched("midi", law, place)
        for data in (b"good", b"bad 1", b"bad 2", b"\xff", b"\xfe"):
            watched(data)
    kept = sorted(path.read_bytes() for path in (tmp_path / "found" / "midi").iterdir())
    assert kept == [b"bad 1", b"\xff"]
    assert (place / "findings").read_text().count("\f") == 2
