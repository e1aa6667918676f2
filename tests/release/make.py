"""Both distributions of a commit, with what is in them: ``python tests/release/make.py OUT``.

OUT gets a wheel and an sdist of each, an SBOM (CycloneDX, validated against its schema) of each
with all that it needs, SHA256SUMS, and below env/ the fresh environments that the SBOMs are of,
and the tools.
The commit is HEAD or ``--ref v0.1.0``; ``--twice`` builds it again elsewhere and later, and
compares. Tools are pinned in requirements.txt, beside this.
"""

from __future__ import annotations

import argparse
import gzip
import io
import json
import os
import subprocess
import sys
import tarfile
import tempfile
import time
import zipfile
from hashlib import sha256
from pathlib import Path

ROOT = Path(__file__).parents[2]
TOOLS = Path(__file__).parent / "requirements.txt"
#: The distributions, with their folders; the service needs the client.
FOLDERS = {"shortway_client": "sdk", "shortway": "."}
#: The compiled search, in a wheel.
EXTENSION = "shortest_path/_points.abi3.so"
#: Seconds between two builds: longer than a ZIP file's clock ticks.
LATER = 3
#: Where the second one thinks it is.
ELSEWHERE = {"TZ": "Pacific/Kiritimati", "LC_ALL": "C", "PYTHONHASHSEED": "7"}


def run(*command: str | Path, cwd: Path = ROOT, **environment: str) -> str:
    """What `command` prints; files that it makes are for all to read."""
    done = subprocess.run(
        command, cwd=cwd, env={**os.environ, **environment}, umask=0o022, text=True,
        capture_output=True,
    )  # fmt: skip
    if done.returncode:
        sys.exit(f"{' '.join(map(str, command))}\n{done.stdout}{done.stderr}")
    return done.stdout


def environment(folder: Path, *wanted: str | Path) -> Path:
    """A fresh environment with `wanted` and nothing else, not even pip; its python."""
    run(sys.executable, "-m", "venv", "--without-pip", folder)
    python = folder / "bin" / "python"
    run(sys.executable, "-m", "pip", "--python", python, "install", "-q", *wanted)
    return python


# --- building -------------------------------------------------------------------------------------


def built(ref: str, epoch: str, tools: Path, work: Path, **setting: str) -> dict[str, bytes]:
    """The files of both distributions, from a clone of `ref` below `work`, by name."""
    clone, out = work / "clone", work / "dist"
    run("git", "clone", "-q", "--no-hardlinks", ROOT, clone)
    commit = run("git", "rev-parse", f"{ref}^{{commit}}").strip()
    run("git", "checkout", "-q", commit, cwd=clone)
    for folder in FOLDERS.values():
        command = [tools, "-m", "build", "--no-isolation", "--outdir", out, clone / folder]
        run(*command, SOURCE_DATE_EPOCH=epoch, **setting)
    return {
        path.name: repacked(path, int(epoch)) if path.suffix == ".gz" else path.read_bytes()
        for path in sorted(out.iterdir())
    }


def repacked(sdist: Path, epoch: int) -> bytes:
    """The sdist with one time, one owner and one order: setuptools writes when and whose it was."""
    work = sdist.with_suffix(".tar")
    with tarfile.open(sdist) as old, tarfile.open(work, "w", format=tarfile.PAX_FORMAT) as new:
        for member in sorted(old.getmembers(), key=lambda each: each.name):
            member.mtime, member.uid, member.gid, member.uname, member.gname = epoch, 0, 0, "", ""
            member.mode = 0o755 if member.isdir() or member.mode & 0o100 else 0o644
            member.pax_headers = {}
            new.addfile(member, old.extractfile(member) if member.isfile() else None)
    return gzip.compress(work.read_bytes(), mtime=epoch)


def compared(one: dict[str, bytes], other: dict[str, bytes]) -> None:
    """Leave if any file of two builds differs."""
    unlike = sorted(name for name in one.keys() | other if one.get(name) != other.get(name))
    if unlike:
        sys.exit(f"not the same twice: {', '.join(unlike)}")
    print(f"{len(one)} files, the same byte for byte in both builds")


def check_extension(files: dict[str, bytes]) -> None:
    """Leave if a wheel that is tagged for the stable ABI lacks the compiled search."""
    for name, content in files.items():
        if "-abi3-" in name:
            with zipfile.ZipFile(io.BytesIO(content)) as wheel:
                if not any(each.endswith(EXTENSION) for each in wheel.namelist()):
                    sys.exit(f"{name} has no *{EXTENSION}: is there a C compiler?")


# --- what is in them ------------------------------------------------------------------------------


def bill(tools: Path, name: str, out: Path, epoch: str) -> None:
    """Write the SBOM of the distribution `name`, whose wheels are in `out`."""
    wheels = [each for each in sorted(out.glob("*.whl")) if each.name.startswith(f"{name}-")]
    needed = sorted(out.glob("shortway_client-*.whl")) if name == "shortway" else []
    python = environment(out / "env" / name, *wheels, *needed)
    for each in (out / "env" / name).rglob("direct_url.json"):
        each.unlink()  # where the wheel lay is nobody's business
    bom = out / f"{name}.cdx.json"
    options = ["--pyproject", ROOT / FOLDERS[name] / "pyproject.toml", "--output-reproducible"]
    command = [tools.parent / "cyclonedx-py", "environment", *options, "--validate", "-o", bom]
    run(*command, python, SOURCE_DATE_EPOCH=epoch)
    told = json.loads(bom.read_text())
    root = told["metadata"]["component"]
    print(f"{bom.name}: {root['name']} {root['version']} with {len(told['components'])} components")


def sums(out: Path) -> str:
    """The SHA-256 of each file, as sha256sum writes and checks them."""
    files = [each for each in sorted(out.iterdir()) if each.suffix in (".whl", ".gz", ".json")]
    return "".join(f"{sha256(each.read_bytes()).hexdigest()}  {each.name}\n" for each in files)


def main() -> None:
    """Make the files, and say what came of it."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("out", type=Path)
    parser.add_argument("--ref", default="HEAD", help="a tag or another commit")
    parser.add_argument("--twice", action="store_true", help="build again, and compare")
    given = parser.parse_args()
    out = given.out.resolve()
    out.mkdir(parents=True, exist_ok=True)
    if any(out.iterdir()):
        sys.exit(f"{out} is not empty")
    tools = environment(out / "env" / "tools", "-r", TOOLS)
    epoch = run("git", "log", "-1", "--format=%ct", given.ref).strip()
    with tempfile.TemporaryDirectory() as folder:
        files = built(given.ref, epoch, tools, Path(folder) / "one")
        if given.twice:
            time.sleep(LATER)
            place = Path(folder) / "another" / "place"
            compared(files, built(given.ref, epoch, tools, place, **ELSEWHERE))
    check_extension(files)
    for name, content in files.items():
        (out / name).write_bytes(content)
    for name in FOLDERS:
        bill(tools, name, out, epoch)
    (out / "SHA256SUMS").write_text(sums(out))


if __name__ == "__main__":
    main()
