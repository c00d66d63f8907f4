"""Who may come in: a code that works once, few tries, and then a session.

The code has 10 characters of 31, close to 50 bits; five wrong ones lock the door until the server is started
anew, so guessing wins with a chance of 5 in 8 * 10**14.
"""

from __future__ import annotations

import secrets
import threading
from collections.abc import Callable

ALPHABET = "ABCDEFGHJKMNPQRSTUVWXYZ23456789"
LENGTH = 10
TRIES = 5
MOST_SESSIONS = 16


class Gate:
    """The door of a server. needed : False lets everyone in (a server on this computer alone).

    tell : called with each new code; the first when the gate is made, the next when one was used.
    """

    def __init__(self, needed: bool, tell: Callable[[str], None] = lambda _code: None) -> None:
        self.needed = needed
        self._tell = tell
        self._wrong = 0
        self._sessions: list[str] = []
        self._lock = threading.Lock()
        self._code = ""
        if needed:
            self._renew()

    @property
    def locked(self) -> bool:
        """Whether too many wrong codes were tried."""
        return self._wrong >= TRIES

    def enter(self, code: str) -> str | None:
        """A session's token for the right code, which is then spent; None for a wrong one or a locked gate."""
        given = "".join(code.split()).upper().replace("-", "")
        with self._lock:
            if not self.needed or self.locked:
                return None
            if not secrets.compare_digest(given.encode("utf-8", "replace"), self._code.encode()):
                self._wrong += 1
                return None
            self._wrong = 0
            token = secrets.token_urlsafe(32)
            self._sessions = [*self._sessions, token][-MOST_SESSIONS:]
            self._renew()
            return token

    def knows(self, token: str) -> bool:
        """Whether a request with this token may pass."""
        if not self.needed:
            return True
        given = token.encode("utf-8", "replace")
        return any(secrets.compare_digest(given, s.encode()) for s in self._sessions)

    def _renew(self) -> None:
        self._code = "".join(secrets.choice(ALPHABET) for _ in range(LENGTH))
        self._tell(self._code)
