"""A pool of worker processes that outlives what a photo may do to one of them.

The standard library's pool, with: a bounded number of photos under way (memory stays flat), workers that
cannot hold up Ctrl-C nor outlive the batch, and, when a worker dies or a photo takes too long, the photos
that were under way tried again one at a time, so that the guilty one is named and the others are measured.
"""

from __future__ import annotations

import multiprocessing
import os
import signal
import sys
import threading
import time
from collections.abc import Generator, Iterable, Iterator
from concurrent.futures import FIRST_COMPLETED, Future, ProcessPoolExecutor, wait
from concurrent.futures.process import BrokenProcessPool
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from rigging.batch.worker import DRAWER, READER, Outcome, Plan, Task, measure_in_time, refused, start_worker

_ONE_THREAD = ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS", "VECLIB_MAXIMUM_THREADS")

_FORKS = sys.platform.startswith("linux")
_PRELOAD = ("vision.image.photo", "rigging.batch.worker", "rigging.batch.store", "rigging.batch.readings_file")


def available_cores() -> int:
    """Cores that this process may use."""
    if hasattr(os, "sched_getaffinity"):
        return len(os.sched_getaffinity(0))
    return os.cpu_count() or 1


def run_pool(tasks: Iterable[Task], plan: Plan, workers: int) -> Generator[Outcome, None, None]:
    """Outcomes of all tasks, in the order they are done.

    workers : processes, at least 1. Closing the iterator, or Ctrl-C, ends them after the photo at hand.
    """
    pending = iter(tasks)
    suspects: list[Task] = []
    while True:
        lost: list[Task] = []
        yield from _run(pending, plan, workers, lost)
        if not lost:
            return
        suspects += lost
        while suspects:
            yield from alone(suspects.pop(0), plan)


def _run(tasks: Iterator[Task], plan: Plan, workers: int, lost: list[Task]) -> Generator[Outcome, None, None]:
    """Run until all is done or a worker dies; then `lost` holds the tasks that were under way."""
    pool = _pool(workers, plan)
    under_way: dict[Future[Outcome], Task] = {}
    try:
        for task in tasks:
            try:
                with _ctrl_c_afterwards(), _no_script_to_read_again():  # not while a worker is being started
                    under_way[pool.submit(measure_in_time, task, plan)] = task
            except BrokenProcessPool:
                lost.append(task)
                break
            if len(under_way) >= 2 * workers:
                yield from _done(under_way, lost)
                if lost:
                    break
        while under_way:
            yield from _done(under_way, lost)
    finally:
        pool.shutdown(wait=True, cancel_futures=True)


def _done(under_way: dict[Future[Outcome], Task], lost: list[Task]) -> Generator[Outcome, None, None]:
    """Wait for at least one and hand over what is done."""
    done, _ = wait(under_way, return_when=FIRST_COMPLETED)
    for future in done:
        task = under_way.pop(future)
        try:
            yield future.result()
        except BrokenProcessPool:
            lost.append(task)


def alone(task: Task, plan: Plan) -> Generator[Outcome, None, None]:
    """One task in a process of its own; a refusal if it kills that too, or takes longer than the plan allows."""
    with _pool(1, plan) as pool:
        start = time.monotonic()
        try:
            with _ctrl_c_afterwards(), _no_script_to_read_again():
                future = pool.submit(measure_in_time, task, plan)
            yield future.result()
        except BrokenProcessPool:
            late = 0 < plan.seconds <= time.monotonic() - start
            yield crashed(task, TOO_LONG.format(plan.seconds) if late else DIED)


DIED = "the worker died of it (a damaged picture, or too little memory)"
TOO_LONG = "took longer than the limit of {:g} s a photo, twice: raise --time-limit, or take the photo again"


def crashed(task: Task, reason: str = DIED) -> Outcome:
    """The outcome of a photo that a worker died of."""
    import msgspec

    from rigging.batch.readings_file import to_tree

    reading = refused(task.name, reason)
    return Outcome(task.path, "", msgspec.json.encode(to_tree(reading)), None, "", False)


def _pool(workers: int, plan: Plan) -> ProcessPoolExecutor:
    for name in _ONE_THREAD:  # libraries' own threads would fight the workers for the cores
        os.environ.setdefault(name, "1")
    return ProcessPoolExecutor(workers, mp_context=worker_context(plan), initializer=start_worker)


def worker_context(plan: Plan) -> Any:
    """Processes forked from a clean server that has the heavy imports done, where the system has that."""
    warm_up(plan.reader, plan.drawer)
    return multiprocessing.get_context("forkserver" if _FORKS else "spawn")


def warm_up(reader: str = READER, drawer: str = DRAWER) -> None:
    """Start the clean server, where the system has that, and return: its imports go on beside what is done meanwhile."""
    if not _FORKS:
        return
    from multiprocessing import forkserver, resource_tracker

    own = [spec.partition(":")[0] for spec in (reader, drawer)]
    multiprocessing.get_context("forkserver").set_forkserver_preload([*_PRELOAD, *own])
    resource_tracker.ensure_running()  # first: starting it would lift the block again
    with _deaf_to_ctrl_c():
        forkserver.ensure_running()


@contextmanager
def _deaf_to_ctrl_c() -> Iterator[None]:
    """What is started meanwhile never hears Ctrl-C, not even while it is still importing.

    Blocked, not ignored: what comes meanwhile is heard here afterwards, what is started inherits the block.
    """
    signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGINT})
    try:
        yield
    finally:
        signal.pthread_sigmask(signal.SIG_UNBLOCK, {signal.SIGINT})


@contextmanager
def _ctrl_c_afterwards() -> Iterator[None]:
    """A Ctrl-C meanwhile is heard, and heeded at the end."""
    if threading.current_thread() is not threading.main_thread():
        yield
        return
    heard: list[int] = []
    before = signal.signal(signal.SIGINT, lambda number, _frame: heard.append(number))
    try:
        yield
    finally:
        signal.signal(signal.SIGINT, before)
    if heard:
        raise KeyboardInterrupt


@contextmanager
def _no_script_to_read_again() -> Iterator[None]:
    """A worker started meanwhile does not look for the calling script where that is no file: one fed by standard
    input goes by the name <stdin>, and a worker would die of not finding it. Nothing of the script is needed there."""
    main = sys.modules["__main__"]
    path = getattr(main, "__file__", None)
    if path is None or Path(path).exists():
        yield
        return
    del main.__file__
    try:
        yield
    finally:
        main.__file__ = path
