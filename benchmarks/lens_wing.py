"""A drawn wing whose lens is solved from its station cards, and from drawn photos of a lens board; every photo read with both."""

from __future__ import annotations

import tempfile
from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
from measured import BOARD
from shop import Camera, draw
from shop.board_photo import board_photo
from shop.chance import good_scene, with_shop_errors
from shop.jobs import job_for
from shop.photo_file import save_jpeg
from shop.scene import Scene

from calibration.lens.calibrate import calibrate_lens
from calibration.lens.match import guess_lens
from calibration.lens.profiles import LensProfile, load_lens
from calibration.print.profile import U_SKEW_DEG, U_STRETCH
from rigging.batch.find import find_photos
from rigging.batch.lenses import keep_lenses
from shared.flags import in_doubt
from shared.job.model import Job, Wing
from vision.image.photo import open_photo
from vision.reader import read_photo

BOARDS = 12
"""Photos of the lens board."""
STATIONS = 12
"""Photos of a wing, one a station."""
U_LEAN_DEG = 0.3
CARDS = ("one panel a rib", "two panels on every other rib")
LENSES = ("station cards", "lens board")


@dataclass(frozen=True)
class Chord:
    """A chord angle of one photo read with one lens, degrees. doubtful : it carries a doubt."""

    wing: int
    cards: str
    lens: str
    photo: str
    error: float
    u: float
    doubtful: bool


@dataclass(frozen=True)
class Focal:
    """The focal length that a wing's cards tell: error and u, parts of the truth."""

    wing: int
    cards: str
    error: float
    u: float


@dataclass(frozen=True)
class _Exif:
    focal35_mm: float
    make: str = "Shopcam"
    model: str = "S1"
    lens_model: str | None = None
    focal_mm: float = 4.6
    digital_zoom: float | None = None
    taken: str | None = None
    orientation: int = 1


def camera_of(rng: np.random.Generator) -> Camera:
    """A camera as EXIF leaves it open: focal length, middle and distortion off the guess by a draw of its covariance."""
    f35, size = int(rng.integers(24, 31)), (4000, 3000)
    guess = guess_lens(_Exif(f35), size)
    theta = guess.theta + rng.normal(size=len(guess.axes())) @ guess.axes()
    return Camera(*size, tuple(float(v) for v in theta), focal35_mm=f35)


def wing_scenes(seed: int, camera: Camera, two: bool) -> Iterator[Scene]:
    """One scene a station: string, seats and print off as a job's defaults state them; one print for the wing."""
    rng = np.random.default_rng([seed, 41])
    stretch, skew = float(rng.normal(0, U_STRETCH)), float(rng.normal(0, U_SKEW_DEG))
    for k in range(STATIONS):
        plain = good_scene(seed * 100 + k, "panels" if two and k % 2 else "panel", "plumb", camera, True)
        cards = tuple(replace(c, number=k + 15 * n, stretch=stretch, skew_deg=skew) for n, c in enumerate(plain.cards))
        yield replace(with_shop_errors(plain, rng), cards=cards, label=f"S{k + 1}")


def wing_job(scenes: list[Scene], rng: np.random.Generator, folder: Path) -> Job:
    """The job of all stations, each lean stated with an error of its own."""
    told = [replace(s, lean_deg=s.lean_deg + float(rng.normal(0, U_LEAN_DEG))) for s in scenes]
    stations = tuple(job_for(s, u_lean_deg=U_LEAN_DEG).stations[0] for s in told)
    return Job(Wing("drawn", stations[0].name), stations, folder=folder)


def measure_wing(wing: int, seed: int) -> tuple[list[Chord], Focal | None]:
    """Draw a wing, solve its lens both ways, read every photo with both. None where the cards told no lens."""
    rng = np.random.default_rng([seed + wing, 43])
    camera, two = camera_of(rng), wing % 2 == 1
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        (folder / "photos").mkdir()
        scenes = list(wing_scenes(seed + wing, camera, two))
        truth = {}
        for k, s in enumerate(scenes):
            bgr, true = draw(s)
            truth[s.label] = true.chord_deg
            taken = f"2026:05:16 09:{k:02d}:00"
            save_jpeg(folder / "photos" / f"{s.label}.jpg", bgr, camera, taken=taken)
        job = wing_job(scenes, rng, folder)
        written = keep_lenses(job, find_photos([folder / "photos"]))
        if not written:
            return [], None
        cards = load_lens(written[0])
        lenses = dict(zip(LENSES, (cards, board_lens(camera, seed + wing, folder)), strict=True))
        found = [
            c
            for path in sorted((folder / "photos").iterdir())
            for c in read_with(path, job, lenses, wing, CARDS[two], truth)
        ]
    f = camera.focal
    u = float(np.sqrt(cards.covariance[0][0]))
    return found, Focal(wing, CARDS[two], (cards.theta[0] - f) / f, u / f)


def read_with(
    path: Path, job: Job, lenses: dict[str, LensProfile], wing: int, cards: str, truth: dict[str, float]
) -> Iterator[Chord]:
    """The chord angle of a photo by each lens, where both give one."""
    readings = {name: read_photo(path, job, lens=lens) for name, lens in lenses.items()}
    for name, r in readings.items():
        q = r.chord.quantity
        if q is None or any(o.chord.quantity is None for o in readings.values()):
            continue
        doubtful = bool(in_doubt((*r.flags, *r.chord.flags)))
        yield Chord(wing, cards, name, path.stem, q.value - truth[path.stem], q.u, doubtful)


def board_lens(camera: Camera, seed: int, folder: Path) -> LensProfile:
    """The profile that twelve drawn photos of the printed chessboard give."""
    place = folder / "boards"
    place.mkdir()
    for k in range(BOARDS):
        save_jpeg(place / f"b{k:02d}.jpg", board_photo(camera, BOARD, seed * 100 + k), camera)
    return calibrate_lens((open_photo(p) for p in sorted(place.iterdir())), BOARD).profile
