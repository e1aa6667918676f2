"""Requests of a file, none of them twice: by wrk as fast as answers come, or at a steady rate."""

from __future__ import annotations

import json
import re
import subprocess
import tempfile
from dataclasses import dataclass
from functools import partial
from itertools import islice
from pathlib import Path
from typing import Any

from bench.load.driver import at_rate
from bench.load.mix import Ask
from bench.load.told import Summary, summary
from bench.realistic import charts

#: wrk's script: one line after another of a file, from a place on, or the same one for ever.
LUA = """
local lines, place, same, headers = {}, 0, false, {["Content-Type"] = "application/json"}
function init(args)
  for line in io.lines(args[1]) do lines[#lines + 1] = line end
  place, same = tonumber(args[2]), args[3] == "same"
end
function request()
  if not same then place = place + 1 end
  return wrk.format("POST", nil, headers, lines[(place - 1) % #lines + 1])
end
function done(summary, latency, requests)
  for _, share in ipairs({50, 95, 99, 99.9}) do
    io.write(string.format("latency %.3f\\n", latency:percentile(share) / 1000))
  end
end
"""


@dataclass
class Load:
    """Requests from a file, none of them twice."""

    file: Path
    count: int
    place: int = 0

    def drive(self, url: str, mode: str, seconds: float, connections: int = 8) -> list[float]:
        """Good answers a second, and latencies in ms: p50, p95, p99 and p99.9.

        Raises
        ------
        SystemExit
            If any answer was not a good one, or the requests did not suffice.
        """
        with tempfile.NamedTemporaryFile("w", suffix=".lua") as script:
            script.write(LUA)
            script.flush()
            command = [
                "wrk",
                "-t1",
                f"-c{connections}",
                f"-d{max(1, round(seconds))}s",
                "-s",
                script.name,
            ]
            command += [f"{url}/v1/paths", "--", str(self.file), str(self.place), mode]
            said = subprocess.run(command, capture_output=True, text=True, check=True).stdout
        if "Non-2xx" in said or "Socket errors" in said:
            raise SystemExit(f"not every answer was good:\n{said}")
        sent = re.search(r"(\d+) requests in", said)
        rate = re.search(r"Requests/sec:\s+([\d.]+)", said)
        assert sent is not None, said
        assert rate is not None, said
        if mode == "distinct":
            self.place += int(sent[1]) + connections
            if self.place > self.count:
                raise SystemExit(f"{self.count} charts are too few")
        return [float(rate[1]), *map(float, re.findall(r"latency ([\d.]+)", said))]

    def steady(self, port: int, rate: float, count: int) -> Summary:
        """Send some `count` distinct requests at `rate` a second.

        Raises
        ------
        SystemExit
            If any answer was neither a good one nor a refusal that says when to come back.
        """
        with self.file.open() as lines:
            bodies = (partial(json.loads, line) for line in islice(lines, self.place, None))
            requests = ((0, Ask("/v1/paths", body=body).encoded()) for body in bodies)
            found = summary(at_rate(port, rate, count / rate, requests))
        self.place += found.requests
        if found.errors:
            raise SystemExit(f"not every answer was good: {found.errors}")
        return found


def written(folder: str, count: int, **more: Any) -> Load:
    """So many requests, with these fields beside the chart."""
    file = Path(folder) / f"{'-'.join(more) or 'plain'}.jsonl"
    with file.open("w") as lines:
        lines.writelines(
            json.dumps({"chart": chart, **more}) + "\n" for chart in islice(charts(2), count)
        )
    return Load(file, count)
