"""Reads the bench's photos one by one in worker processes, and keeps what came out beside them."""

from __future__ import annotations

import threading
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import msgspec

from rigging.batch.pool import available_cores, crashed, worker_context
from rigging.batch.readings_file import to_tree
from rigging.batch.store import OVERLAYS, Store, fingerprint, reading_key
from rigging.batch.worker import DRAWER, READER, Outcome, Plan, Task, refused
from rigging.page.bench import Bench, Entry
from rigging.page.drift import DriftCheck
from rigging.page.worker import Died, TooLong, call_within, measured, upright_jpeg
from shared.job.file import load_job

LIMIT_S = 60.0
"""Time that one photo may take, seconds."""


@dataclass(frozen=True)
class Seen:
    """A photo and its reading's tree; None while it waits or is being read."""

    entry: Entry
    tree: dict[str, Any] | None


class Desk:
    """One job's readings. `start` takes up what is not read yet; `close` lets the work at hand end.

    Two desks on one bench (a server and a watched folder) see each other's readings.
    """

    def __init__(
        self,
        job_file: Path,
        *,
        reader: str = READER,
        drawer: str = DRAWER,
        workers: int | None = None,
        limit_s: float = LIMIT_S,
    ) -> None:
        self.job_file = job_file
        job = load_job(job_file)
        self.job = replace(job, folder=job.folder.resolve())
        self.bench = Bench(job_file)
        self.plan = Plan(self.job, fingerprint(self.job, (OVERLAYS,)), reader, drawer)
        self.store = Store(self.bench.folder / "readings", self.plan.made_from)
        self.store.make_folders()
        self.limit_s = limit_s
        self.drift = DriftCheck()
        self.told: Callable[[], None] = lambda: None
        self.context = worker_context(self.plan)
        self._lock = threading.Lock()
        self._under_way: set[str] = set()
        self._loose: dict[str, dict[str, Any]] = {}
        self._kept: dict[str, dict[str, Any]] = {}
        self._readers = ThreadPoolExecutor(workers or available_cores(), "reader")
        self._painter = ThreadPoolExecutor(1, "painter")

    def start(self) -> None:
        """Read every photo on the bench that has no reading yet."""
        for entry in self.bench.entries():
            self.read(entry)

    def close(self) -> None:
        """Take no more work; returns when what is under way has ended."""
        self._readers.shutdown(wait=True, cancel_futures=True)
        self._painter.shutdown(wait=True, cancel_futures=True)

    def read(self, entry: Entry) -> None:
        """Have a photo read, unless it is or is about to be."""
        key = self._key(entry)
        with self._lock:
            if key in self._under_way or self._tree(key) is not None:
                return
            self._under_way.add(key)
        self._readers.submit(self._read, entry, key)

    def seen(self) -> list[Seen]:
        """Every photo with its reading, in the order of arrival."""
        entries = self.bench.entries()
        with self._lock:
            return [Seen(e, self._tree(self._key(e))) for e in entries]

    def overlay(self, ident: str) -> Path | None:
        """The annotated picture of a photo."""
        entry = self.bench.entry(ident)
        if entry is None:
            return None
        with self._lock:
            tree = self._tree(self._key(entry))
        return self.store.folder / tree["overlay"] if tree and tree["overlay"] else None

    def picture(self, ident: str) -> bytes | None:
        """The photo upright as JPEG; None where there is none or it cannot be decoded in time."""
        entry = self.bench.entry(ident)
        if entry is None:
            return None
        try:
            work = self._painter.submit(call_within, self.limit_s, self.context, upright_jpeg, str(entry.path))
            return work.result()
        except (TooLong, Died):
            return None

    def _key(self, entry: Entry) -> str:
        return reading_key(entry.sha256, _task(entry).keyed, self.plan.made_from)

    def _tree(self, key: str) -> dict[str, Any] | None:
        found = self._loose.get(key) or self._kept.get(key)
        if found is None:
            found = self.store.get(key)
            if found is not None:
                self._kept[key] = found
        return found

    def _read(self, entry: Entry, key: str) -> None:
        try:
            outcome = self._outcome(entry)
            tree = msgspec.json.decode(outcome.body, type=dict[str, Any])
            with self._lock:
                if outcome.keep and outcome.key == key:
                    self.store.put(key, outcome.body, outcome.overlay, outcome.overlay_path)
                else:
                    self._loose[key] = {**tree, "overlay": None}
        except Exception as error:  # the disk may be full; the page must say so and go on
            with self._lock:
                self._loose[key] = to_tree(refused(entry.path.name, f"could not be kept: {error}", entry.sha256))
        finally:
            with self._lock:
                self._under_way.discard(key)
            self.told()

    def _outcome(self, entry: Entry) -> Outcome:
        task = _task(entry)
        try:
            outcome = call_within(self.limit_s, self.context, measured, task, self.plan)
        except Died:
            return crashed(task)
        except TooLong:
            return _without_value(entry, f"reading it took longer than {self.limit_s:.0f} s and was stopped")
        if outcome.mistake is not None:
            return _without_value(entry, ": ".join(outcome.mistake[:2]) + f"; {outcome.mistake[2]}")
        return outcome


def _task(entry: Entry) -> Task:
    return Task(str(entry.path), entry.path.name, entry.hints)


def _without_value(entry: Entry, reason: str) -> Outcome:
    body = msgspec.json.encode(to_tree(refused(entry.path.name, reason, entry.sha256)))
    return Outcome(str(entry.path), "", body, None, "", False)
