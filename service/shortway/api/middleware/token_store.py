"""Tokens of those who may ask: made, kept as digests in a file, looked up.

Knows files, nothing of HTTP. A token is 256 random bits, so that its plain
SHA-256 tells nobody anything and needs neither salt nor a slow hash, which exist for what people
think up. A line of the file is ``name sha256:HEX``; one name may stand on several, so that a new
token is there before the old one goes.
"""

from __future__ import annotations

import logging
import os
import re
import secrets
from dataclasses import dataclass
from hashlib import sha256
from hmac import compare_digest
from typing import Final

from shortway.config import ConfigurationError

#: What every token begins with, so that people and scanners know one where it should not be.
MARK: Final = "shortway_"
BYTES: Final = 32
NAME: Final = re.compile(r"[A-Za-z0-9][A-Za-z0-9._-]{0,63}")
_DIGEST: Final = re.compile(r"sha256:([0-9a-f]{64})")
#: The largest file that is read.
_MOST: Final = 1024 * 1024

_log = logging.getLogger(__name__)


class TokenFileError(ConfigurationError):
    """A file of tokens that cannot be read; says which line, and no digest."""


@dataclass(frozen=True, slots=True)
class TokenEntry:
    """Whose token has which digest."""

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
    """The entries of a file; blank lines and what follows ``#`` are passed over.

    Raises
    ------
    TokenFileError
        If a line is none, or there is no token at all.
    """
    lines = ((k, each.partition("#")[0].split()) for k, each in enumerate(text.splitlines(), 1))
    found = tuple(_entry(number, words) for number, words in lines if words)
    if not found:
        raise TokenFileError("it holds no token; `shortway token NAME` makes one")
    return found


def _entry(number: int, words: list[str]) -> TokenEntry:
    digest = _DIGEST.fullmatch(words[-1])
    if len(words) != 2 or digest is None or not NAME.fullmatch(words[0]):
        raise TokenFileError(f"line {number} is not: a name, a blank, sha256: and 64 hex digits")
    return TokenEntry(words[0], bytes.fromhex(digest[1]))


class TokenStore:
    """The tokens of a file, read again when the file changes.

    A new file that cannot be read, or holds none, changes nothing and is logged once: a file half
    written must not shut everybody out.

    Raises
    ------
    TokenFileError
        If the file cannot be read at the start.
    """

    def __init__(self, path: str) -> None:
        self._path = path
        self._entries, self._seen = _load(path)

    def owner(self, token: str) -> str | None:
        """The name that `token` belongs to; all are compared, each in constant time."""
        self._refresh()
        digest = sha256(token.encode()).digest()
        found = [entry.name for entry in self._entries if compare_digest(entry.digest, digest)]
        return found[0] if found else None

    def _refresh(self) -> None:
        if (now := _mark(self._path)) == self._seen:
            return
        try:
            self._entries, self._seen = _load(self._path)
            _log.info("tokens read again: %d", len(self._entries))
        except TokenFileError as error:
            self._seen = now
            _log.error("the tokens stay as they were: %s", error)


_Mark = tuple[int, ...] | None


def _mark(path: str | int) -> _Mark:
    """What changes when the file does; None where there is none."""
    try:
        found = os.stat(path)
    except OSError:
        return None
    return found.st_dev, found.st_ino, found.st_mtime_ns, found.st_size


def _load(path: str) -> tuple[tuple[TokenEntry, ...], _Mark]:
    """The entries, and the mark of what was read: taken before, so that nothing later is missed."""
    try:
        with open(path, "rb") as file:
            mark = _mark(file.fileno())
            if mark is not None and mark[-1] > _MOST:
                raise TokenFileError(f"it is larger than {_MOST:,} bytes")
            return parse_tokens(file.read(_MOST).decode()), mark
    except (OSError, UnicodeDecodeError) as error:
        said = error.strerror if isinstance(error, OSError) else "not UTF-8"
        raise TokenFileError(f"SHORTWAY_TOKENS_FILE, {path}: {said}") from None
    except TokenFileError as error:
        raise TokenFileError(f"SHORTWAY_TOKENS_FILE, {path}: {error}") from None
