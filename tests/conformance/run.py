"""The running service against its document: ``python tests/conformance/run.py``.

schemathesis makes the requests, by the rules in schemathesis.toml beside this: some thousand for
every change, with ``--long`` 20,000 and more. Both print counts, and leave with 1 if anything was
found.
"""

from __future__ import annotations

import argparse
import json
import os
import subprocess
import sys
import tempfile
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).parents[1]))

from shortway.api.middleware import token_store as tokens
from support.running import running

ROOT = Path(__file__).parents[2]
SETTINGS = ROOT / "tests" / "conformance" / "schemathesis.toml"
#: Generated requests for each call and phase, beside those for the limits of each field.
SHORT, LONG = 20, 1100
SERVER_ERRORS = ("ServerError", "ContentTypeServerError")


def report(examples: int) -> dict[str, Any]:
    """schemathesis's own report of a run, whose output goes where this process's goes."""
    with tempfile.TemporaryDirectory() as folder:
        found, asked = Path(folder) / "report.json", Path(folder) / "tokens"
        token = tokens.generate_token()
        asked.write_text(tokens.token_line("schemathesis", token) + "\n")
        options = ["--checks", "all", "--max-examples", str(examples)]
        options += ["--report", "json", "--report-json-path", str(found)]
        command = [sys.executable, "-m", "schemathesis.cli", "--config-file", str(SETTINGS)]
        with running(SHORTWAY_TOKENS_FILE=str(asked)) as url:
            subprocess.run(
                [*command, "run", f"{url}/openapi.json", *options],
                cwd=ROOT,
                env={**os.environ, "CONFORMANCE_TOKEN": token},
            )
        told: dict[str, Any] = json.loads(found.read_text())
    return told


def counts(told: dict[str, Any]) -> dict[str, int]:
    """Requests, 5xx, and whatever else went against a check."""
    failures = [(each["type"], each["count"]) for each in told["failures"]]
    rates = [rate for phases in told["valid_rates"].values() for rate in phases.values()]
    return {
        "operations": told["operations"]["tested"],
        "requests": told["test_cases"]["generated"],
        "made to fit": sum(rate["accepted"] + rate["rejected"] for rate in rates),
        "accepted": sum(rate["accepted"] for rate in rates),
        "5xx": sum(count for kind, count in failures if kind in SERVER_ERRORS),
        "violations": sum(count for kind, count in failures if kind not in SERVER_ERRORS),
        "errors": len(told["errors"]) + told["test_cases"]["errored"],
    }


def main() -> int:
    """Run, print the counts, and say whether anything was found."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--long", action="store_true", help="20,000 requests and more")
    found = counts(report(LONG if parser.parse_args().long else SHORT))
    for name, count in found.items():
        print(f"{name:12}{count:>8,}")
    return int(any(found[name] for name in ("5xx", "violations", "errors")))


if __name__ == "__main__":
    sys.exit(main())
