"""One call in a process of its own, with a time limit: whatever a picture does to it, the server lives on."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from multiprocessing.connection import Connection
from typing import Any, TypeVar

import msgspec

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
    """`rigging.batch.worker.measure_one`; a photo without a value and without a card says how sharp and light it is."""
    outcome = measure_one(task, plan)
    if not outcome.body:
        return outcome
    tree = msgspec.json.decode(outcome.body, type=dict[str, Any])
    if tree["chord"]["quantity"] is not None or tree["station"] is not None or not tree["photo"]["width"]:
        return outcome
    return replace(outcome, body=msgspec.json.encode({**tree, "sight": sight(task.path)}))


def sight(path: str) -> dict[str, float | None]:
    """How a photo without a card looks. contrast : half the step from dark to light, grey levels; light : its lightest
    grey; blur_px : of its sharpest edges; None where it cannot be told."""
    import numpy as np

    from rigging.preflight.photo import edge_width
    from vision.image.photo import open_photo
    from vision.image.photo_file import PhotoError

    try:
        gray = open_photo(path).gray
    except (PhotoError, MemoryError):
        return {"contrast": None, "light": None, "blur_px": None}
    dark, light = (float(v) for v in np.quantile(gray[::4, ::4], (0.005, 0.995)))
    blur = edge_width(gray)
    return {"contrast": (light - dark) / 2, "light": light, "blur_px": blur if blur == blur else None}


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


def broken_off(data: bytes) -> bool:
    """Whether a photo's bytes begin as one and end in its middle, as those of a copy under way do."""
    from vision.image.photo import decode_photo
    from vision.image.photo_file import PhotoError

    try:
        decode_photo(data, "photo")
    except PhotoError as error:
        return any(words in error.reason for words in ("cut short", "zeros", "empty"))
    except MemoryError:
        return False
    return False
