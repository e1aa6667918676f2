"""The load generator against servers that do wrong on purpose.

That a latency counts from when its request was due is Gil Tene's remedy for coordinated omission
("How NOT to Measure Latency", 2013); the rest is common practice, no source.
"""

from __future__ import annotations

import threading
import time
from itertools import islice, repeat

import pytest

from bench import book
from bench.load import mix
from bench.load.driver import CUT, REFUSED, Run, at_rate, in_turn
from bench.load.told import percentile, summary
from support.loopback import Handler, Script, answer, cut, misbehaving, unused_port

ASK = repeat((0, mix.Ask("/x").encoded()))


def port_of(url: str) -> int:
    return int(url.rpartition(":")[2])


def driven(*script: Script) -> Run:
    """Three requests, one after another, to a server that follows `script`."""
    with misbehaving(*script) as server:
        return in_turn(port_of(server.url), 1, list(islice(ASK, 3)))


def test_a_stall_is_charged_to_all_who_would_have_waited() -> None:
    """Requests come every 20 ms and one at a time is answered: the first holds up 25 for 0.5 s."""
    lock, first = threading.Lock(), threading.Event()

    def stalls(handler: Handler) -> None:
        with lock:
            if not first.is_set():
                first.set()
                time.sleep(0.5)
        answer(200, b"{}")(handler)

    with misbehaving(stalls) as server:
        run = at_rate(port_of(server.url), 50, 1.0, ASK)
    late = [one.seconds for one in run.outcomes if one.seconds > 0.1]
    assert all(one.status == 200 for one in run.outcomes)
    assert len(late) >= 10
    assert max(late) >= 0.45


def test_a_rate_is_kept_whatever_the_service_does() -> None:
    with misbehaving(answer(200, b"{}")) as server:
        run = at_rate(port_of(server.url), 100, 2.0, ASK)
    assert 140 < len(run.outcomes) < 260  # Poisson: four standard deviations to either side


@pytest.mark.parametrize(
    ("script", "refused", "errors"),
    [
        (answer(200, b"{}"), 0, {}),
        (answer(503, b"{}", Retry_After="1"), 3, {}),
        (answer(429, b"{}", Retry_After="1"), 3, {}),
        (answer(503, b"{}"), 0, {"503": 3}),
        (answer(500, b"{}", Retry_After="1"), 0, {"500": 3}),
        (cut, 0, {CUT: 3}),
    ],
)
def test_only_a_refusal_that_says_when_to_come_back_is_none(
    script: Script, refused: int, errors: dict[str, int]
) -> None:
    found = summary(driven(script))
    assert (found.requests, found.refused, found.errors) == (3, refused, errors)


def test_nobody_there_is_an_error() -> None:
    found = summary(in_turn(unused_port(), 1, list(islice(ASK, 2))))
    assert found.errors == {REFUSED: 2}


def test_a_connection_that_was_closed_while_idle_costs_no_request() -> None:
    """Answered once, then cut: asked again over a new one, as any client does."""
    found = summary(driven(answer(200, b"{}"), cut, answer(200, b"{}")))
    assert (found.good, found.errors) == (3, {})


def test_percentiles_are_values_that_came() -> None:
    assert [percentile(range(1, 101), share) for share in (0.5, 0.99, 0.999)] == [50, 99, 100]


def test_the_same_seed_asks_the_same_and_the_shares_are_the_tables() -> None:
    one, other = (list(islice(mix.drawn(7), 2_000)) for _ in range(2))
    assert one == other
    assert sum(kind.share for kind in mix.MIX) == 100
    for place, kind in enumerate(mix.MIX):
        assert sum(each == place for each, _ in one) / 20 == pytest.approx(kind.share, abs=3)


def test_a_book_has_a_long_tail_and_charts_of_ones_own_never_come_twice() -> None:
    wishes = list(islice(iter(book.Book(3).wish, None), 20_000))
    own = [wish for wish in wishes if wish.chart < 0]
    assert len(own) == len({wish.chart for wish in own})
    assert len(own) / len(wishes) == pytest.approx(book.OWN, abs=0.02)
    counts = [sum(wish.chart == place for wish in wishes) for place in (0, 9)]
    assert counts[0] / counts[1] == pytest.approx(10, rel=0.3)
