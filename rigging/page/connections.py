"""What a connection may cost: one that says nothing is closed soon, and nobody may hold more than a share of them.

Needs no code to be let in: it stands before the code, so that whoever is on the network cannot shut the phones out by
opening connections and saying nothing.
"""

from __future__ import annotations

import asyncio
from collections import Counter
from typing import Any

from uvicorn.protocols.http.h11_impl import H11Protocol

HEAD_S = 10.0
"""Time that a request's head may take, from the opening of the connection, seconds; an idle one is closed then."""
MOST_OF_ONE = 24
"""Connections that one address may hold: a browser opens six, of a few pages."""
MOST = 400
"""Connections in all, well below the 1024 files that a process may commonly have open."""

_held: Counter[str] = Counter()


class Patience(H11Protocol):
    """Uvicorn's HTTP protocol with these limits."""

    _who = ""
    _late: asyncio.TimerHandle | None = None

    def connection_made(self, transport: Any) -> None:
        """Count the connection; turn it away where its address has too many."""
        peer = transport.get_extra_info("peername")
        who = str(peer[0]) if peer else ""
        if _held[who] >= MOST_OF_ONE or _held.total() >= MOST:
            transport.abort()
            return
        self._who = who
        _held[who] += 1
        super().connection_made(transport)
        self._late = self.loop.call_later(HEAD_S, self._ask_for_head)

    def connection_lost(self, exc: Exception | None) -> None:
        """Count it no more."""
        if self._late is None:  # it was turned away
            return
        self._late.cancel()
        _held[self._who] -= 1
        if not _held[self._who]:
            del _held[self._who]
        super().connection_lost(exc)

    def _ask_for_head(self) -> None:
        if self.cycle is None and not self.transport.is_closing():
            self.transport.abort()
