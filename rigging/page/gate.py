"""Who may come in: a code that works once, few tries, and then a session.

The code has 10 characters of 31, close to 50 bits. Five wrong ones in a row lock the door for a minute and make a new
code: guessing all day wins with a chance of 7200 in 8 * 10**14, and nobody can keep the shop's own phones out for
longer than that without the terminal saying so.
"""

from __future__ import annotations

import secrets
import threading
import time
from collections.abc import Callable

ALPHABET = "ABCDEFGHJKMNPQRSTUVWXYZ23456789"
LENGTH = 10
TRIES = 5
LOCKED_S = 60.0
"""How long the door stays locked after so many wrong codes, seconds."""
MOST_SESSIONS = 16


class Gate:
    """The door of a server. needed : False lets everyone in (a server on this computer alone).

    tell : called with each new code; the first when the gate is made, the next when one was used or the door locked.
    warn : called with a line when a wrong code was tried. clock : seconds, for how long the door is locked.
    """

    def __init__(
        self,
        needed: bool,
        tell: Callable[[str], None] = lambda _code: None,
        warn: Callable[[str], None] = lambda _line: None,
        clock: Callable[[], float] = time.monotonic,
    ) -> None:
        self.needed = needed
        self._tell, self._warn, self._clock = tell, warn, clock
        self._wrong = 0
        self._locked_until = float("-inf")
        self._sessions: list[str] = []
        self._lock = threading.Lock()
        self._code = ""
        if needed:
            self._renew()

    @property
    def locked(self) -> bool:
        """Whether too many wrong codes were tried just now."""
        return self._clock() < self._locked_until

    def enter(self, code: str, who: str = "somebody") -> str | None:
        """A session's token for the right code, which is then spent; None for a wrong one or a locked gate.

        who : the address it came from, for the terminal.
        """
        given = "".join(code.split()).upper().replace("-", "")
        with self._lock:
            if not self.needed or self.locked:
                return None
            if not secrets.compare_digest(given.encode("utf-8", "replace"), self._code.encode()):
                self._count(who)
                return None
            self._wrong = 0
            token = secrets.token_urlsafe(32)
            self._sessions = [*self._sessions, token][-MOST_SESSIONS:]
            self._renew()
            return token

    def _count(self, who: str) -> None:
        """One more wrong code, told on the terminal; after too many a new code and a locked door."""
        self._wrong += 1
        if self._wrong < TRIES:
            self._warn(f"A wrong code came from {who} ({self._wrong} of {TRIES} before the door locks for a minute).")
            return
        self._wrong, self._locked_until = 0, self._clock() + LOCKED_S
        self._warn(f"{TRIES} wrong codes, the last from {who}: nobody new is let in for a minute; then the next code.")
        self._renew()

    def knows(self, token: str) -> bool:
        """Whether a request with this token may pass."""
        if not self.needed:
            return True
        given = token.encode("utf-8", "replace")
        return any(secrets.compare_digest(given, s.encode()) for s in self._sessions)

    def _renew(self) -> None:
        self._code = "".join(secrets.choice(ALPHABET) for _ in range(LENGTH))
        self._tell(self._code)
