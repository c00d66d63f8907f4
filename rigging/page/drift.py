"""What the bench's photos together say of lens, print and level: the batch's own check, made anew when one came in."""

from __future__ import annotations

import threading
from collections.abc import Sequence
from typing import Any

from rigging.batch.drift import BatchDrift, BatchWatch
from shared.job.model import Job


class DriftCheck:
    """Keeps the last check, as the page asks far more often than photos arrive. Safe for several threads."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._last: tuple[list[dict[str, Any]], BatchDrift] | None = None

    def of(self, job: Job, trees: Sequence[dict[str, Any]]) -> BatchDrift:
        """Hold the readings' trees against the profiles they were made with (see `BatchWatch.check`).

        Raises UserError for a profile that cannot be used.
        """
        with self._lock:
            if self._last is not None and len(trees) == len(self._last[0]) and all(map(_same, trees, self._last[0])):
                return self._last[1]
            watch = BatchWatch()
            for tree in trees:
                watch.see(tree)
            found = watch.check(job)
            self._last = list(trees), found
            return found


def _same(a: object, b: object) -> bool:
    return a is b
