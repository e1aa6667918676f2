"""What a run comes to: percentiles, errors by kind, and the table.

Knows outcomes (`driver`), and no network.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from math import ceil

from bench.load.driver import Outcome, Run
from bench.load.mix import MIX

#: Refusals that a service under too much load may give, where they say when to come back.
RETRIED = (429, 503)
GOOD = 200


def percentile(values: Sequence[float], share: float) -> float:
    """The least value that `share` of the values do not exceed; nan where there are none."""
    found = sorted(values)
    return found[max(0, ceil(share * len(found)) - 1)] if found else float("nan")


@dataclass(frozen=True)
class Summary:
    """A run in figures; latencies in milliseconds, of good answers only."""

    requests: int
    rate: float
    good: int
    refused: int
    errors: dict[str, int]
    p50: float
    p99: float
    p999: float
    lateness: float
    cost: float

    @property
    def refused_share(self) -> float:
        """Refused in order, of all."""
        return self.refused / max(1, self.requests)


def summary(run: Run) -> Summary:
    """The figures of `run`."""
    good = [one.seconds * 1e3 for one in run.outcomes if one.status == GOOD]
    errors = Counter(str(one.status) for one in run.outcomes if not _is_in_order(one))
    refused = sum(one.status in RETRIED and one.retry_after for one in run.outcomes)
    return Summary(
        requests=len(run.outcomes),
        rate=len(run.outcomes) / run.seconds,
        good=len(good),
        refused=refused,
        errors=dict(errors),
        p50=percentile(good, 0.5),
        p99=percentile(good, 0.99),
        p999=percentile(good, 0.999),
        lateness=percentile(run.lateness, 0.99) * 1e3,
        cost=run.processor / max(1, len(run.outcomes)) * 1e6,
    )


def _is_in_order(one: Outcome) -> bool:
    return one.status == GOOD or (one.status in RETRIED and one.retry_after)


def row(name: str, found: Summary) -> str:
    """A line of the table."""
    errors = ", ".join(f"{n} {kind}" for kind, n in found.errors.items()) or "none"
    return (
        f"{name:28} {found.requests:8,} {found.rate:7.0f} {found.good / found.requests:6.1%}"
        f" {found.refused_share:7.1%}  {errors:12} {found.p50:7.1f} {found.p99:7.1f}"
        f" {found.p999:7.1f}   {found.lateness:6.1f} {found.cost:6.0f}"
    )


HEAD = (
    f"{'':28} requests   a sec   good refused  other errors  p50 ms  p99 ms p99.9 ms"
    f"  late ms gen µs"
)


def by_kind(before: Run, under: Run) -> list[str]:
    """For each kind of the mix, its latencies in two runs, and how often it was refused."""
    lines = [f"{'':20} share   unloaded p50    p99   overloaded p50    p99   refused"]
    for place, kind in enumerate(MIX):
        unloaded, loaded = (
            [o.seconds * 1e3 for o in run.outcomes if o.kind == place and o.status == GOOD]
            for run in (before, under)
        )
        asked = sum(o.kind == place for o in under.outcomes)
        lines.append(
            f"{kind.name:20} {kind.share:4.0f} %  {percentile(unloaded, 0.5):13.1f}"
            f" {percentile(unloaded, 0.99):6.1f}   {percentile(loaded, 0.5):14.1f}"
            f" {percentile(loaded, 0.99):6.1f}    {1 - len(loaded) / max(1, asked):6.1%}"
        )
    return lines
