"""Lets browsers in that have the address with its token, or type the code of the terminal."""

from __future__ import annotations

import secrets
import threading

MOST_TRIES = 5
"""Wrong codes; then no further browser is let in until the program is started anew. With the 10^8
codes a guest of the network guesses right with probability 5e-8."""
MOST_BROWSERS = 20
_DIGITS = 8


class Door:
    """Keys of browsers that were let in. Tokens and codes let in one browser each.

    Parameters
    ----------
    pairs : bool
        Whether a code lets in as well.
    """

    def __init__(self, pairs: bool = False) -> None:
        self.pairs = pairs
        self.wrong = 0
        self.token = secrets.token_urlsafe(24)
        self.code = _new_code()
        self._keys: list[str] = []
        self._lock = threading.Lock()

    @property
    def is_shut(self) -> bool:
        """Whether too many codes were wrong."""
        return self.wrong >= MOST_TRIES

    def enter(self, token: str) -> str | None:
        """The key for a browser that has the token, which is then another; else None."""
        with self._lock:
            if not _same(token, self.token):
                return None
            self.token = secrets.token_urlsafe(24)
            return self._key()

    def pair(self, code: str) -> str | None:
        """The key for a browser whose reader typed the code, which is then another; else None."""
        typed = "".join(code.split())
        with self._lock:
            if not self.pairs or self.is_shut:
                return None
            if not _same(typed, self.code):
                self.wrong += 1
                return None
            self.code = _new_code()
            return self._key()

    def knows(self, key: str) -> bool:
        """Whether a browser was let in with this key."""
        with self._lock:
            return any([_same(key, one) for one in self._keys])

    def _key(self) -> str:
        key = secrets.token_urlsafe(32)
        self._keys = [*self._keys, key][-MOST_BROWSERS:]
        return key


def _new_code() -> str:
    return f"{secrets.randbelow(10**_DIGITS):0{_DIGITS}d}"


def _same(one: str, other: str) -> bool:
    # In constant time; bytes, for text may hold what is not ASCII.
    return secrets.compare_digest(one.encode(), other.encode())
