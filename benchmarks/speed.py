"""One photo on one core: the whole reading beside a bare decode, LSD alone, and Canny with Hough alone.

Times are processor time of this process with OpenCV's threads off, the least of several runs, so that other
work on the machine counts little.
"""

from __future__ import annotations

import importlib
import sys
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from PIL import Image
from tables import markdown

from shared.job.model import Job
from vision.image.photo import open_photo
from vision.reader import read_photo

STAGES = (
    ("decode, EXIF, SHA-256", "vision.image.photo:open_photo"),
    ("colour at a quarter of the size", "vision.image.photo:Picture.small_colour"),
    ("colour at full size", "vision.image.photo:Picture.full_colour"),
    ("cards: find and refine", "vision.cards.detect:find_cards"),
    ("rib plane from the cards", "vision.rib_scene:plane_only"),
    ("reduced pictures", "vision.evidence.views:Photograph.of"),
    ("candidates: rectify, sum along lines", "vision.evidence.views:_view"),
    ("strips: cut out", "vision.evidence.strips:cut_strips"),
    ("witness: the networks", "vision.evidence.witness:ask"),
    ("chord line: choose, look for marks", "vision.lines.chord:choose_chord"),
    ("strings and level lines", "vision.level.gravity:find_gravity"),
    ("spar line", "vision.lines.spar:find_spar"),
    ("sub-pixel fits of the strokes", "vision.lines.measure:measure"),
    ("joint least squares", "vision.ribs:_solutions"),
    ("propagation", "vision.ribs:both_poses"),
    ("doubts, advice, evidence", "vision.reader:show"),
)
"""What the recipe spends its time on: label and function. An inner stage's time counts there only."""


@dataclass(frozen=True)
class Speed:
    """Seconds a photo, by what was run, and by stage of the reading."""

    photos: int
    imread: float
    reading: float
    lsd: float
    hough: float
    stages: tuple[tuple[str, float], ...]


def cpu_seconds(work: Callable[[], object], repeats: int) -> float:
    """Processor time of the quickest of several runs."""
    best = float("inf")
    for _ in range(repeats):
        start = time.process_time()
        work()
        best = min(best, time.process_time() - start)
    return best


def measure_speed(job: Job, photos: Sequence[Path], repeats: int = 3) -> Speed:
    """Time every photo; means over the photos."""
    cv2.setNumThreads(1)
    read_photo(photos[0], job)  # imports and tables of the first call
    sums = np.zeros(4)
    for path in photos:
        gray = open_photo(path).gray
        detector = cv2.createLineSegmentDetector()
        sums += (
            cpu_seconds(partial(cv2.imread, str(path), cv2.IMREAD_GRAYSCALE), repeats),
            cpu_seconds(partial(read_photo, path, job), repeats),
            cpu_seconds(partial(detector.detect, gray), max(1, repeats - 1)),
            cpu_seconds(partial(canny_hough, gray), max(1, repeats - 1)),
        )
    imread, reading, lsd, hough = (sums / len(photos)).tolist()
    return Speed(len(photos), imread, reading, lsd, hough, tuple(stage_times(job, photos)))


def as_cameras_write(photos: Sequence[Path], folder: Path) -> list[Path]:
    """The same photos as baseline JPEG of quality 95, 4:2:0, as a telephone stores them."""
    folder.mkdir()
    copies = []
    for path in photos:
        with Image.open(path) as image:
            image.save(folder / path.name, quality=95, subsampling="4:2:0", exif=image.getexif())
        copies.append(folder / path.name)
    return copies


def canny_hough(gray: np.ndarray[Any, Any]) -> object:
    """The textbook's line finder, with its usual thresholds."""
    edges = cv2.Canny(gray, 50, 150)
    return cv2.HoughLinesP(edges, 1, np.pi / 720, 200, minLineLength=300, maxLineGap=20)


def stage_times(job: Job, photos: Sequence[Path]) -> list[tuple[str, float]]:
    """Processor time a photo of every stage, its inner stages left out, and of the rest."""
    clock = _Clock()
    undo = [clock.watch(label, spec) for label, spec in STAGES]
    start = time.process_time()
    try:
        for path in photos:
            read_photo(path, job)
    finally:
        for restore in undo:
            restore()
    total = time.process_time() - start
    times = [(label, clock.spent.get(label, 0.0) / len(photos)) for label, _ in STAGES]
    return [*times, ("all else", total / len(photos) - sum(t for _, t in times))]


class _Clock:
    """Puts a stop-watch round functions, wherever they have been imported to."""

    def __init__(self) -> None:
        self.spent: dict[str, float] = {}
        self.stack: list[list[float]] = []

    def watch(self, label: str, spec: str) -> Callable[[], None]:
        module_name, _, path = spec.partition(":")
        owner: Any = importlib.import_module(module_name)
        *outer, name = path.split(".")
        for part in outer:
            owner = getattr(owner, part)
        real = getattr(owner, name)

        def watched(*args: Any, **kwargs: Any) -> Any:
            inner = [0.0]
            self.stack.append(inner)
            start = time.process_time()
            try:
                return real(*args, **kwargs)
            finally:
                spent = time.process_time() - start
                self.stack.pop()
                self.spent[label] = self.spent.get(label, 0.0) + spent - inner[0]
                if self.stack:
                    self.stack[-1][0] += spent

        places = (
            [owner]
            if outer
            else [m for m in list(sys.modules.values()) if getattr(m, "__dict__", {}).get(name) is real]
        )
        for place in places:
            setattr(place, name, watched)

        def restore() -> None:
            for place in places:
                setattr(place, name, real)

        return restore


def table(speed: Speed) -> str:
    """Both tables, Markdown."""
    against_lsd = f"{speed.lsd / speed.reading:.1f} times the reading (at least 3)"
    rows = [
        (what, f"{1e3 * t:.0f}", f"{t / speed.imread:.1f}", note)
        for what, t, note in (
            ("`cv2.imread`, grey, alone", speed.imread, ""),
            ("**whole reading**, decode included", speed.reading, "at most 5; goal 3"),
            ("LSD alone, decoded already", speed.lsd, against_lsd),
            ("Canny and Hough alone, decoded already", speed.hough, ""),
        )
    ]
    stages = [(label, f"{1e3 * t:.0f}", f"{100 * t / speed.reading:.0f} %", "") for label, t in speed.stages]
    return (
        markdown(("run", "wanted", "ms", "in decodes"), [(r[0], r[3], r[1], r[2]) for r in rows])
        + "\n\n"
        + markdown(("stage of the reading", "", "ms", "share"), [(s[0], "", s[1], s[2]) for s in stages])
    )
