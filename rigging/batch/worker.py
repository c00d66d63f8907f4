"""What a worker does with one photo: bytes in, a reading as JSON and its overlay as JPEG out.

Runs in a process of its own, here or on another machine. Whatever the photo holds, an outcome comes back.
"""

from __future__ import annotations

import importlib
import os
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from shared.errors import UserError
from shared.flags import FlagCode
from shared.job.model import Job
from shared.reading import Angle, Made, Photo, Reading
from shared.version import version

if TYPE_CHECKING:
    from vision.image.photo import Picture

READER = "vision.reader:read_stations"
DRAWER = "rigging.survey.one_photo:draw"
DETAILED = "rigging.survey.one_photo:draw_details"

JPEG_QUALITY = 85


@dataclass(frozen=True)
class Plan:
    """What all photos of a batch share.

    made_from : fingerprint of job, profiles and code. reader, drawer : "module:function"; a drawer is given picture,
    reading and job. overlays : draw.
    monte_carlo : draws a photo, 0 for none. seconds : a worker may take for one photo; 0: as long as it likes.
    """

    job: Job
    made_from: str
    reader: str = READER
    drawer: str = DRAWER
    overlays: bool = True
    monte_carlo: int = 0
    seconds: float = 0.0


@dataclass(frozen=True)
class Task:
    """One photo. path : where its bytes are. name : as shown. hints : by a person, as text. follow : links."""

    path: str
    name: str
    hints: tuple[str, ...] = ()
    follow: bool = True

    @property
    def keyed(self) -> str:
        """What a reading's key takes the name from: the hints are part of what it was made from."""
        return "\0".join((self.name, *self.hints))


@dataclass(frozen=True)
class Outcome:
    """What became of a photo.

    path : the task's. key : of the reading, "" where the photo could not be read. body : its tree as JSON; the trees of the
    ribs behind the foremost one stand in it under "further".
    overlay : a JPEG, None where nothing was decoded. keep : whether the same photo would come out the same.
    mistake : one of the user's that would befall every photo, as UserError's three parts.
    """

    path: str
    key: str
    body: bytes
    overlay: bytes | None
    overlay_path: str
    keep: bool
    mistake: tuple[str, str, str] | None = None


def start_worker() -> None:
    """Settle a worker process: one thread, deaf to Ctrl-C (the parent hears it), gone when the parent is."""
    import multiprocessing
    import signal
    import threading

    import cv2

    signal.signal(signal.SIGINT, signal.SIG_IGN)
    cv2.setNumThreads(1)
    parent = multiprocessing.parent_process()
    if parent is not None:
        threading.Thread(target=_leave_with, args=(parent.sentinel,), daemon=True).start()


def _leave_with(sentinel: int) -> None:
    from multiprocessing.connection import wait

    wait([sentinel])
    os._exit(1)


def measure_in_time(task: Task, plan: Plan) -> Outcome:
    """As `measure_one`, in a worker process that ends when the photo takes longer than the plan allows.

    The interpreter's own watchdog needs nothing of what hangs, be it a decoder that never returns.
    """
    import faulthandler

    if not plan.seconds:
        return measure_one(task, plan)
    with Path(os.devnull).open("w") as nowhere:
        faulthandler.dump_traceback_later(plan.seconds, exit=True, file=nowhere)
        try:
            return measure_one(task, plan)
        finally:
            faulthandler.cancel_dump_traceback_later()


def measure_one(task: Task, plan: Plan) -> Outcome:
    """Read, measure and draw one photo."""
    import cv2

    from vision.image.photo import decode_photo
    from vision.image.photo_file import PhotoError, read_bytes

    cv2.setNumThreads(1)
    try:
        picture = decode_photo(read_bytes(Path(task.path), follow=task.follow), task.name)
    except PhotoError as error:
        reading = refused(task.name, error.reason, error.sha256, error.width, error.height)
        return _outcome(task, plan, reading, None, keep=bool(error.sha256))
    further: tuple[Reading, ...] = ()
    try:
        read, keep = _call(plan.reader)(picture, plan.job, **_asked(task, plan)), True
        reading, *others = read if isinstance(read, tuple) else (read,)
        further = tuple(others)
    except UserError as error:
        return Outcome(task.path, "", b"", None, "", False, (error.thing, error.rule, error.remedy))
    except PhotoError as error:
        reading, keep = refused(task.name, error.reason, picture.sha256, picture.width, picture.height), True
    except MemoryError:
        reading, keep = _fault(picture, "not enough memory to measure it"), False
    except Exception as error:  # a fault of ours on this photo must not cost the others theirs
        reading, keep = _fault(picture, f"a fault of the tool, {type(error).__name__}: {error}"), False
    try:
        return _outcome(task, plan, reading, picture, keep, further)
    except (TypeError, ValueError) as error:  # a reading that cannot be written down
        fault = _fault(picture, f"a fault of the tool, {type(error).__name__}: {error}")
        return _outcome(task, plan, fault, picture, False)


def refused(name: str, reason: str, sha256: str = "", width: int = 0, height: int = 0) -> Reading:
    """A reading without a value, for a photo that gave no picture."""
    nothing = Angle(None, " ".join(reason.split()))
    return Reading(
        Photo(name, sha256, width, height, None, None), None, nothing, nothing, None, None, Made(version(), None, None)
    )


def _fault(picture: Picture, reason: str) -> Reading:
    return refused(picture.name, reason[:300], picture.sha256, picture.width, picture.height)


def _outcome(
    task: Task, plan: Plan, reading: Reading, picture: Picture | None, keep: bool, further: tuple[Reading, ...] = ()
) -> Outcome:
    from dataclasses import replace

    import msgspec

    from rigging.batch.readings_file import to_tree
    from rigging.batch.store import overlay_path, reading_key

    key = reading_key(reading.photo.sha256, task.keyed, plan.made_from)
    place, overlay = "", None
    if picture is not None and plan.overlays:
        place = overlay_path(task.name, key)
        overlay = _draw(plan, picture, reading, further)
        if overlay is None:
            lost = FlagCode.NO_OVERLAY.flag("its annotated picture could not be drawn")
            reading, place = replace(reading, flags=(*reading.flags, lost)), ""
    tree = to_tree(reading, place or None)
    if further:
        tree["further"] = [to_tree(other, place or None) for other in further]
    body = msgspec.json.encode(tree)
    return Outcome(task.path, key, body, overlay, place, keep)


def _asked(task: Task, plan: Plan) -> dict[str, Any]:
    """What the reader is asked for beyond the photo and the job."""
    from vision.lines.hints import hint_from_text

    asked: dict[str, Any] = {}
    if task.hints:
        asked["hints"] = tuple(hint_from_text(text) for text in task.hints)
    if plan.monte_carlo:
        asked["monte_carlo"] = plan.monte_carlo
    return asked


def _draw(plan: Plan, picture: Picture, reading: Reading, further: tuple[Reading, ...]) -> bytes | None:
    import cv2

    try:
        image = _call(plan.drawer)(picture, reading, plan.job, **({"further": further} if further else {}))
        done, data = cv2.imencode(".jpg", image, [cv2.IMWRITE_JPEG_QUALITY, JPEG_QUALITY])
    except Exception:  # the reading stands without its picture, and is flagged
        return None
    return bytes(data) if done else None


def _call(spec: str) -> Any:
    module, function = spec.split(":")
    return getattr(importlib.import_module(module), function)
