"""Chunks answered on a Dask cluster.

Knows ``distributed``, an optional dependency that only this module imports. When a worker is lost,
Dask gives its chunks to others.
"""

import logging
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from typing import Any, Final

from distributed import Client
from distributed.client import FutureCancelledError
from distributed.comm.addressing import parse_address, parse_host_port
from distributed.comm.registry import get_backend
from distributed.scheduler import KilledWorker

from shortway.batch.chunks import Chunk, Task, answer_chunk
from shortway.batch.errors import CannotStart, Stopped
from shortway.batch.process_pool import AHEAD, Answered, submit_in_order

LEAST_AHEAD: Final = 16
MOST_AHEAD: Final = 512
"""Chunks in progress, whatever the size of the cluster; an answer has about 2 MB."""

WITHIN: Final = 10
"""Seconds within which the scheduler must answer at first."""

RETRIES: Final = 2
"""Retries of a chunk after an error in a worker."""


def run_on_cluster(task: Task, chunks: Iterable[Chunk], scheduler: str) -> Answered:
    """Answer the chunks on a cluster, in order.

    `scheduler`: its address, ``tcp://host:8786``.

    Raises CannotStart if no scheduler answers at that address, or it has no workers; Stopped if the
    scheduler is lost, or several workers on the same chunk.
    """
    with _client(scheduler) as client, _working(scheduler):

        def submit(chunk: Chunk) -> Any:
            return client.submit(answer_chunk, task, chunk, pure=False, retries=RETRIES)

        threads = sum(client.nthreads().values())
        most = min(max(AHEAD * threads, LEAST_AHEAD), MOST_AHEAD)
        for chunk, future in submit_in_order(chunks, submit, most):
            yield chunk, future.result()


@contextmanager
def _client(scheduler: str) -> Iterator[Any]:
    for name in ("distributed", "distributed.client"):
        logging.getLogger(name).setLevel(logging.CRITICAL)
    try:
        kind, place = parse_address(scheduler)
        get_backend(kind)
        parse_host_port(place)
        client = Client(  # type: ignore[no-untyped-call]
            scheduler, timeout=WITHIN, set_as_default=False
        )
    except (OSError, ValueError) as error:
        raise CannotStart(f"no scheduler answers at {scheduler}: {_first_line(error)}") from None
    with client:
        try:
            client.wait_for_workers(1, timeout=WITHIN)
        except TimeoutError:
            raise CannotStart(f"the cluster at {scheduler} has no workers") from None
        yield client


@contextmanager
def _working(scheduler: str) -> Iterator[None]:
    try:
        yield
    except KilledWorker as error:
        detail = f"several workers were lost on the same lines: {_first_line(error)}"
        raise Stopped(detail) from None
    except (FutureCancelledError, OSError, ModuleNotFoundError) as error:
        raise Stopped(f"the cluster at {scheduler} failed: {_first_line(error)}") from None


def _first_line(error: Exception) -> str:
    """The first line of an error; Dask's have many."""
    return str(error).partition("\n")[0].rstrip(".")
