"""Where the photos of a live run come from: a folder that they arrive in, or a camera on this computer."""

from __future__ import annotations

import os
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from shared.errors import UserError
from vision.image.photo import Picture, decode_photo
from vision.image.photo_file import SUFFIXES, PhotoError, read_bytes, shown_name

Stamp = tuple[int, int, int]
"""Time of change, nanoseconds; size, bytes; the file's own number: what differs where a file was written anew."""

LOOK_S = 0.5
"""How often a folder is looked at, seconds."""
PATIENCE_S = 20.0
"""How long a file that cannot be decoded whole is waited for before it is told of: it may still be arriving."""
FRAMES = 8
"""Pictures of a camera that are averaged into one photo."""


@dataclass(frozen=True)
class Shot:
    """One photo as it came. picture : None with the reason. at : when it was taken in, local time. data : its bytes."""

    name: str
    at: datetime
    picture: Picture | None
    reason: str = ""
    data: bytes | None = None


def from_folder(folder: Path, idle: Callable[[], bool]) -> Iterator[Shot]:
    """Photos of a folder in the order of their file times, each once it is whole.

    A file is taken when its size and time are the same at two looks and it decodes to its end; one that does not
    is waited for, and given up with a reason when nothing has been added to it for PATIENCE_S. A file that is written
    anew under its old name is a new photo. idle : called after every look that brought nothing; False ends the run.
    Raises UserError.
    """
    before: dict[str, Stamp] = {}
    done: dict[str, Stamp] = {}
    stuck: dict[str, tuple[Stamp, float]] = {}
    fresh = _photos(folder, done)
    while True:
        brought = False
        for name, stamp in fresh:
            if before.get(name) != stamp:
                before[name] = stamp
                continue
            waits_since = stuck.setdefault(name, (stamp, time.monotonic()))
            if waits_since[0] != stamp:
                stuck[name] = waits_since = (stamp, time.monotonic())
            shot = _decoded(folder / name)
            if shot.picture is None and time.monotonic() - waits_since[1] < PATIENCE_S:
                continue
            done[name] = stamp
            brought = True
            yield shot
        if not brought and not idle():
            return
        if not brought or len(fresh) == 0:
            time.sleep(LOOK_S)
        try:
            fresh = _photos(folder, done)
        except UserError:  # a share that has gone may come back; until then no photo comes, and the watch says so
            fresh = []


def _photos(folder: Path, done: dict[str, Stamp]) -> list[tuple[str, Stamp]]:
    found = []
    try:
        with os.scandir(folder) as entries:
            for entry in entries:
                if entry.name.startswith(".") or Path(entry.name).suffix.lower() not in SUFFIXES:
                    continue
                try:
                    if entry.is_file(follow_symlinks=False):
                        stat = entry.stat(follow_symlinks=False)
                        found.append((entry.name, (stat.st_mtime_ns, stat.st_size, stat.st_ino)))
                except OSError:
                    continue
    except OSError as error:
        raise UserError(str(folder), f"cannot be looked into ({error.strerror})", "check the path") from None
    return sorted(((n, s) for n, s in found if done.get(n) != s), key=lambda f: (f[1][0], f[0]))


def _decoded(path: Path) -> Shot:
    at, name = datetime.now(), shown_name(path)
    try:
        at = datetime.fromtimestamp(path.lstat().st_mtime)
        data = read_bytes(path, follow=False)
        return Shot(name, at, decode_photo(data, name), data=data)
    except PhotoError as error:
        return Shot(name, at, None, error.reason)
    except OSError as error:
        return Shot(name, at, None, f"cannot be read ({error.strerror})")


def from_camera(index: int, every_s: float, go_on: Callable[[], bool]) -> Iterator[Shot]:
    """Photos of a camera on this computer, every so many seconds, each the mean of FRAMES pictures.

    The focus is asked to stay where it is. go_on : asked before every photo. Raises UserError where there is none.
    """
    import cv2
    import numpy as np

    camera = cv2.VideoCapture(index)
    if not camera.isOpened():
        raise UserError(f"camera {index}", "cannot be opened", "give another number, or a folder that photos arrive in")
    try:
        for setting, value in (
            (cv2.CAP_PROP_FRAME_WIDTH, 10_000),
            (cv2.CAP_PROP_FRAME_HEIGHT, 10_000),
            (cv2.CAP_PROP_BUFFERSIZE, 1),
            (cv2.CAP_PROP_AUTOFOCUS, 0),
        ):
            camera.set(setting, value)  # a camera that does not know a setting leaves it
        count = 0
        while go_on():
            begun = time.monotonic()
            frames = []
            for _ in range(FRAMES + 2):  # the first may be old ones from its buffer
                got, frame = camera.read()
                if got:
                    frames.append(frame)
            count += 1
            name, at = f"camera {index}, photo {count}", datetime.now()
            if len(frames) < FRAMES:
                yield Shot(name, at, None, "the camera gave no picture")
            else:
                mean = np.mean(np.asarray(frames[-FRAMES:], dtype=np.float32), axis=0)
                image = np.clip(np.rint(mean), 0, 255).astype(np.uint8)
                done, data = cv2.imencode(".png", image)
                yield Shot(name, at, Picture.from_array(image, name), data=data.tobytes() if done else None)
            time.sleep(max(0.0, every_s - (time.monotonic() - begun)))
    finally:
        camera.release()
