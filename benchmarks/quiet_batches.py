"""How often a batch that is as it was calibrated raises a doubt about lens or print, and which moved focal lengths are seen.

    python -m benchmarks.quiet_batches [--batches 400] [--seed 1]

Each batch draws the true lens from the profile's covariance, stretch and corner of the print from what is known of them,
poses, and corner noise (0.05 to 0.12 px); 10 to 20 cards. The stated rate of false alarms is 0.27 % for each check
(3 u of normal errors).
"""

from __future__ import annotations

import argparse
from collections import Counter
from pathlib import Path

import numpy as np

from calibration.drift import check_batch
from calibration.lens.flat import rotation
from calibration.lens.model import distort
from calibration.lens.profiles import LensProfile, load_lens
from calibration.print.profile import KnownPrint, known_print
from shared.cards import CardKind
from shared.flags import FlagCode
from shared.job.model import CardPrint
from shared.reading import Angle, Evidence, Made, Photo, Reading, SeenCard
from vision.cards.spec import SPECS, CardSpec

PROFILE = Path(__file__).parents[1] / "samples" / "trainer" / "lens" / "fieldcam-f1.json"
PRINTS = {
    "print not measured": CardPrint(),
    "print measured": CardPrint(stretch=0.0, u_stretch=0.0003, skew_deg=0.0, u_skew_deg=0.01),
}


def draw_batch(rng: np.random.Generator, profile: LensProfile, known: KnownPrint, focal: float) -> list[Reading]:
    """Readings of one batch, one card a photo. focal : by what the focal length is off besides its u."""
    theta = rng.multivariate_normal(profile.theta, profile.covariance)
    theta[:2] *= focal
    stretch = known.stretch + rng.normal(0, known.u_stretch)
    skew = np.radians(known.skew_deg + rng.normal(0, known.u_skew_deg))
    printed = np.array([[1.0, skew], [0.0, 1 + stretch]])
    noise = float(rng.uniform(0.05, 0.12))
    return [_reading(rng, k, theta, printed, noise, profile) for k in range(int(rng.integers(10, 21)))]


def _reading(
    rng: np.random.Generator, k: int, theta: np.ndarray, printed: np.ndarray, noise: float, profile: LensProfile
) -> Reading:
    kind = CardKind.PANEL if rng.random() < 0.6 else CardKind.STRIP
    spec: CardSpec = SPECS[kind]
    turn = rotation(np.array([*rng.normal(0, 0.2, 2), rng.uniform(-0.1, 0.1)]))
    away = float(rng.uniform(600, 1400))
    middle = np.array([*(rng.uniform(-0.35, 0.35, 2) * away), away])
    width, height = profile.size

    def seen(flat: np.ndarray) -> np.ndarray:
        board = (flat - spec.outline().mean(axis=0)) @ printed.T
        at = np.column_stack([board, np.zeros(len(board))]) @ turn.T + middle
        return np.asarray(distort(at[:, :2] / at[:, 2:], theta))

    corners = seen(spec.inner_corners())
    corners = rng.permutation(corners + rng.normal(0, noise, corners.shape))
    card = SeenCard(
        spec.kind, k, tuple(map(tuple, seen(spec.outline()).tolist())), tuple(map(tuple, corners.tolist())), (), noise
    )
    photo = Photo(f"p{k}.jpg", "", width, height, f"2026-05-16T09:{k:02d}:00", "")
    angle = Angle(None, "not read")
    return Reading(photo, None, angle, angle, None, None, Made("0", profile.ident, None),
                   evidence=Evidence((width, height), (card,)))  # fmt: skip


def alarms(print_: CardPrint, focal: float, batches: int, seed: int) -> tuple[Counter[str], np.ndarray]:
    """How often each doubt was raised, and (batches, 2) focal length found, over the true one, and its u."""
    profile, known = load_lens(PROFILE), known_print(print_, Path())
    raised: Counter[str] = Counter()
    found = []
    for number in range(batches):
        rng = np.random.default_rng([seed, number])
        drift = check_batch(draw_batch(rng, profile, known, focal), profile, SPECS, (), known)
        raised.update({str(f.code) for f in drift.flags})
        found.append((drift.focal / focal, drift.u_focal))
    return raised, np.array(found)


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--batches", type=int, default=400)
    parser.add_argument("--seed", type=int, default=1)
    args = parser.parse_args()
    print("| print | focal length | batches | lens-focal-moved | cards-not-square | median u | within 2u |")
    print("|---|---|---|---|---|---|---|")
    for name, print_ in PRINTS.items():
        for focal in (1.0, 0.95, 1.05):
            some = args.batches if focal == 1.0 else max(args.batches // 10, 1)
            raised, found = alarms(print_, focal, some, args.seed)
            inside = np.mean(np.abs(found[:, 0] - 1) < 2 * found[:, 1])
            print(
                f"| {name} | {focal:g} | {some} | {raised[FlagCode.LENS_FOCAL_MOVED]} | {raised[FlagCode.CARDS_NOT_SQUARE]} "
                f"| {np.median(found[:, 1]):.2%} | {inside:.1%} |",
                flush=True,
            )


if __name__ == "__main__":
    main()
