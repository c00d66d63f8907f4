"""What a worker process does: one photo at a time, from a task to a JPEG and its truth."""

from __future__ import annotations

import datetime
import os
from dataclasses import dataclass, replace
from functools import lru_cache
from pathlib import Path
from typing import Any

import cv2
from numpy.typing import NDArray
from PIL import Image

from training.scenes.effects import Choice, Draw


@dataclass(frozen=True)
class Task:
    """One photo to make. k : its number in the wing; board : a photo of the chessboard instead."""

    folder: Path
    seed: int
    phone_seed: int
    k: int
    scales: tuple[float, float]
    spp: int
    choice: Choice
    walls: tuple[str, ...]
    board: bool = False

    def at(self, k: int, board: bool = False) -> Task:
        """The same wing's photo k."""
        return replace(self, k=k, board=board)


def start(variant: str, gpus: int, counter: Any) -> None:
    """Set up a worker: its GPU, its Mitsuba variant, one thread each."""
    with counter.get_lock():
        mine = counter.value
        counter.value += 1
    if gpus:
        os.environ["CUDA_VISIBLE_DEVICES"] = str(mine % gpus)
    cv2.setNumThreads(1)
    import mitsuba as mi

    mi.set_log_level(mi.LogLevel.Error)
    mi.set_variant(variant)


@lru_cache(maxsize=4)
def wing_of(task: Task) -> Any:
    """The wing of a task."""
    from training.scenes.wing import draw_phone, draw_wing

    return draw_wing(task.seed, draw_phone(task.phone_seed, task.scales, task.choice), task.folder.name, task.choice)


def take(task: Task) -> Any:
    """Make a photo: its name and truth; None for a board; a line of text where it failed."""
    try:
        return board(task) if task.board else station(task)
    except Exception as error:
        what = f"{'board' if task.board else 'photo'} {task.k}: {type(error).__name__}: {error}"
        return f"FAILED {task.folder.name} {what}".replace("\n", " ")


def station(task: Task) -> tuple[str, dict[str, Any]]:
    """A photo of a station."""
    from training.scenes.job import write_job
    from training.scenes.photo import shoot
    from training.scenes.wing import draw_shot

    wing = wing_of(task.at(0))
    (task.folder / "stations").mkdir(parents=True, exist_ok=True)
    if task.k == 0:
        bar = any(
            Draw(task.seed * 100 + k, task.choice).option("level") == "straightedge" for k in range(len(wing.stations))
        )
        write_job(task.folder, wing, bar)
    shot, draw = draw_shot(wing, task.k, task.choice, task.walls)
    rgb, truth = shoot(shot, draw, task.spp)
    quality = int(draw.rng("jpeg").integers(78, 96))
    save(task.folder / "stations" / f"{shot.name}.jpg", rgb, wing.phone, task.k, quality)
    phone = wing.phone
    return shot.name, {
        **truth,
        "wing": wing.ident,
        "wing_seed": task.seed,
        "phone": phone.ident,
        "scale": phone.scale,
        "exif": {"make": phone.make, "model": phone.model, "focal35": phone.focal35, "focal_mm": phone.focal_mm},
        "design": next(s.design for s in wing.stations if s.name == shot.station),
        "jpeg_quality": quality,
    }


def board(task: Task) -> None:
    """A photo of the chessboard."""
    from training.scenes.boards import board_shot

    phone = wing_of(task.at(0)).phone
    (task.folder / "boards").mkdir(parents=True, exist_ok=True)
    rgb = board_shot(phone.cam.scaled(phone.scale), task.phone_seed * 100 + task.k, task.spp, phone.scale)
    save(task.folder / "boards" / f"b{task.k:02d}.jpg", rgb, phone, -20 + task.k, 90)


def save(path: Path, rgb: NDArray[Any], phone: Any, k: int, quality: int) -> None:
    """Write a JPEG with the phone's EXIF entries, whole or not at all."""
    when = (datetime.datetime(2026, 9, 1, 9) + datetime.timedelta(minutes=3 * k)).strftime("%Y:%m:%d %H:%M:%S")
    e = Image.Exif()
    e[0x010F], e[0x0110], e[0x0112], e[0x0132] = phone.make, phone.model, 1, when
    sub = e.get_ifd(0x8769)
    sub[0x9003], sub[0x920A], sub[0xA405] = when, phone.focal_mm, phone.focal35
    part = path.with_suffix(".part")
    Image.fromarray(rgb).save(part, "JPEG", quality=quality, exif=e)
    part.replace(path)
