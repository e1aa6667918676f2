"""The service's settings: every variable of the environment, its unit, its default, its reading.

Knows the standard library only. A setting is a field of `ServiceConfig`; its variable is
``SHORTWAY_`` and the field's name in capitals. Flask's ``config`` has it under that name without
the prefix. The manual's table is `markdown_table`, which a test compares.
"""

from __future__ import annotations

import os
import re
from collections.abc import Callable, Iterator, Mapping
from dataclasses import Field, dataclass, field, fields
from difflib import get_close_matches
from typing import Any, Final
from urllib.parse import urlsplit

PREFIX: Final = "SHORTWAY_"
MOST_DEFAULT_WORKERS: Final = 4
LOG_LEVELS: Final = ("debug", "info", "warning", "error")

_LIMIT: Final = re.compile(r"([1-9]\d{0,8})/(second|minute|hour|day)")
_ORIGIN: Final = re.compile(r"https?://(\[[0-9a-f:]+\]|[a-z0-9.-]+)(:\d{1,5})?")
_REDIS: Final = re.compile(r"(rediss?|unix)://\S+")
_SECRET: Final = re.compile(r"(?<=://).*@|(?<=password=)[^&]*")
_SHOWN: Final = 40
#: How like two names are of which one is a slip for the other, by difflib's measure.
_CLOSE: Final = 0.7


class ConfigurationError(ValueError):
    """A variable that cannot be read; says which, what it holds, and what was expected."""


def usable_cpus() -> int:
    """Processors that this process may use, which in a container can be fewer than there are."""
    try:
        return len(os.sched_getaffinity(0))
    except AttributeError:  # not on Linux
        return os.cpu_count() or 1


Reader = Callable[[str], Any]


@dataclass(frozen=True, slots=True)
class Variable:
    """How one variable is read, and what the docs say of it; `default` is the docs' word."""

    read: Reader
    unit: str
    about: str
    default: str


def _whole(least: int, most: int) -> Reader:
    def read(text: str) -> int:
        plain = text.isascii() and text.isdigit() and len(text) < 12
        if not (plain and least <= int(text) <= most):
            raise ValueError(f"a whole number from {least:,} to {most:,}")
        return int(text)

    return read


def _limit(text: str) -> str:
    if not _LIMIT.fullmatch(text):
        raise ValueError("a number above 0 and second, minute, hour or day, such as 600/minute")
    return text


def _flag(text: str) -> bool:
    if text not in ("0", "1"):
        raise ValueError("0 or 1")
    return text == "1"


def _line(text: str) -> str:
    if not text.isprintable():
        raise ValueError("one line of text")
    return text


def _address(text: str) -> str:
    if not re.fullmatch(r"[A-Za-z0-9.:_-]+", text):
        raise ValueError("a host's name or address, such as 127.0.0.1 or ::1")
    return text


def _level(text: str) -> str:
    if text not in LOG_LEVELS:
        raise ValueError(" or ".join(LOG_LEVELS))
    return text


def _origins(text: str) -> tuple[str, ...]:
    origins = tuple(part.strip() for part in text.split(",") if part.strip())
    if not all(_ORIGIN.fullmatch(origin) for origin in origins):
        raise ValueError("origins such as https://app.example, with commas between them")
    return origins


def _redis(text: str) -> str:
    """A URL that Redis's client can read: a password may hold no slash as it stands."""
    parts = urlsplit(text)
    try:
        is_read = _REDIS.fullmatch(text) is not None and parts.port != 0
    except ValueError:
        is_read = False
    if not is_read:
        raise ValueError("a URL such as redis://host:6379/0, with what is special in it as %2F")
    return text


def _row(value: Any, read: Reader, unit: str, about: str, default: str | None = None) -> Any:
    shown = default if default is not None else str(value)
    metadata = {"row": Variable(read, unit, about, shown)}
    if callable(value):
        return field(default_factory=value, metadata=metadata)
    return field(default=value, metadata=metadata)


def _default_workers() -> int:
    return min(MOST_DEFAULT_WORKERS, usable_cpus())


@dataclass(frozen=True, slots=True)
class ServiceConfig:
    """All settings of one service, as `load_config` finds them."""

    host: str = _row("127.0.0.1", _address, "", "where to listen")
    port: int = _row(8000, _whole(1, 65_535), "", "where to listen")
    workers: int = _row(
        _default_workers, _whole(1, 256), "processes", "how many answer",
        f"one a processor, at most {MOST_DEFAULT_WORKERS}",
    )  # fmt: skip
    threads: int = _row(4, _whole(1, 64), "threads", "of each process")
    open: bool = _row(
        False, _flag, "0 or 1", "listen beyond this machine though no tokens are asked for", "0"
    )
    tokens_file: str = _row("", _line, "path", "tokens of those who may ask; empty: anybody")
    rate_limit: str = _row(
        "", _limit, "requests/time",
        "what each token, or address without one, may ask; empty: no limit",
    )  # fmt: skip
    redis_url: str = _row(
        "", _redis, "URL",
        "where rates are counted for all processes and machines; empty: each process for itself",
    )  # fmt: skip
    cors_origins: tuple[str, ...] = _row(
        (), _origins, "origins", "whose pages may call from a browser; empty: none but our own", ""
    )
    trusted_proxies: int = _row(
        0, _whole(0, 8), "proxies", "in front, whose X-Forwarded-For is believed"
    )
    max_body_kb: int = _row(1024, _whole(1, 65_536), "KiB", "the largest body, batches aside")
    deadline_seconds: int = _row(30, _whole(1, 600), "s", "after which work on a request stops")
    batch_idle_seconds: int = _row(
        60, _whole(1, 3600), "s", "how long a batch's client may neither send nor read"
    )
    most_waiting: int = _row(
        16, _whole(0, 10_000), "requests", "for a thread of a process; the next is refused, 503"
    )
    most_batches: int = _row(2, _whole(1, 64), "batches", "at once in each process")
    answer_cache_mb: int = _row(
        64, _whole(0, 65_536), "MiB", "answers kept by each process, batches aside; 0 keeps none"
    )
    log_level: str = _row("info", _level, "level", "the least that is logged")
    tracing: bool = _row(
        False, _flag, "0 or 1", "send OpenTelemetry spans (OTEL_… says where)", "0"
    )
    drain_seconds: int = _row(
        0, _whole(0, 300), "s", "how long a stopping service says so in /readyz before it closes"
    )
    graceful_seconds: int = _row(
        20, _whole(1, 600), "s", "how long a stopping service waits for requests in flight"
    )
    max_requests: int = _row(
        0, _whole(0, 10_000_000), "requests", "after which a process is replaced; 0: never"
    )


def variable_name(name: str) -> str:
    """The variable of the setting `name`.

    >>> variable_name("answer_cache_mb")
    'SHORTWAY_ANSWER_CACHE_MB'
    """
    return PREFIX + name.upper()


def variables() -> Iterator[tuple[str, Variable]]:
    """Every setting's name, with how it is read and what is said of it."""
    for one in fields(ServiceConfig):
        yield one.name, _row_of(one)


def _row_of(one: Field[Any]) -> Variable:
    row: Variable = one.metadata["row"]
    return row


def load_config(environment: Mapping[str, str], **options: object) -> ServiceConfig:
    """The settings that `environment` gives, and the defaults of all others.

    Parameters
    ----------
    environment : mapping of str to str
        Such as ``os.environ``; a variable that is empty is one that is not set.
    **options : object
        What stands on a command line, already read; it wins unless it is None.

    Raises
    ------
    ConfigurationError
        If a variable cannot be read, or is almost called as one of ours.

    >>> load_config({"SHORTWAY_PORT": "8080"}, host="::1", workers=None).port
    8080
    >>> load_config({"SHORTWAY_OPEN": "yes"})
    Traceback (most recent call last):
        ...
    shortway.config.ConfigurationError: SHORTWAY_OPEN is 'yes'; expected: 0 or 1
    """
    _refuse_slips(environment)
    given: dict[str, Any] = {k: v for k, v in options.items() if v is not None}
    for name, row in variables():
        text = environment.get(variable_name(name), "").strip()
        if text and name not in given:
            given[name] = _read(name, row, text)
    return ServiceConfig(**given)


def _refuse_slips(environment: Mapping[str, str]) -> None:
    """Let nobody believe that SHORTWAY_TOKEN_FILE shuts anybody out."""
    known = {name.upper() for name, _ in variables()}
    for name in environment:
        given = name.removeprefix(PREFIX)
        if given != name and given not in known:
            for meant in get_close_matches(given, known, 1, _CLOSE):
                raise ConfigurationError(f"{name} is no setting; expected: {PREFIX}{meant}")


def _read(name: str, row: Variable, text: str) -> Any:
    try:
        return row.read(text)
    except ValueError as error:
        shown = "(not shown)" if "@" in text or "password" in text else repr(text[:_SHOWN])
        raise ConfigurationError(f"{variable_name(name)} is {shown}; expected: {error}") from None


def flask_config(settings: ServiceConfig) -> dict[str, Any]:
    """The application's settings under the names that its ``config`` has them by."""
    return {name.upper(): getattr(settings, name) for name, _ in variables()}


def describe_config(settings: ServiceConfig) -> Iterator[str]:
    """A line for each setting: the variable with its value, and what it is; no password.

    >>> next(describe_config(load_config({}))).split()
    ['SHORTWAY_HOST=127.0.0.1', 'where', 'to', 'listen']
    """
    usual = ServiceConfig()
    for name, row in variables():
        value = getattr(settings, name)
        unit = f" ({row.unit})" if row.unit else ""
        mark = "" if value == getattr(usual, name) else "; set here"
        yield f"{variable_name(name) + '=' + _word(value):<36}  {row.about}{unit}{mark}"


def _word(value: object) -> str:
    if isinstance(value, bool):
        return str(int(value))
    if isinstance(value, tuple):
        return ",".join(value)
    return _SECRET.sub(_hidden, str(value))


def _hidden(found: re.Match[str]) -> str:
    return "***@" if found[0].endswith("@") else "***"


def markdown_table() -> Iterator[str]:
    """The lines of README's table."""
    yield "| variable | unit | default | what |"
    yield "| --- | --- | --- | --- |"
    for name, row in variables():
        yield f"| `{variable_name(name)}` | {row.unit} | {row.default} | {row.about} |"
