"""The service's settings: every environment variable, its unit, its default and its validation.

Knows marshmallow, whose fields parse the values. A setting is a field of `ServiceConfig`; its
variable is ``SHORTWAY_`` and the field's name in capitals. Flask's ``config`` has it under that
name without the prefix.
"""

import os
import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, fields
from difflib import get_close_matches
from typing import Any, Final
from urllib.parse import urlsplit

import marshmallow as ma
from marshmallow import validate

PREFIX: Final = "SHORTWAY_"
MOST_DEFAULT_WORKERS: Final = 4
LOG_LEVELS: Final = ("debug", "info", "warning", "error")

_ORIGIN: Final = re.compile(r"https?://(\[[0-9a-f:]+\]|[a-z0-9.-]+)(:\d{1,5})?")
_REDIS: Final = re.compile(r"(rediss?|unix)://\S+")
_SECRET: Final = re.compile(r"(?<=://).*@|(?<=password=)[^&]*")
#: Characters of an invalid value that an error shows.
_SHOWN: Final = 40
#: Similarity of two names, by difflib's measure, from which one is taken for a misspelling.
_CLOSE: Final = 0.7
#: Options of other commands, set in the same environment, whose names are similar to a setting's.
_OPTIONS: Final = ("LEVEL", "PRICING")


class ConfigurationError(ValueError):
    """A variable that cannot be read: its name, its value, and what is expected."""


def usable_cpus() -> int:
    """Processors that this process may use, which in a container can be fewer than there are."""
    try:
        return len(os.sched_getaffinity(0))
    except AttributeError:  # not on Linux
        return os.cpu_count() or 1


# --- fields --------------------------------------------------------------------------------------


class _Integer(ma.fields.Integer):
    """Digits from `low` to `high`; no sign, point or separator."""

    def __init__(self, low: int, high: int) -> None:
        expected = f"a whole number from {low:,} to {high:,}"
        messages: dict[str, Any] = {"invalid": expected, "too_large": expected}
        super().__init__(
            validate=validate.Range(low, high, error=expected), error_messages=messages
        )

    def _validated(self, value: Any) -> int:
        if not (value.isascii() and value.isdigit()):
            raise self.make_error("invalid")
        number: int = super()._validated(value)
        return number


class _Origins(ma.fields.Field[Any]):
    """Origins with commas between them."""

    def _deserialize(self, value: str, *_: Any, **__: Any) -> tuple[str, ...]:
        origins = tuple(part.strip() for part in value.split(",") if part.strip())
        if not all(_ORIGIN.fullmatch(origin) for origin in origins):
            raise ma.ValidationError("origins such as https://app.example, with commas between")
        return origins


def _matching(pattern: str, expected: str) -> ma.fields.String:
    return ma.fields.String(validate=validate.Regexp(rf"(?:{pattern})\Z", error=expected))


def _one_line(text: str) -> None:
    if not text.isprintable():
        raise ma.ValidationError("one line of text")


def _redis_url(text: str) -> None:
    """Accept what Redis's client can read: a password may hold no slash as it stands."""
    try:
        is_valid = _REDIS.fullmatch(text) is not None and urlsplit(text).port != 0
    except ValueError:
        is_valid = False
    if not is_valid:
        raise ma.ValidationError("a URL such as redis://host:6379/0, special characters as %2F")


_FLAG: Final = ma.fields.Boolean(truthy={"1"}, falsy={"0"}, error_messages={"invalid": "0 or 1"})


@dataclass(frozen=True, slots=True)
class Variable:
    """How one variable is parsed, and its row in the manual; `default` is the manual's word."""

    field: ma.fields.Field[Any]
    unit: str
    about: str
    default: str


def _setting(
    value: Any, parser: ma.fields.Field[Any], unit: str, about: str, default: str = ""
) -> Any:
    variable = Variable(parser, unit, about, default or _as_text(value))
    kind = "default_factory" if callable(value) else "default"
    return field(metadata={"variable": variable}, **{kind: value})


def _as_text(value: object) -> str:
    if isinstance(value, bool):
        return str(int(value))
    if isinstance(value, tuple):
        return ",".join(value)
    return _SECRET.sub(lambda found: "***@" if found[0][-1:] == "@" else "***", str(value))


# --- settings ------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class ServiceConfig:
    """All settings of one service, as `load_config` returns them."""

    host: str = _setting(
        "127.0.0.1",
        _matching(r"[A-Za-z0-9.:_-]+", "a host's name or address, such as 127.0.0.1 or ::1"),
        "", "address to listen on",
    )  # fmt: skip
    port: int = _setting(8000, _Integer(1, 65_535), "", "port to listen on")
    workers: int = _setting(
        lambda: min(MOST_DEFAULT_WORKERS, usable_cpus()), _Integer(1, 256), "processes",
        "worker processes", f"one per processor, at most {MOST_DEFAULT_WORKERS}",
    )  # fmt: skip
    threads: int = _setting(64, _Integer(1, 256), "threads", "threads of each process")
    open: bool = _setting(
        False, _FLAG, "0 or 1", "listen beyond this machine without requiring tokens"
    )
    tokens_file: str = _setting(
        "", ma.fields.String(validate=_one_line), "path",
        "file of accepted tokens; empty: no token is required",
    )  # fmt: skip
    rate_limit: str = _setting(
        "",
        _matching(
            r"[1-9]\d{0,8}/(second|minute|hour|day)",
            "a number above 0 and second, minute, hour or day, such as 600/minute",
        ),
        "requests/time", "rate limit of each token, or address without one; empty: none",
    )  # fmt: skip
    redis_url: str = _setting(
        "", ma.fields.String(validate=_redis_url), "URL",
        "Redis that counts for all processes and machines; empty: each process counts by itself",
    )  # fmt: skip
    cors_origins: tuple[str, ...] = _setting(
        (), _Origins(), "origins", "origins whose pages may call from a browser; empty: none"
    )
    trusted_proxies: int = _setting(
        0, _Integer(0, 8), "proxies", "proxies in front whose X-Forwarded-For is trusted"
    )
    max_body_kb: int = _setting(1024, _Integer(1, 65_536), "KiB", "limit of a body, except batches")
    deadline_seconds: int = _setting(30, _Integer(1, 600), "s", "timeout of the work on a request")
    batch_idle_seconds: int = _setting(
        60, _Integer(1, 3600), "s", "timeout of a batch whose client neither sends nor reads"
    )
    max_concurrent: int = _setting(
        4, _Integer(1, 64), "requests", "concurrent requests of a process, except batches"
    )
    max_batches: int = _setting(2, _Integer(1, 64), "batches", "concurrent batches of a process")
    max_batch_lines: int = _setting(
        1_000_000, _Integer(1, 1_000_000_000), "lines", "limit of a batch"
    )
    max_batch_mb: int = _setting(
        1024, _Integer(1, 1_000_000), "MiB", "limit of a batch, uncompressed"
    )
    max_batch_seconds: int = _setting(3600, _Integer(1, 1_000_000), "s", "limit of a batch")
    max_queued: int = _setting(
        48, _Integer(0, 10_000), "requests", "requests that wait in a process; one more gets 503"
    )
    queue_seconds: int = _setting(
        5, _Integer(1, 600), "s", "timeout of a request that waits, which then gets 503"
    )
    cache_mb: int = _setting(
        384, _Integer(16, 65_536), "MiB",
        "memory of the caches of responses and tables of a process, of `shortway batch` too",
    )  # fmt: skip
    log_level: str = _setting(
        "info",
        ma.fields.String(validate=validate.OneOf(LOG_LEVELS, error=" or ".join(LOG_LEVELS))),
        "level", "lowest level that is logged",
    )  # fmt: skip
    tracing: bool = _setting(
        False, _FLAG, "0 or 1", "send OpenTelemetry spans (OTEL_… variables configure where)"
    )
    graceful_seconds: int = _setting(
        20, _Integer(1, 600), "s", "timeout at shutdown of requests under way"
    )
    max_requests: int = _setting(
        0, _Integer(0, 10_000_000), "requests",
        "limit of a process, which is then replaced; 0: none",
    )  # fmt: skip


def variable_name(name: str) -> str:
    """The variable of the setting `name`.

    >>> variable_name("cache_mb")
    'SHORTWAY_CACHE_MB'
    """
    return PREFIX + name.upper()


def variables() -> Iterator[tuple[str, Variable]]:
    """Every setting's name and variable."""
    for one in fields(ServiceConfig):
        yield one.name, one.metadata["variable"]


def load_config(environment: Mapping[str, str], **options: object) -> ServiceConfig:
    """The settings of `environment`, and the defaults of all others.

    `environment`: such as ``os.environ``; an empty variable counts as not set. `**options`: parsed
    options of a command line; they override the environment unless they are None.

    Raises ConfigurationError if a variable is invalid, or its name is a misspelling of one.

    >>> load_config({"SHORTWAY_PORT": "8080"}, host="::1", workers=None).port
    8080
    >>> load_config({"SHORTWAY_OPEN": "yes"})
    Traceback (most recent call last):
        ...
    shortway.config.ConfigurationError: SHORTWAY_OPEN is 'yes'; expected: 0 or 1
    """
    _reject_misspellings(environment)
    given: dict[str, Any] = {k: v for k, v in options.items() if v is not None}
    for name, variable in variables():
        if name not in given and (value := _given(environment, name, variable)) is not None:
            given[name] = value
    return ServiceConfig(**given)


def load_setting(environment: Mapping[str, str], name: str) -> Any:
    """One setting, read and refused as by `load_config`; no other variable matters.

    >>> load_setting({"SHORTWAY_CACHE_MB": "96", "SHORTWAY_PORT": "none"}, "cache_mb")
    96
    """
    given = _given(environment, name, dict(variables())[name])
    return getattr(ServiceConfig(), name) if given is None else given


def _given(environment: Mapping[str, str], name: str, variable: Variable) -> Any:
    """The value of a variable; None where it is not set."""
    text = environment.get(variable_name(name), "").strip()
    return _parse(name, variable, text) if text else None


def _reject_misspellings(environment: Mapping[str, str]) -> None:
    """A misspelled SHORTWAY_TOKENS_FILE must not leave the service open without an error."""
    known = {name.upper() for name, _ in variables()}
    for name in environment:
        given = name.removeprefix(PREFIX)
        if given != name and given not in known and given not in _OPTIONS:
            for meant in get_close_matches(given, known, 1, _CLOSE):
                raise ConfigurationError(f"{name} is no setting; expected: {PREFIX}{meant}")


def _parse(name: str, variable: Variable, text: str) -> Any:
    try:
        return variable.field.deserialize(text)
    except ma.ValidationError as error:
        shown = "(not shown)" if "@" in text or "password" in text else repr(text[:_SHOWN])
        message = f"{variable_name(name)} is {shown}; expected: {error.messages[0]}"
        raise ConfigurationError(message) from None


def flask_config(config: ServiceConfig) -> dict[str, Any]:
    """The settings under their names in the application's ``config``."""
    return {name.upper(): getattr(config, name) for name, _ in variables()}


def describe_config(config: ServiceConfig) -> Iterator[str]:
    """A line for each setting: its variable, value and description, without passwords.

    >>> next(describe_config(load_config({}))).split()
    ['SHORTWAY_HOST=127.0.0.1', 'address', 'to', 'listen', 'on']
    """
    default = ServiceConfig()
    for name, variable in variables():
        value = getattr(config, name)
        unit = f" ({variable.unit})" if variable.unit else ""
        mark = "" if value == getattr(default, name) else "; set here"
        yield f"{variable_name(name) + '=' + _as_text(value):<36}  {variable.about}{unit}{mark}"
