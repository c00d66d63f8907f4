"""How things stand, worked out once for all phones whenever something has changed, and pushed to them.

What has changed is asked of what the answer is made from (photos, hints, readings, notes, the job's files), so that
nothing old is ever taken for new, whoever wrote it: the page, a watched folder, a person with an editor.
"""

from __future__ import annotations

import asyncio
import hashlib
import threading
import time
from collections.abc import AsyncIterator
from pathlib import Path
from typing import Any

import msgspec

from rigging.page.desk import Desk
from rigging.page.live import page_tree
from rigging.page.view import Readings, Standing, standing, tree_of
from shared.errors import UserError

LOOK_S = 1.0
"""How often the bench is looked at when nobody says that something changed."""
BEAT_S = 4.0
"""How often a phone hears from the server at least; it counts what is shown as old after three of these."""


class Board:
    """The state of one desk's bench as JSON, its version a digest of it. `start` begins to look, `close` ends it."""

    def __init__(self, desk: Desk) -> None:
        self.desk = desk
        self._made = Readings()
        self._lock = threading.Lock()
        self._from: object = None
        self._standing: Standing | None = None
        self._body, self._version = b"", ""
        self._changed = threading.Event()
        self._closed = False
        self._listeners: dict[asyncio.Event, asyncio.AbstractEventLoop] = {}
        self._thread = threading.Thread(target=self._look, name="board", daemon=True)

    def start(self) -> None:
        """Look at the bench from now on."""
        self.desk.told = self._changed.set
        self._thread.start()

    def close(self) -> None:
        """Look no more, and let every phone go."""
        self._closed = True
        self._changed.set()
        if self._thread.is_alive():
            self._thread.join()
        self._wake()

    def touch(self) -> None:
        """Something has changed: look now."""
        self._changed.set()

    def state(self) -> tuple[str, bytes]:
        """Version and body of how things stand at this moment."""
        with self._lock:
            self._bring_up_to_date()
            return self._version, self._body

    def standing(self) -> Standing:
        """How things stand at this moment. Raises UserError where that cannot be told."""
        with self._lock:
            self._bring_up_to_date()
            if self._standing is None:
                raise UserError("the bench", "cannot be judged now", "see what the page says is wrong")
            return self._standing

    async def pushed(self) -> AsyncIterator[bytes]:
        """Server-sent events: the state at once and whenever it has changed, a beat in between. `now`: the server's clock,
        seconds since the epoch."""
        bell, told = asyncio.Event(), ""
        self._listeners[bell] = asyncio.get_running_loop()
        try:
            while not self._closed:
                bell.clear()
                version, body = await asyncio.to_thread(self.state)
                if version != told:
                    told = version
                    yield b"event: state\ndata: " + body + b"\n\n"
                yield b'event: beat\ndata: {"now": %.3f}\n\n' % time.time()
                try:
                    await asyncio.wait_for(bell.wait(), BEAT_S)
                except TimeoutError:
                    continue
        finally:
            del self._listeners[bell]

    def _look(self) -> None:
        while not self._closed:
            self._changed.wait(LOOK_S)
            self._changed.clear()
            try:
                self.desk.start()  # what a person put there, or took back, is read as well
                with self._lock:
                    before = self._version
                    self._bring_up_to_date()
                    changed = self._version != before
            except (OSError, RuntimeError):  # a folder taken away, or readers that close: told by the next state
                continue
            if changed:
                self._wake()

    def _wake(self) -> None:
        for bell, loop in list(self._listeners.items()):
            if not loop.is_closed():
                loop.call_soon_threadsafe(bell.set)

    def _bring_up_to_date(self) -> None:
        try:
            source = self._source()
            if source == self._from and self._body:
                return
            self._standing = standing(self.desk, self._made)
            tree = tree_of(self._standing)
            self._from = source
        except (UserError, OSError) as error:
            self._standing, self._from = None, None
            tree = {"problem": f"How things stand cannot be told: {error}", "stations": None}
        tree["live"] = page_tree(self.desk.bench.folder, time.time())
        self._body = msgspec.json.encode(tree)
        self._version = hashlib.sha256(self._body).hexdigest()[:16]

    def _source(self) -> object:
        """All that the state is made from, to be compared."""
        job, shop = self.desk.job, self.desk.bench.folder
        files: list[Path] = [self.desk.job_file, shop / "notes.json", shop / "live.json"]
        files += [job.folder / n for n in (job.gauge.readings, job.gauge.profile, job.level.profile) if n is not None]
        live = page_tree(shop, time.time())
        silent: Any = None if live is None else live.get("silent_s")
        seen = [(s.entry, _Same(s.tree)) for s in self.desk.seen()]
        return seen, [_stamp(f) for f in files], self.desk.unsaved, silent


class _Same:
    """A tree, equal to itself alone; held, so that no other takes its place in memory."""

    def __init__(self, tree: dict[str, Any] | None) -> None:
        self.tree = tree

    def __eq__(self, other: object) -> bool:
        return isinstance(other, _Same) and self.tree is other.tree

    __hash__ = None  # type: ignore[assignment]


def _stamp(path: Path) -> tuple[int, int] | None:
    try:
        stat = path.stat()
    except OSError:
        return None
    return stat.st_mtime_ns, stat.st_size
