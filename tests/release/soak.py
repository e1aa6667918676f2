"""A soak: 30 minutes of the load generator's mix through nginx, at 70 % of what is possible.

``python tests/release/soak.py``; `--minutes` for a shorter one. Two replicas run behind
docker/nginx.conf, with the environment of docker/compose.yaml. Meanwhile `shortway_client` solves
charts one by one and in batches, also while the capacity is measured: what 8 people in turn get
who wait for one answer before they ask again. Every sixth of the time the replicas are reloaded,
one after the other as an orchestrator does; at half time a worker is killed.

Held to: every answer through nginx is 200, and none fails in the client; the replicas' memory peaks
in the second half at most `GROWTH` above the first. Memory is the proportional set size of all
processes of a replica, which counts a page once that they share.
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
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass, field
from pathlib import Path

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
PEOPLE = 8
#: Seconds to warm up, and to measure the capacity.
WARM, MEASURED = 40, 60
#: Seconds between two replicas' reloads, and in which a reload may still hold memory.
APART, SETTLED = 10, 30
#: Rows of the printed timeline.
ROWS = 12


@dataclass
class Watch:
    """What happens to the replicas, and what they hold, while the load goes on."""

    replicas: list[Process]
    seconds: float
    times: int
    began: float = field(default_factory=time.monotonic)
    memory: list[tuple[float, float]] = field(default_factory=list)
    reloads: list[float] = field(default_factory=list)

    def disturb(self, over: threading.Event) -> None:
        """Reload the replicas again and again, and kill a worker at half time."""
        every = self.seconds / self.times
        planned = [(every * (n + 0.25) + APART * k, replica) for n in range(self.times)
                   for k, replica in enumerate(self.replicas)]  # fmt: skip
        kill = [self.seconds / 2]
        while not over.wait(1):
            now = time.monotonic() - self.began
            self.memory.append((now, sum(map(held, self.replicas))))
            if planned and now > planned[0][0]:
                self.reloads.append(now)
                planned.pop(0)[1].popen.send_signal(signal.SIGHUP)
            if kill and now > kill[0]:
                kill.pop()
                os.kill(self.replicas[0].workers()[0], signal.SIGKILL)

    def peak(self, start: float, end: float, *, reloading: bool | None = None) -> float:
        """The most memory in megabytes in a part of the time."""
        return max((mb for at, mb in self.memory if start <= at < end
                    and reloading in (None, self._reloads(at))), default=0.0)  # fmt: skip

    def _reloads(self, at: float) -> bool:
        return any(0 <= at - reload < SETTLED for reload in self.reloads)


@dataclass
class Application:
    """Asks as an application does; what the client hides by retrying is no failure."""

    url: str
    token: str
    failures: list[str] = field(default_factory=list)
    solved: int = 0

    def solve(self, over: threading.Event) -> None:
        """A path and a batch of 50 charts every two seconds."""
        with Client(self.url, token=self.token) as client:
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
                if over.wait(2):
                    return


def held(service: Process) -> float:
    """Proportional set size in megabytes of a replica's processes."""
    return sum(_proportional(pid) for pid in _family(service.pid)) / 1e3


def _family(pid: int) -> list[int]:
    """A process and all that it has begun, of those that still run."""
    found = [pid]
    for parent in found:
        for task in Path(f"/proc/{parent}/task").glob("*/children"):
            try:
                found += map(int, task.read_text().split())
            except OSError:
                continue
    return found


def _proportional(pid: int) -> int:
    """Kilobytes; of a process that ends meanwhile, none."""
    try:
        text = Path(f"/proc/{pid}/smaps_rollup").read_text()
        return int(text.partition("\nPss:")[2].split()[0])
    except (OSError, IndexError):
        return 0


def replica_settings() -> dict[str, str]:
    """A replica's settings in compose.yaml, but for Redis and the rate limit of one token."""
    given = manifests.environment(manifests.compose()["services"]["shortway-1"])
    without = {"SHORTWAY_REDIS_URL", "SHORTWAY_RATE_LIMIT"}
    return {name.removeprefix("SHORTWAY_"): given[name] for name in given.keys() - without}


def requests(token: str, seed: int) -> Iterator[tuple[int, bytes]]:
    """The mix, with a token."""
    header = f"Host: load\r\nAuthorization: Bearer {token}\r\n".encode()
    for kind, request in mix.drawn(seed):
        yield kind, request.replace(b"Host: load\r\n", header, 1)


@contextmanager
def beside(*targets: object) -> Iterator[None]:
    """Threads that run until the block ends; each is told by an event that it has."""
    over = threading.Event()
    threads = [threading.Thread(target=target, args=(over,)) for target in targets]  # type: ignore[arg-type]
    for thread in threads:
        thread.start()
    try:
        yield
    finally:
        over.set()
        for thread in threads:
            thread.join()


def soak(nginx: Nginx, watch: Watch, application: Application) -> tuple[float, Run]:
    """Warm up, measure the capacity, then load for the time; returns the rate and the run."""
    token = application.token
    with beside(application.solve):
        in_turn(nginx.port, PEOPLE, list(itertools.islice(requests(token, 1), 100 * WARM)), WARM)
        asked = list(itertools.islice(requests(token, 2), 500 * MEASURED))
        most = in_turn(nginx.port, PEOPLE, asked, MEASURED)
    rate = SHARE * summary(most).rate
    print(HEAD)
    print(row(f"capacity: {PEOPLE} in turn", summary(most)), flush=True)
    count = int(1.1 * rate * watch.seconds) + 100
    asked = list(itertools.islice(requests(token, 3), count))
    watch.began = time.monotonic()
    with beside(application.solve, watch.disturb):
        run = at_rate(nginx.port, rate, watch.seconds, iter(asked))
    return rate, run


def report(watch: Watch, nginx: Nginx) -> None:
    """Memory by time, and what nginx did not answer with 200."""
    part = watch.seconds / ROWS
    for n in range(ROWS):
        calm = watch.peak(n * part, (n + 1) * part, reloading=False)
        print(f"  to minute {(n + 1) * part / 60:4.1f}: peak memory {calm:5.0f} MB, with reloads"
              f" {watch.peak(n * part, (n + 1) * part):5.0f} MB")  # fmt: skip
    lines = [line for line in nginx.lines() if line["status"] != GOOD]
    for line in lines[:20]:
        told = ("time", "path", "status", "replica_statuses", "seconds")
        print(" ", *(line[name] for name in told))
    tried = Counter(line["replica_statuses"] for line in nginx.lines())
    print(f"  asked of replicas: {dict(tried)}")


def main() -> None:
    """Soak, tell, and say whether it held."""
    parser = argparse.ArgumentParser(description=__doc__.partition("\n")[0])
    parser.add_argument("--minutes", type=float, default=30)
    parser.add_argument("--reloads", type=int, default=6, help="of each replica")
    given = parser.parse_args()
    seconds = 60 * given.minutes
    token = generate_token()
    with ExitStack() as stack:
        tokens = Path(stack.enter_context(tempfile.TemporaryDirectory())) / "tokens"
        tokens.write_text(token_line("soak", token))
        settings = replica_settings() | {"LOG_LEVEL": "error", "TOKENS_FILE": str(tokens)}
        workers = int(settings.pop("WORKERS"))
        replicas = [stack.enter_context(serving(workers, **settings)) for _ in range(2)]
        nginx = stack.enter_context(running_nginx(*(replica.port for replica in replicas)))
        watch = Watch(replicas, seconds, given.reloads)
        application = Application(f"http://127.0.0.1:{nginx.port}", token)
        rate, run = soak(nginx, watch, application)
        print(row(f"{rate:.0f} a second", summary(run)))
        report(watch, nginx)
        raised = sum(replica.log().count("Traceback") for replica in replicas)
    bad = Counter(str(one.status) for one in run.outcomes if one.status != GOOD)
    first, second = (watch.peak(k * seconds / 2, (k + 1) * seconds / 2) for k in (0, 1))
    print(f"not answered with 200: {dict(bad) or 'none'}")
    print(f"client: {application.solved} charts, failures: {application.failures or 'none'}")
    print(f"{seconds / 60:.1f} minutes, {len(watch.reloads)} reloads, one worker killed;"
          f" tracebacks in the logs: {raised}")  # fmt: skip
    print(f"peak memory: {first:.0f} MB, then {second:.0f} MB; load average "
          f"{os.getloadavg()[0]:.1f} on {os.cpu_count()} processors")  # fmt: skip
    if bad or application.failures or raised or second > (1 + GROWTH) * first:
        sys.exit("the soak did not hold")


if __name__ == "__main__":
    main()
