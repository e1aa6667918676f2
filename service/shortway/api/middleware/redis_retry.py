"""How a failed command of Redis is retried, and how many have failed."""

from collections.abc import Callable
from typing import Any

from redis.backoff import NoBackoff
from redis.exceptions import ConnectionError, RedisError
from redis.retry import Retry


class CountedRetry(Retry):
    """One more attempt on a connection that was closed meanwhile, none on a timeout."""

    #: Commands of this process that failed, the second attempt included.
    failures = 0

    def __init__(self) -> None:
        super().__init__(NoBackoff(), 1, (ConnectionError,))

    def call_with_retry(self, do: Callable[[], Any], *rest: Any, **more: Any) -> Any:
        """As the base class does, and count the failure."""
        try:
            return super().call_with_retry(do, *rest, **more)
        except RedisError:
            CountedRetry.failures += 1
            raise
