"""What the image installs is pinned by hash, and is what the project asks for (common practice)."""

from __future__ import annotations

import re
import tomllib
from contextlib import suppress
from importlib.metadata import PackageNotFoundError, distribution, requires
from importlib.util import module_from_spec, spec_from_file_location
from pathlib import Path

from packaging.requirements import Requirement
from packaging.utils import canonicalize_name

ROOT = Path(__file__).parents[2]
PIN = re.compile(
    r"^([a-z0-9-]+)(?:\[[a-z,-]+\])?==(\S+)((?: \\\n    --hash=sha256:[0-9a-f]{64})+)$", re.M
)
OURS = "shortway-client"
EXTRAS = re.findall(r"--extra (\w+)", (ROOT / "docker/pin").read_text())


def pins(name: str) -> dict[str, str]:
    """Versions by name."""
    text = (ROOT / "docker" / name).read_text()
    found = {pin[1]: pin[2] for pin in PIN.finditer(text)}
    lines = [line for line in text.splitlines() if re.match(r"\w", line)]
    assert len(found) == len(lines), "a line without a hash, or no pin at all"
    return found


def wanted() -> list[Requirement]:
    """What both distributions ask for, with the extras that the image has."""
    service, client = (
        tomllib.loads((ROOT / name).read_text())["project"]
        for name in ("pyproject.toml", "sdk/pyproject.toml")
    )
    rows = [*service["dependencies"], *client["dependencies"]]
    for extra in EXTRAS:
        rows += service["optional-dependencies"][extra]
    return [found for row in rows if (found := Requirement(row)).name != OURS]


def closure(start: list[Requirement]) -> set[str]:
    """Every distribution that those need on this Python, by what is installed here."""
    seen: set[str] = set()
    rows = list(start)
    while rows:
        row = rows.pop()
        name = canonicalize_name(row.name)
        if name not in seen and (row.marker is None or row.marker.evaluate({"extra": ""})):
            seen.add(name)
            rows += [Requirement(text) for text in requires(name) or ()]
    return seen


def test_pins_are_what_the_project_asks_for() -> None:
    held = pins("requirements.txt")
    for row in wanted():
        assert row.specifier.contains(held[canonicalize_name(row.name)]), f"{row}: run docker/pin"


def test_pins_are_all_that_is_needed() -> None:
    missing = closure(wanted()) - set(pins("requirements.txt"))
    assert not missing, "run docker/pin"


def test_what_builds_the_wheels_is_pinned() -> None:
    text = tomllib.loads((ROOT / "pyproject.toml").read_text())["build-system"]["requires"]
    held = pins("requirements-build.txt")
    assert all(Requirement(row).specifier.contains(held[Requirement(row).name]) for row in text)


def test_every_part_names_its_license() -> None:
    """Copyleft parts by the metadata of their distributions."""
    spec = spec_from_file_location("licenses", ROOT / "docker/licenses.py")
    assert spec is not None
    assert spec.loader is not None
    licenses = module_from_spec(spec)
    spec.loader.exec_module(licenses)
    pinned = [name for name, *_ in PIN.findall((ROOT / "docker/requirements.txt").read_text())]
    found = {}
    for name in pinned:
        with suppress(PackageNotFoundError):  # not for this Python
            found[name] = licenses.license_of(distribution(name))
    assert len(found) > 30
    assert "LGPL" in found["verovio"] or "Lesser" in found["verovio"]
    assert "MPL" in found["certifi"] or "Mozilla" in found["certifi"]
    copyleft = {n for n, said in found.items() if re.search("GPL|General Public|MPL|Mozilla", said)}
    print({name: found[name] for name in copyleft})
    label = re.search(r'image.licenses="([^"]+)"', (ROOT / "docker/Dockerfile").read_text())
    assert label is not None
    assert label[1] == "MIT AND LGPL-3.0-only AND MPL-2.0"


def test_what_the_package_links_to_goes_into_the_image() -> None:
    """Recorded: /openapi.json was a 500 there, since the context lacked what the link leads to."""
    links = [path for path in (ROOT / "service").rglob("*") if path.is_symlink()]
    led_to = {path.resolve().relative_to(ROOT).as_posix() for path in links}
    context = (ROOT / ".dockerignore").read_text().splitlines()
    assert led_to
    assert {name for name in led_to if not name.startswith(("service/", "sdk/"))} <= {
        line.removeprefix("!") for line in context
    }
