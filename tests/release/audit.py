"""Known vulnerabilities in what an environment holds: ``audit.py ENVIRONMENT``.

Asks PyPI's advisories through pip-audit, whose python this has to run under (env/tools of make.py).
Leaves with 1 if there are any. Where nobody answers that is no verdict, and is printed as a skip:
machines behind a mirror of packages alone cannot ask.
"""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path
from typing import Any


def asked(environment: Path) -> list[dict[str, Any]] | None:
    """What is known of each package; None where nobody answers."""
    packages = next(environment.glob("lib/python*/site-packages"))
    command = [sys.executable, "-m", "pip_audit", "--path", str(packages), "--format", "json"]
    done = subprocess.run(
        [*command, "--progress-spinner", "off", "--timeout", "10"], capture_output=True, text=True
    )
    try:
        found: list[dict[str, Any]] = json.loads(done.stdout)["dependencies"]
    except ValueError:
        print(done.stderr.splitlines()[-1] if done.stderr else "pip-audit said nothing")
        return None
    return found


def main() -> int:
    """Print the verdict."""
    found = asked(Path(sys.argv[1]))
    known = [each for each in found or () if "vulns" in each]
    if not known:
        print("SKIPPED: nothing was audited, no service of vulnerabilities can be reached here")
        return 0
    bad = [f"{each['name']} {each['version']}: {v['id']}" for each in known for v in each["vulns"]]
    unknown = len(found or ()) - len(known)
    print("\n".join([f"{len(known)} packages audited, {unknown} unknown, {len(bad)} faults", *bad]))
    return int(bool(bad))


if __name__ == "__main__":
    sys.exit(main())
