"""Tokens: generated, stored as digests in a file, looked up.

Knows files, nothing of HTTP. A token is 256 random bits, so that its SHA-256 needs neither salt nor
a slow hash, which protect passwords. A line of the file is ``name sha256:HEX``; a name may have
several lines, so that a new token is accepted before the old one is removed.
"""

from __future__ import annotations

import fcntl
import logging
import os
import re
import secrets
from collections import defaultdict
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from hashlib import sha256
from hmac import compare_digest
from tempfile import TemporaryFile
from threading import Lock
from typing import Final

from shortway.config import ConfigurationError

#: The prefix of every token, by which people and secret scanners recognize one.
MARK: Final = "shortway_"
BYTES: Final = 32
NAME: Final = re.compile(r"[A-Za-z0-9][A-Za-z0-9._-]{0,63}")
_DIGEST: Final = re.compile(r"sha256:([0-9a-f]{64})")
#: Bytes of the largest file that is read.
_MOST: Final = 1024 * 1024

_log = logging.getLogger(__name__)


class TokenFileError(ConfigurationError):
    """A token file that cannot be read: the line, and no digest."""


@dataclass(frozen=True, slots=True)
class TokenEntry:
    """A token's owner and digest."""

    name: str
    digest: bytes


def generate_token() -> str:
    """A new token.

    >>> len(generate_token()), generate_token() == generate_token()
    (52, False)
    """
    return MARK + secrets.token_urlsafe(BYTES)


def token_line(name: str, token: str) -> str:
    """The line of the file for `token`.

    >>> token_line("phone-app", "shortway_x")[:22]
    'phone-app sha256:95fce'
    """
    return f"{name} sha256:{sha256(token.encode()).hexdigest()}"


def parse_tokens(text: str) -> tuple[TokenEntry, ...]:
    """The entries of a file; blank lines and comments after ``#`` are skipped.

    Raises TokenFileError if a line is malformed, or there is no token.
    """
    lines = ((k, each.partition("#")[0].split()) for k, each in enumerate(text.splitlines(), 1))
    found = tuple(_entry(number, words) for number, words in lines if words)
    if not found:
        raise TokenFileError("it has no token; `shortway token NAME` makes one")
    return found


def _entry(number: int, words: list[str]) -> TokenEntry:
    digest = _DIGEST.fullmatch(words[-1])
    if len(words) != 2 or digest is None or not NAME.fullmatch(words[0]):
        raise TokenFileError(f"line {number} is not: a name, a space, sha256: and 64 hex digits")
    return TokenEntry(words[0], bytes.fromhex(digest[1]))


class _LastGood:
    """The text of the last token file that could be read, for this process and all forked later.

    A worker that begins while the file is broken must not accept what was revoked since the first
    process began.
    """

    def __init__(self) -> None:
        with TemporaryFile() as file:
            self._file = os.dup(file.fileno())  # as long as the process lives
        self._thread = Lock()

    @contextmanager
    def held(self) -> Iterator[None]:
        """Exclude other threads and processes."""
        with self._thread:
            fcntl.lockf(self._file, fcntl.LOCK_EX)
            try:
                yield
            finally:
                fcntl.lockf(self._file, fcntl.LOCK_UN)

    def put(self, text: str) -> None:
        os.ftruncate(self._file, 0)
        os.pwrite(self._file, text.encode(), 0)

    def get(self) -> str:
        return os.pread(self._file, _MOST, 0).decode()


_last_good: defaultdict[str, _LastGood] = defaultdict(_LastGood)


class TokenStore:
    """The tokens of a file, which is read again when it changes.

    A changed file that cannot be read, or has no token, is logged and ignored: a partly written
    file must not lock every client out. The last good file rules all processes.

    Raises TokenFileError if the file cannot be read at the start.
    """

    def __init__(self, path: str) -> None:
        self._path = path
        self._entries: tuple[TokenEntry, ...] = ()
        self._seen: _Mark = None
        self._read()

    def owner(self, token: str) -> str | None:
        """The name that `token` belongs to; all digests are compared, each in constant time."""
        self._refresh()
        digest = sha256(token.encode()).digest()
        found = [entry.name for entry in self._entries if compare_digest(entry.digest, digest)]
        return found[0] if found else None

    def _refresh(self) -> None:
        if _mark(self._path) == self._seen:
            return
        self._read()

    def _read(self) -> None:
        good = _last_good[self._path]
        with good.held():
            now = _mark(self._path)
            try:
                text, now = _load(self._path)
                good.put(text)
            except TokenFileError as error:
                if not good.get():
                    raise
                _log.error("the changed token file is ignored: %s", error)
            self._entries, self._seen = parse_tokens(good.get()), now
        _log.info("%d tokens", len(self._entries))


_Mark = tuple[int, ...] | None


def _mark(path: str | int) -> _Mark:
    """What changes when the file does; None where there is no file."""
    try:
        found = os.stat(path)
    except OSError:
        return None
    return found.st_dev, found.st_ino, found.st_mtime_ns, found.st_size


def _load(path: str) -> tuple[str, _Mark]:
    """The text of the file, which can be parsed, and its mark, taken before it is read."""
    try:
        with open(path, "rb") as file:
            mark = _mark(file.fileno())
            if mark is not None and mark[-1] > _MOST:
                raise TokenFileError(f"it is larger than {_MOST:,} bytes")
            text = file.read(_MOST).decode()
        parse_tokens(text)
        return text, mark
    except (OSError, UnicodeDecodeError) as error:
        said = error.strerror if isinstance(error, OSError) else "not UTF-8"
        raise TokenFileError(f"SHORTWAY_TOKENS_FILE, {path}: {said}") from None
    except TokenFileError as error:
        raise TokenFileError(f"SHORTWAY_TOKENS_FILE, {path}: {error}") from None
