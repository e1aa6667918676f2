"""A soak: 30 minutes of the load generator's mix through nginx, at 70 % of what is possible.

``python tests/release/soak.py``; `--minutes` for a shorter one. Two replicas run behind
docker/nginx.conf, with the workers and the caches that docker/compose.yaml gives them. Every sixth
of the time both are reloaded, one after the other; at half time a worker is killed. Meanwhile
`shortway_client` solves charts one by one and in batches.

Held to: every answer is 200, through nginx and in the client; the workers' peak memory in the
second half is at most `GROWTH` above that in the first.
"""

from __future__ import annotations

import argparse
import itertools
import os
import signal
import sys
import tempfile
import threading
import time
from collections import Counter
from collections.abc import Iterator
from contextlib import ExitStack
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).parents[1]))

from bench.load import mix
from bench.load.driver import Run, at_rate, in_turn
from bench.load.told import GOOD, HEAD, row, summary
from containers import manifests
from containers.topology import Nginx, running_nginx
from shortway.api.middleware.token_store import generate_token, token_line
from shortway_client import Client
from support.processes import Process, serving

SHARE = 0.7
GROWTH = 0.1
RELOADS = 6
PEOPLE = 8


@dataclass
class Watch:
    """What happens to the replicas, and what they hold, while the load goes on."""

    replicas: list[Process]
    seconds: float
    over: threading.Event = field(default_factory=threading.Event)
    memory: list[tuple[float, float]] = field(default_factory=list)
    failures: list[str] = field(default_factory=list)
    solved: int = 0
    reloads: int = 0

    def disturb(self) -> None:
        """Reload both replicas again and again, and kill a worker at half time."""
        began, next_reload, killed = time.monotonic(), self.seconds / RELOADS, False
        while not self.over.wait(1):
            now = time.monotonic() - began
            self.memory.append((now, sum(map(resident, self.replicas))))
            if now > next_reload:
                next_reload += self.seconds / RELOADS
                self.reloads += 1
                for replica in self.replicas:
                    replica.popen.send_signal(signal.SIGHUP)
                    self.over.wait(5)
            if now > self.seconds / 2 and not killed:
                killed = True
                os.kill(self.replicas[0].workers()[0], signal.SIGKILL)

    def solve(self, url: str, token: str) -> None:
        """Ask as an application does; what the client hides by retrying is no failure."""
        with Client(url, token=token) as client:
            for number in itertools.count():
                charts = [
                    {"id": str(k), "chart": {"text": f"title: {number} {k}\n| Dm7 | G7 | Cmaj7 |"}}
                    for k in range(50)
                ]
                try:
                    assert client.find_path("| Dm7 | G7 |").steps
                    assert all(found.path for found in client.find_paths(charts))
                except Exception as error:
                    self.failures.append(repr(error))
                self.solved += 1 + len(charts)
                if self.over.wait(2):
                    return

    def peaks(self) -> tuple[float, float]:
        """The most memory in megabytes in either half."""
        halves = [[held for at, held in self.memory if (at < self.seconds / 2) is first]
                  for first in (True, False)]  # fmt: skip
        return max(halves[0], default=0.0), max(halves[1], default=0.0)


def resident(service: Process) -> float:
    """Resident megabytes of a replica's workers; of one that ends meanwhile, none."""
    pages = 0
    for pid in service.workers():
        try:
            pages += int(Path(f"/proc/{pid}/statm").read_text().split()[1])
        except (OSError, IndexError):
            continue
    return pages * os.sysconf("SC_PAGE_SIZE") / 1e6


def requests(token: str, seed: int) -> Iterator[tuple[int, bytes]]:
    """The mix, with a token."""
    header = f"Host: load\r\nAuthorization: Bearer {token}\r\n".encode()
    for kind, request in mix.drawn(seed):
        yield kind, request.replace(b"Host: load\r\n", header, 1)


def soak(nginx: Nginx, watch: Watch, token: str) -> tuple[float, Run]:
    """Warm up, find what is possible, then load for the time; returns the rate and the run."""
    in_turn(nginx.port, PEOPLE, list(itertools.islice(requests(token, 1), 4_000)), 30)
    most = in_turn(nginx.port, PEOPLE, list(itertools.islice(requests(token, 2), 20_000)), 30)
    rate, whole = SHARE * summary(most).rate, Run()
    print(HEAD)
    print(row(f"{PEOPLE} people in turn", summary(most)), flush=True)
    others = [
        threading.Thread(target=watch.disturb),
        threading.Thread(target=watch.solve, args=(f"http://127.0.0.1:{nginx.port}", token)),
    ]
    for thread in others:
        thread.start()
    end, seed = time.monotonic() + watch.seconds, 3
    while (left := end - time.monotonic()) > 1:
        run = at_rate(nginx.port, rate, min(60.0, left), requests(token, seed), seed)
        whole.outcomes += run.outcomes
        whole.lateness += run.lateness
        whole.seconds += run.seconds
        whole.processor += run.processor
        seed += 1
    watch.over.set()
    for thread in others:
        thread.join()
    return rate, whole


def _statuses(line: dict[str, Any]) -> tuple[str, int]:
    return line["replica_statuses"], line["status"]


def main() -> None:
    """Soak, tell, and say whether it held."""
    parser = argparse.ArgumentParser(description=__doc__.partition("\n")[0])
    parser.add_argument("--minutes", type=float, default=30)
    seconds = 60 * parser.parse_args().minutes
    token = generate_token()
    with ExitStack() as stack:
        tokens = Path(stack.enter_context(tempfile.TemporaryDirectory())) / "tokens"
        tokens.write_text(token_line("soak", token))
        settings = {"TRUSTED_PROXIES": "1", "LOG_LEVEL": "error", "TOKENS_FILE": str(tokens)}
        given = manifests.environment(manifests.compose()["services"]["shortway-1"])
        workers = int(given["SHORTWAY_WORKERS"])
        settings["CACHE_MB"] = given["SHORTWAY_CACHE_MB"]
        replicas = [stack.enter_context(serving(workers, **settings)) for _ in range(2)]
        nginx = stack.enter_context(running_nginx(*(replica.port for replica in replicas)))
        watch = Watch(replicas, seconds)
        rate, run = soak(nginx, watch, token)
        lines = [line for line in nginx.lines() if line["status"] != GOOD]
    bad = Counter(str(one.status) for one in run.outcomes if one.status != GOOD)
    first, second = watch.peaks()
    print(row(f"{rate:.0f} a second", summary(run)))
    print(f"not answered with 200: {dict(bad) or 'none'}")
    for (replicas_said, status), times in Counter(map(_statuses, lines)).most_common(10):
        print(f"  {times} times {status}, of replicas {replicas_said}")
    print(f"client: {watch.solved} charts, failures: {watch.failures or 'none'}")
    print(f"{seconds / 60:.1f} minutes, {watch.reloads} reloads of both, one worker killed")
    print(f"peak memory of the workers: {first:.0f} MB, then {second:.0f} MB; load average "
          f"{os.getloadavg()[0]:.1f} on {os.cpu_count()} processors")  # fmt: skip
    if bad or watch.failures or second > (1 + GROWTH) * first:
        sys.exit("the soak did not hold")


if __name__ == "__main__":
    main()
