"""What an attack costs: processor time and memory of the workers, and how long others wait.

Attackers and victims are on the loopback, where 127.0.0.0/8 gives each client an address of its
own. Limits are generous, since the machine may be busy. Each figure is printed (``pytest -s``).
"""

from __future__ import annotations

import json
import os
import socket
import threading
import time
from collections.abc import Iterator, Sequence
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass, field
from http.client import HTTPConnection
from pathlib import Path

from support.processes import LONG, Process

#: The honest client's address, which no attacker has.
HONEST = "127.0.0.99"
TICK = os.sysconf("SC_CLK_TCK")


@dataclass
class Cost:
    """What an attack has cost so far."""

    waits: list[float] = field(default_factory=list)
    refused: int = 0
    cpu: float = 0.0
    more_memory: float = 0.0

    @property
    def longest(self) -> float:
        """Seconds that the honest client has waited for one answer at most."""
        return max(self.waits, default=0.0)

    def __str__(self) -> str:
        return (
            f"honest client: {len(self.waits)} answers, {self.refused} refused, longest"
            f" {self.longest:.2f} s; workers: {self.cpu:.2f} s of processor time,"
            f" {self.more_memory:+.0f} MB"
        )


def ask_honestly(port: int, title: str, source: str = HONEST) -> int:
    """The status of an answer that no cache has, on a connection of its own."""
    connection = HTTPConnection("127.0.0.1", port, timeout=LONG, source_address=(source, 0))
    try:
        body = json.dumps({"chart": {"text": f"title: {title}\n| Dm7 | G7 | Cmaj7 |"}})
        connection.request("POST", "/v1/paths", body, {"Content-Type": "application/json"})
        response = connection.getresponse()
        response.read()
        return response.status
    finally:
        connection.close()


@contextmanager
def counted(service: Process, port: int, pause: float = 0.1) -> Iterator[Cost]:
    """Count what the block costs, while an honest client asks again and again."""
    cost, over = Cost(), threading.Event()

    def ask() -> None:
        while not over.is_set():
            began = time.monotonic()
            try:
                status = ask_honestly(port, f"{began}")
            except OSError:
                status = 0
            cost.waits.append(time.monotonic() - began)
            cost.refused += status != 200
            over.wait(pause)

    cpu, memory = _cpu(service), _memory(service)
    thread = threading.Thread(target=ask)
    thread.start()
    try:
        yield cost
    finally:
        over.set()
        thread.join()
        cost.cpu, cost.more_memory = _cpu(service) - cpu, _memory(service) - memory
        print(f"\n  {cost}")


def _cpu(service: Process) -> float:
    """Processor seconds of the workers."""
    stats = [Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2] for pid in service.workers()]
    return sum(int(ticks) for stat in stats for ticks in stat.split()[11:13]) / TICK


def _memory(service: Process) -> float:
    """Resident megabytes of the workers."""
    pages = [int(Path(f"/proc/{pid}/statm").read_text().split()[1]) for pid in service.workers()]
    return sum(pages) * os.sysconf("SC_PAGE_SIZE") / 1e6


def addresses(count: int) -> Iterator[str]:
    """Different addresses of attackers."""
    return (f"127.1.{k // 250}.{k % 250 + 1}" for k in range(count))


@contextmanager
def connections(
    port: int, sources: Sequence[str], sent: bytes = b"", receive_buffer: int = 0
) -> Iterator[list[socket.socket]]:
    """Connections from these addresses, on each of which `sent` is sent at once."""
    with ExitStack() as stack:
        found = []
        for source in sources:
            sock = stack.enter_context(socket.socket())
            sock.settimeout(LONG)
            if receive_buffer:
                sock.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, receive_buffer)
            sock.bind((source, 0))
            sock.connect(("127.0.0.1", port))
            if sent:
                sock.sendall(sent)
            found.append(sock)
        yield found


def status_of(sock: socket.socket) -> int:
    """The status of the answer that comes next; 0 if the connection ends without one."""
    try:
        head = sock.recv(65_536)
    except OSError:
        return 0
    return int(head[9:12]) if head.startswith(b"HTTP/1.") else 0
