"""What makes and audits a release, on small inputs; .ci/run makes a whole one, twice."""

from __future__ import annotations

import io
import os
import subprocess
import sys
import tarfile
from pathlib import Path

import pytest

from release import audit, make


def packed(folder: Path, time: int, names: tuple[str, ...], owner: str) -> Path:
    """A packed archive of files that say their names."""
    path = folder / f"{owner}.tar.gz"
    with tarfile.open(path, "w:gz") as archive:
        for name in names:
            member = tarfile.TarInfo(name)
            member.size, member.mtime, member.uname = len(name), time, owner
            member.mode = 0o600 if owner == "one" else 0o664
            archive.addfile(member, io.BytesIO(name.encode()))
    return path


def test_when_and_whose_and_in_which_order_makes_no_difference(tmp_path: Path) -> None:
    one = make.repacked(packed(tmp_path, 1_000_000_000, ("a", "b"), "one"), 1_700_000_000)
    other = make.repacked(packed(tmp_path, 1_100_000_000, ("b", "a"), "other"), 1_700_000_000)
    assert one == other
    with tarfile.open(fileobj=io.BytesIO(one)) as archive:
        assert archive.getnames() == ["a", "b"]
        assert {each.mtime for each in archive.getmembers()} == {1_700_000_000}
        content = archive.extractfile("b")
        assert content is not None
        assert content.read() == b"b"


def test_files_that_differ_are_named() -> None:
    with pytest.raises(SystemExit, match=r"not the same twice: b, c$"):
        make.compared({"a": b"1", "b": b"1"}, {"a": b"1", "b": b"2", "c": b""})


#: What pip-audit may say, and what has to come of it.
SAID = [
    ('{"dependencies": [{"name": "x", "version": "1", "vulns": [{"id": "V-1"}]}]}', 1, "x 1: V-1"),
    ('{"dependencies": [{"name": "x", "version": "1", "vulns": []}]}', 0, "1 packages audited"),
    ('{"dependencies": [{"name": "x", "skip_reason": "not found"}]}', 0, "SKIPPED"),
    ("", 0, "SKIPPED"),
]


@pytest.mark.parametrize(("said", "code", "told"), SAID)
def test_a_fault_fails_and_silence_is_no_verdict(
    tmp_path: Path, said: str, code: int, told: str
) -> None:
    (tmp_path / "pip_audit.py").write_text(f"print({said!r})")
    (tmp_path / "lib" / "python3.11" / "site-packages").mkdir(parents=True)
    done = subprocess.run(
        [sys.executable, str(audit.__file__), str(tmp_path)],
        env={**os.environ, "PYTHONPATH": str(tmp_path)},
        capture_output=True,
        text=True,
    )
    assert done.returncode == code, done.stderr
    assert told in done.stdout
