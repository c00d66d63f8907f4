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
from rigging.batch.run import without_overlay
from rigging.batch.store import OVERLAYS, Store, fingerprint, reading_key
from rigging.batch.worker import DRAWER, READER, Outcome, Plan, Task, refused
from rigging.page.bench import Bench, Entry
from rigging.page.drift import DriftCheck
from rigging.page.worker import Died, TooLong, call_within, measured, upright_jpeg
from shared.errors import UserError
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
        self._job_bytes = job_file.read_bytes()
        self.context = worker_context(self.plan)
        self.keeping = threading.Lock()
        self._lock = threading.Lock()
        self._under_way: set[str] = set()
        self._loose: dict[str, dict[str, Any]] = {}
        self._kept: dict[str, dict[str, Any]] = {}
        self._unsaved: dict[str, Outcome] = {}
        self._refused: dict[Entry, dict[str, Any]] = {}
        self._readers = ThreadPoolExecutor(workers or available_cores(), "reader")
        self._painter = ThreadPoolExecutor(1, "painter")

    def start(self) -> None:
        """Read every photo on the bench that has no reading yet, and keep what could not be kept before."""
        self._save()
        for entry in self.bench.entries():
            self.read(entry)

    @property
    def unsaved(self) -> int:
        """How many readings wait for room on the disk. They count all the same."""
        return len(self._unsaved)

    @property
    def job_changed(self) -> bool:
        """Whether the job's file is no longer what this desk works by."""
        try:
            return self.job_file.read_bytes() != self._job_bytes
        except OSError:
            return True

    def close(self) -> None:
        """Take no more work; returns when what is under way has ended."""
        self._readers.shutdown(wait=True, cancel_futures=True)
        self._painter.shutdown(wait=True, cancel_futures=True)

    def read(self, entry: Entry) -> None:
        """Have a photo read, unless it is or is about to be, or its hints cannot be used."""
        if entry.problem is not None:
            return
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
            return [Seen(e, self._unhinted(e) if e.problem else self._tree(self._key(e))) for e in entries]

    def overlay(self, ident: str) -> Path | None:
        """The annotated picture of a photo."""
        entry = self.bench.entry(ident)
        if entry is None:
            return None
        with self._lock:
            tree = None if entry.problem else self._tree(self._key(entry))
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

    def _unhinted(self, entry: Entry) -> dict[str, Any]:
        """A photo whose hints cannot be used: it is not read as if there were none."""
        found = self._refused.get(entry)
        if found is None:
            reason = f"{entry.problem}; or take the hints back"
            found = self._refused[entry] = to_tree(refused(entry.path.name, reason, entry.sha256))
        return found

    def _read(self, entry: Entry, key: str) -> None:
        try:
            outcome = self._outcome(entry)
            tree = msgspec.json.decode(outcome.body, type=dict[str, Any])
            with self._lock:
                if outcome.keep and outcome.key == key:
                    self._unsaved[key], self._loose[key] = outcome, without_overlay(tree)
                else:
                    self._loose[key] = without_overlay(tree)
            self._save()
        except Exception as error:  # a fault of ours on one photo must not end the readers
            with self._lock:
                self._loose[key] = to_tree(refused(entry.path.name, f"a fault of the tool: {error}", entry.sha256))
        finally:
            with self._lock:
                self._under_way.discard(key)
            self.told()

    def _save(self) -> None:
        """Write what was read and is not on the disk yet; what cannot be written (a full disk) stays and counts."""
        with self._lock:
            for key, outcome in list(self._unsaved.items()):
                try:
                    self.store.put(key, outcome.body, outcome.overlay, outcome.overlay_path)
                except UserError:
                    return
                del self._unsaved[key], self._loose[key]

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
