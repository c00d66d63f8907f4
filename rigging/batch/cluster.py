"""The same work on a Dask cluster (extra `cluster`), whose workers see the files by the same paths."""

from __future__ import annotations

import logging
import time
from collections.abc import Generator, Iterable, Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from queue import Empty, SimpleQueue
from typing import Any

from rigging.batch.pool import alone, available_cores, run_pool
from rigging.batch.worker import Outcome, Plan, Task, measure_in_time
from shared.errors import UserError

CONNECT_SECONDS = 10
LOOK_SECONDS = 1.0
DESERTED_SECONDS = 20.0
"""After so long without a worker the photos are measured here: a nanny brings a dead one back within seconds."""

_log = logging.getLogger("ribangle")


def run_cluster(tasks: Iterable[Task], plan: Plan, address: str) -> Generator[Outcome, None, None]:
    """Outcomes of all tasks, in the order they are done.

    address : of the scheduler, as "tcp://host:8786". Raises UserError when the extra is not installed, the
    cluster cannot be reached, has no workers, or one of them has other code or does not see the job's folder.
    """
    with _client(address) as client:
        _check_workers(client, plan)
        pending = iter(tasks)
        done: SimpleQueue[Any] = SimpleQueue()
        under_way: dict[Any, Task] = {}
        room = 3 * max(sum(client.nthreads().values()), 1)

        def submit() -> None:
            task = next(pending, None)
            if task is not None:
                future = client.submit(measure_in_time, task, plan, pure=False, retries=1)
                under_way[future.key] = task
                future.add_done_callback(done.put)

        for _ in range(room):
            submit()
        while under_way:
            future = _next(done, client)
            if future is None:
                break
            outcome = _result(future)
            if outcome is None and not _workers(client):
                break
            task = under_way.pop(future.key)
            if outcome is None:
                yield from alone(task, plan)
            else:
                yield outcome
            submit()
        left = [*under_way.values(), *pending]
        if left:
            _log.warning("the cluster at %s has no workers left: %d photos are measured here", address, len(left))
            yield from run_pool(left, plan, min(available_cores(), len(left)))


def _next(done: SimpleQueue[Any], client: Any) -> Any:
    """The next future that is done; None when all workers are gone and none comes back."""
    deserted = None
    while True:
        try:
            return done.get(timeout=LOOK_SECONDS)
        except Empty:
            pass
        if _workers(client):
            deserted = None
            continue
        deserted = deserted if deserted is not None else time.monotonic()
        if time.monotonic() - deserted >= DESERTED_SECONDS:
            return None


def _workers(client: Any) -> int:
    try:
        return len(client.scheduler_info()["workers"])
    except (OSError, TimeoutError):
        return 0


def _result(future: Any) -> Outcome | None:
    """The outcome; None when its worker died, with it or since, so that it is tried here, in a process of its own."""
    from asyncio import CancelledError

    from distributed import KilledWorker

    try:
        outcome: Outcome = future.result(timeout=DESERTED_SECONDS)
    except (KilledWorker, CancelledError, OSError, TimeoutError):
        return None
    except Exception as error:
        raise UserError(
            "--cluster",
            f"a worker failed ({type(error).__name__}: {error})",
            "look into the workers' logs, or run without --cluster",
        ) from None
    return outcome


@contextmanager
def _client(address: str) -> Iterator[Any]:
    try:
        from distributed import Client
    except ImportError:
        raise UserError(
            "--cluster", "the package distributed is not installed", "run pip install 'ribangle[cluster]'"
        ) from None
    try:
        client = Client(address, timeout=CONNECT_SECONDS, set_as_default=False)
    except (OSError, TimeoutError, ValueError):
        raise UserError(
            f"--cluster {address}",
            "no scheduler answers there",
            "start one with dask scheduler and give its address, as tcp://host:8786",
        ) from None
    try:
        yield client
    finally:
        client.close(timeout=CONNECT_SECONDS)


def _check_workers(client: Any, plan: Plan) -> None:
    from rigging.batch.store import code_digest

    with suppress(TimeoutError):  # workers that a photo killed may be on their way back
        client.wait_for_workers(1, timeout=CONNECT_SECONDS)
    answers = client.run(_worker_facts, str(plan.job.folder.resolve()))
    if not answers:
        raise UserError("--cluster", "the cluster has no workers", "start one with dask worker")
    for worker, (code, sees) in answers.items():
        if code != code_digest():
            raise UserError(
                f"--cluster: worker {worker}",
                "has another version of ribangle or its libraries",
                "install the same on every machine",
            )
        if not sees:
            raise UserError(
                f"--cluster: worker {worker}",
                f"does not see {plan.job.folder.resolve()}",
                "put job and photos where every machine sees them by the same path",
            )


def _worker_facts(folder: str) -> tuple[str, bool]:
    from rigging.batch.store import code_digest

    return code_digest(), Path(folder).is_dir()
