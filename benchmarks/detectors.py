"""The chord line among what general line detectors offer, and by this project, on the same photos.

    python benchmarks/detectors.py samples/trainer --drawn 10 --out docs/detectors.md

Each detector looks at the whole picture and gives its ten longest segments. One of them offers the chord
line if both its ends lie within 4 px of the true line and its direction within 1 degree of it; its angle
error is taken in the picture with the lens undone. LSD and Hough are given no card, no lens and no search
area; that is what general means, and the gap is what the card and the search buy.
"""

from __future__ import annotations

import json
import math
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path

import click
import cv2
import numpy as np
from measured import job_of, profile_of
from numpy.typing import NDArray
from rich.console import Console
from rich.markdown import Markdown
from shop import PHONE_12, draw
from shop.chance import good_scene
from shop.jobs import job_for, lens_for
from skimage.transform import probabilistic_hough_line
from tables import environment, markdown

from calibration.lens_model import Lens
from shared.files import write_whole
from shared.job import Job
from vision.photo import Picture, open_photo
from vision.reader import read_photo

F64 = NDArray[np.float64]
U8 = NDArray[np.uint8]
LONGEST = 10
NEAR_PX, NEAR_DEG = 4.0, 1.0


def lsd(gray: U8) -> F64:
    """OpenCV's line segment detector, refined."""
    found = cv2.createLineSegmentDetector(cv2.LSD_REFINE_ADV).detect(gray)[0]
    return np.empty((0, 4)) if found is None else np.asarray(found, np.float64).reshape(-1, 4)


def _edges(gray: U8) -> U8:
    smooth = cv2.GaussianBlur(gray, (0, 0), 1.5)
    middle = float(np.median(smooth))
    return np.asarray(cv2.Canny(smooth, 0.15 * middle, 0.4 * middle), np.uint8)


def hough_opencv(gray: U8) -> F64:
    """Canny and OpenCV's probabilistic Hough transform."""
    w = gray.shape[1]
    found = cv2.HoughLinesP(_edges(gray), 1, np.pi / 1800, 150, minLineLength=0.05 * w, maxLineGap=12)
    return np.empty((0, 4)) if found is None else np.asarray(found, np.float64).reshape(-1, 4)


def hough_skimage(gray: U8) -> F64:
    """Canny and scikit-image's probabilistic Hough transform, on the picture at half size (it is slow)."""
    half = cv2.resize(gray, None, fx=0.5, fy=0.5, interpolation=cv2.INTER_AREA)
    theta = np.linspace(-np.pi / 2, np.pi / 2, 720, endpoint=False)
    found = probabilistic_hough_line(  # type: ignore[no-untyped-call]
        _edges(np.asarray(half, np.uint8)),
        threshold=80,
        line_length=int(0.05 * half.shape[1]),
        line_gap=6,
        theta=theta,
        rng=1,
    )
    return 2 * np.array(found, np.float64).reshape(-1, 4) + 0.5


DETECTORS: dict[str, Callable[[U8], F64]] = {
    "OpenCV LSD": lsd,
    "Canny, OpenCV HoughLinesP": hough_opencv,
    "Canny, scikit-image probabilistic Hough": hough_skimage,
}
OURS = "ribangle"


@dataclass(frozen=True)
class Try:
    """One detector on one photo. error : degrees, NaN where the chord line was not offered. length : of the
    offered segment, as a part of the true line."""

    detector: str
    photo: str
    error: float
    length: float
    seconds: float


def best_offer(segments: F64, truth: F64, lens: Lens) -> tuple[float, float]:
    """Angle error (degrees) and relative length of the longest segment that offers the true line, or NaN.

    segments : (n, 4) x1 y1 x2 y2, pixels. truth : (2, 2) ends of the line, pixels.
    """
    ends = lens.rays(truth)
    way = ends[1] - ends[0]
    direction = way / np.hypot(*way)
    normal = np.array([-direction[1], direction[0]])
    lengths = np.hypot(segments[:, 2] - segments[:, 0], segments[:, 3] - segments[:, 1])
    for s in segments[np.argsort(-lengths)[:LONGEST]]:
        p = lens.rays(s.reshape(2, 2))
        off = (p - ends[0]) @ normal * lens.theta[0]
        d = p[1] - p[0]
        turn = (math.degrees(math.atan2(float(d @ normal), float(d @ direction))) + 90) % 180 - 90
        if np.abs(off).max() <= NEAR_PX and abs(turn) <= NEAR_DEG:
            return turn, float(np.hypot(*d) / np.hypot(*way))
    return math.nan, math.nan


def photos(folders: tuple[Path, ...], drawn: int) -> Iterator[tuple[str, Picture, F64, Lens, Job]]:
    """Name, picture, true ends of the chord line, lens and job of every photo."""
    for folder in folders:
        profile, job = profile_of(folder), job_of(folder)
        truths = json.loads((folder / "truth.json").read_text())
        place = folder / ("photos" if (folder / "photos").is_dir() else "stations")
        for name, t in truths.get("photos", truths).items():
            path = place / f"{name}.jpg"
            if path.exists():
                yield (
                    f"{folder.name}/{name}",
                    open_photo(path),
                    np.array([t["te_px"], t["le_px"]]),
                    profile.lens,
                    job,
                )
    for k in range(drawn):
        scene = good_scene(9500 + k, "strip" if k % 2 else "panel", camera=PHONE_12)
        bgr, truth = draw(scene)
        yield f"drawn {9500 + k}", Picture.from_array(bgr), truth.chord_px, lens_for(PHONE_12), job_for(scene)


def try_photo(name: str, picture: Picture, truth: F64, lens: Lens, job: Job) -> Iterator[Try]:
    """All detectors and this project on one photo."""
    for detector, find in DETECTORS.items():
        start = time.perf_counter()
        segments = find(picture.gray)
        seconds = time.perf_counter() - start
        yield Try(detector, name, *best_offer(segments, truth, lens), seconds)
    start = time.perf_counter()
    reading = read_photo(picture, job, lens=lens)
    seconds = time.perf_counter() - start
    lines = reading.evidence.lines if reading.evidence else ()
    ours = [[*line.path[0], *line.path[-1]] for line in lines if line.role == "chord" and line.used]
    yield Try(OURS, name, *best_offer(np.array(ours, np.float64).reshape(-1, 4), truth, lens), seconds)


@click.command(help=__doc__)
@click.argument("folders", nargs=-1, type=click.Path(exists=True, file_okay=False, path_type=Path))
@click.option("--drawn", default=0, show_default=True, help="Drawn photos beside the folders.")
@click.option("--out", type=click.Path(dir_okay=False, path_type=Path), help="Markdown file to write.")
def main(folders: tuple[Path, ...], drawn: int, out: Path | None) -> None:
    """Try, print, write."""
    console = Console(width=140)
    found: list[Try] = []
    for case in photos(folders, drawn):
        for t in try_photo(*case):
            found.append(t)
            console.print(
                f"{t.photo:20} {t.detector:42} {t.error:+.4f} deg {t.length:.2f} {t.seconds:.1f} s",
                highlight=False,
            )
    if not found:
        raise click.UsageError("nothing to look at: give folders with truth.json, or --drawn N")
    text = _report(found)
    console.print(Markdown(text))
    if out:
        write_whole(out, text)


def _report(found: list[Try]) -> str:
    rows = []
    for detector in (*DETECTORS, OURS):
        some = [t for t in found if t.detector == detector]
        errors = np.abs([t.error for t in some if not math.isnan(t.error)])
        lengths = [t.length for t in some if not math.isnan(t.length)]
        numbers = (
            [f"{np.median(errors):.3f}", f"{np.quantile(errors, 0.95):.3f}", f"{np.median(lengths):.2f}"]
            if len(errors)
            else ["-"] * 3
        )
        rows.append(
            (
                detector,
                f"{len(errors)} of {len(some)}",
                *numbers,
                f"{np.median([t.seconds for t in some]):.1f}",
            )
        )
    head = ("detector", "offers the chord line", "median \\|e\\|", "95 % \\|e\\|", "length", "seconds")
    doc = (__doc__ or "").split("\n\n", 2)
    return "\n".join(
        [
            "# Line detectors",
            "",
            doc[0],
            "",
            f"Made by `python benchmarks/detectors.py`; {environment()}.",
            "",
            doc[2].strip(),
            "",
            "Errors in degrees; length: of the offered segment, as a part of the true line; seconds: median "
            "a photo, for ribangle the whole reading.",
            "",
            markdown(head, rows),
            "",
        ]
    )


if __name__ == "__main__":
    main()
