"""One call in a process of its own, with a time limit: whatever a picture does to it, the server lives on."""

from __future__ import annotations

from collections.abc import Callable
from multiprocessing.connection import Connection
from typing import Any, TypeVar

from rigging.batch.worker import Outcome, Plan, Task, measure_one, start_worker

T = TypeVar("T")


class TooLong(Exception):
    """The call took longer than it may."""


class Died(Exception):
    """The process died of it."""


def call_within(seconds: float, context: Any, function: Callable[..., T], *arguments: Any) -> T:
    """Call in a new process; its result. context : a multiprocessing context.

    Raises TooLong (the process is killed then) and Died. `function` must not raise.
    """
    here, there = context.Pipe(duplex=False)
    process = context.Process(target=_work, args=(there, function, arguments), daemon=True)
    process.start()
    there.close()
    try:
        if not here.poll(seconds):
            raise TooLong
        result: T = here.recv()
        return result
    except EOFError:
        raise Died from None
    finally:
        process.kill()
        process.join()
        here.close()


def _work(answer: Connection, function: Callable[..., Any], arguments: tuple[Any, ...]) -> None:
    start_worker()
    answer.send(function(*arguments))
    answer.close()


def measured(task: Task, plan: Plan) -> Outcome:
    """`rigging.batch.worker.measure_one`, here so that a worker finds it by name."""
    return measure_one(task, plan)


def upright_jpeg(path: str) -> bytes | None:
    """The photo upright in full size as JPEG made by us, to point at; None where it cannot be decoded."""
    import cv2

    from vision.image.photo import open_photo
    from vision.image.photo_file import PhotoError

    try:
        picture = open_photo(path)
        colour = picture.full_colour()
        done, data = cv2.imencode(".jpg", picture.gray if colour is None else colour, [cv2.IMWRITE_JPEG_QUALITY, 80])
    except (PhotoError, MemoryError, cv2.error):
        return None
    return bytes(data) if done else None
