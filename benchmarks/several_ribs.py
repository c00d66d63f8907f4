"""Several ribs in a photo, and a rib from two places, simulated: every error drawn as stated, through the joint solution.

    python benchmarks/several_ribs.py --pairs 100 --places 60 --chains 4

Two ribs of one photo share lens, print and gravity; each has its own lean, off by a draw from what the job states, its own
cards as laid, its own drawn line. Recognition is not part of it (`benchmarks/recognition.py`).
"""

from __future__ import annotations

import argparse
import math
import platform
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from simulate import SIZE, U_LEAN, Cards, Rib, Shop, observe, read, rib, shop

from rigging.planning.scene import SetUp, Viewpoint, _camera
from rigging.survey.repeats import combine_photos
from rigging.survey.ties import ties_of, with_tie
from shared.numerics.arrays import F64
from shared.quantity import Quantity
from shared.reading import Angle, Made, Photo, Reading
from vision.solution.poses import both_poses, from_starts, near, together_from
from vision.solution.scene import Lean, Scene
from vision.solution.solve import starts, with_lines
from vision.solution.together import Together

STATED = "lean known to 0.1°"
"""The session's kind of lean; the u below takes its place."""
U_STATED = 0.3
STEP_MM = 400.0
"""One step to the side."""


@dataclass(frozen=True)
class Standing:
    """A rib in space. at : where its mid chord stands, mm. lean_deg : its own."""

    rib: Rib
    at: tuple[float, float, float]
    lean_deg: float

    @property
    def chord_deg(self) -> float:
        """True chord angle."""
        lean = math.radians(self.lean_deg)
        return math.degrees(math.asin(math.sin(math.radians(self.rib.angle_deg)) * math.cos(lean)))


def seen_from(view: Viewpoint, at: tuple[float, float, float]) -> Viewpoint:
    """The same camera, told from a rib that stands elsewhere."""
    turn, eye = _camera(view)
    forward, eye = turn[2], eye - np.array(at)
    distance = -float(eye[1]) / float(forward[1])
    target = eye + distance * forward
    return replace(view, distance_mm=distance, aim=(float(target[0]), float(target[2])))


def standing(rng: np.random.Generator, s: Shop, name: str, k: int, cards: Cards, u_lean: float) -> Standing:
    """The k-th rib of a photo; only the foremost has a string before it."""
    r = rib(rng, s, name, cards, "string near the middle")
    at = (float(rng.uniform(-40, 40)), 340.0 * k, 150.0 * k) if k else (0.0, 0.0, 0.0)
    r = replace(r, chord_mm=1000.0, strings_mm=r.strings_mm if k == 0 else ())
    return Standing(r, at, float(s.lean_deg + rng.normal(0, u_lean)))


def scenes(
    rng: np.random.Generator, s: Shop, ribs: Sequence[Standing], view: Viewpoint, u_lean: float, string: bool
) -> tuple[Scene, ...]:
    """What is seen of the ribs in one photo. Raises ValueError where something lies outside the picture."""
    photo, out = f"{rng.integers(2**48):012x}", []
    for k, one in enumerate(ribs):
        r = one.rib if string else replace(one.rib, strings_mm=())
        setup = SetUp(
            s.true, r.chord_mm, r.placed, seen_from(view, one.at), r.strings_mm, lean_deg=one.lean_deg, spar_at=0.3,
            angle_deg=r.angle_deg, noise=s.noise,
        )  # fmt: skip
        scene = observe(rng, s, r, setup)
        lean = Lean(s.lean_deg, u_lean, f"lean of {r.name}", 1.0)
        lines = tuple(line for line in scene.lines if line.role != "spar")
        out.append(replace(scene, lines=lines, lean=lean, photo=f"{photo} {r.name}" if k else photo))
    return tuple(out)


def angles(seen: tuple[Scene, ...]) -> list[Quantity] | None:
    """Chord angles of the ribs; None where a pose cannot be solved for."""
    shown = any(line.role == "plumb" for c in seen for line in c.lines)
    poses = []
    for c in seen:
        alone = replace(c, lines=(), lean=None)
        poses.append([with_lines(c, p.state) for p in near(from_starts(alone, starts(alone)))])
    gravity = poses[0][0].gravity
    poses = [[replace(p, gravity=gravity) for p in each] for each in poses]
    found = together_from(Together(seen, seen[0].photo, not shown), poses)
    got = both_poses(found, seen[0].photo)[0] if found else ()
    chords = [a.chord for a in got if a.chord is not None]
    return chords if len(chords) == len(seen) else None


def held(rng: np.random.Generator, s: Shop, chord_mm: float = 1000.0) -> Viewpoint:
    """The camera as a hand holds it, the ribs behind seen over the foremost."""
    distance = float(s.true.theta[0]) * chord_mm / (rng.uniform(0.5, 0.62) * SIZE[0])
    aim = (float(rng.uniform(-60, 60)), float(rng.uniform(20, 110)))
    return Viewpoint(distance, float(rng.uniform(-10, 10)), float(rng.uniform(-7, 3)), float(rng.uniform(-4, 4)), aim)


def twists(count: int, cards: Cards, string: bool) -> F64:
    """(n, 4) twist's error and u, foremost chord's error and u, degrees, of pairs in one photo."""
    out = []
    for seed in range(count):
        rng = np.random.default_rng([seed, 18, string])
        s = shop(rng, STATED)
        ribs = [standing(rng, s, f"S{k}", k, cards, U_STATED) for k in range(2)]
        for _ in range(20):
            try:
                got = angles(scenes(rng, s, ribs, held(rng, s), U_STATED, string))
                break
            except ValueError:
                continue
        else:
            continue
        if got is not None:
            twist = got[1] - got[0]
            error = twist.value - (ribs[1].chord_deg - ribs[0].chord_deg)
            out.append((error, twist.u, got[0].value - ribs[0].chord_deg, got[0].u))
    return np.array(out)


def two_places(count: int) -> F64:
    """(n, 4) error and u of a station from two places with its lean unstated; u and error of the first with it stated."""
    out = []
    for seed in range(count):
        rng = np.random.default_rng([seed, 19])
        s = shop(rng, "lean not stated")
        r = replace(rib(rng, s, "S0", "one panel", "string near the middle"), chord_mm=1000.0)
        both: list[Reading] = []
        stated: list[Quantity] = []
        lean = float(rng.normal(0, 1.5))
        for side in (-1, 1):
            # one step to the side, the string towards the other end of the picture
            yaw = -side * math.degrees(math.atan(0.5 * STEP_MM / 1400.0)) + float(rng.normal(0, 3))
            view = Viewpoint(
                1400.0, yaw, float(rng.uniform(-5, 5)), float(rng.uniform(-3, 3)), (r.strings_mm[0] / 2, 20.0)
            )
            setup = SetUp(
                s.true, r.chord_mm, r.placed, view, r.strings_mm, lean_deg=lean, spar_at=0.3, angle_deg=r.angle_deg,
                noise=s.noise,
            )  # fmt: skip
            try:
                scene = observe(rng, s, r, setup)
            except ValueError:
                break
            both.append(read(replace(scene, lean=Lean(0.0, U_LEAN["lean not stated"], "lean of S0", 1.0)), "S0"))
            given = float(lean + rng.normal(0, U_STATED))
            one = read(replace(scene, lean=Lean(given, U_STATED, "lean of S0", 1.0)), "S0").chord.quantity
            stated += [one] if one is not None else []
        mean = combine_photos(both, "chord").quantity if len(both) == 2 and len(stated) == 2 else None
        true = Standing(r, (0, 0, 0), lean).chord_deg
        if mean is not None:
            out.append((mean.value - true, mean.u, stated[0].u, stated[0].value - true))
    return np.array(out)


def chain(seed: int, stations: int = 12) -> F64:
    """(stations, 2) error and u of a wing by overlapping pairs of two panels a rib, every other photo without a string."""
    rng = np.random.default_rng([seed, 20])
    s = shop(rng, STATED)
    ribs = [standing(rng, s, f"S{k}", 0, "one panel", U_STATED) for k in range(stations)]
    seen: dict[str, list[Reading]] = {r.rib.name: [] for r in ribs}
    for k in range(stations - 1):
        pair = [ribs[k], replace(ribs[k + 1], at=(0.0, 340.0, 150.0), rib=replace(ribs[k + 1].rib, strings_mm=()))]
        got = None
        while got is None:
            try:
                got = angles(photographed := scenes(rng, s, pair, held(rng, s), U_STATED, k % 2 == 0))
            except ValueError:
                continue
        sha = photographed[0].photo
        for j, (one, q) in enumerate(zip(pair, got, strict=True)):
            known = Angle(q) if k % 2 == 0 else Angle(None, "no level reference was found")
            seen[one.rib.name].append(
                Reading(
                    Photo(sha, sha, *SIZE, None, None),
                    one.rib.name,
                    known,
                    Angle(None, "-"),
                    "right",
                    None,
                    Made("simulated", None, None),
                    foremost=j == 0,
                    relative=None if k % 2 == 0 else q,
                )
            )
    own = {n: combine_photos(each, "chord") for n, each in seen.items()}
    ties = ties_of(seen, own)
    out = []
    for one in ribs:
        tied = with_tie(own[one.rib.name], ties.get(one.rib.name)).quantity
        out.append((np.nan, np.nan) if tied is None else (tied.value - one.chord_deg, tied.u))
    return np.array(out)


def told(name: str, error: F64, u: F64) -> str:
    """A row of the table."""
    covered = float(np.mean(np.abs(error) <= 2 * u))
    return (
        f"| {name} | {len(error)} | {np.median(np.abs(error)):.3f} | {np.quantile(np.abs(error), 0.95):.3f} | "
        f"{2 * np.median(u):.3f} | {covered:.1%} | {np.abs(error / u).max():.1f} |"
    )


def main() -> None:
    p = argparse.ArgumentParser(description=__doc__)
    p.add_argument("--pairs", type=int, default=100)
    p.add_argument("--places", type=int, default=60)
    p.add_argument("--chains", type=int, default=4)
    args = p.parse_args()
    print(f"Python {platform.python_version()}, NumPy {np.__version__}\n")
    print("| what | n | median error | 95 % within | median U | within U | largest error / u |")
    print("|---|--:|--:|--:|--:|--:|--:|", flush=True)
    kinds: tuple[Cards, ...] = ("one panel", "two panels")
    for cards in kinds if args.pairs else ():
        for string in (True, False):
            t = twists(args.pairs, cards, string)
            if string:
                print(told(f"chord of the foremost rib, {cards}", t[:, 2], t[:, 3]))
            print(told(f"twist, {cards}, {'a string' if string else 'no string'}", t[:, 0], t[:, 1]), flush=True)
    if args.places:
        both = two_places(args.places)
        print(told("one photo, lean stated to 0.3", both[:, 3], both[:, 2]))
        print(told("two places, lean unstated", both[:, 0], both[:, 1]), flush=True)
    if not args.chains:
        return
    ends = np.concatenate([chain(seed) for seed in range(args.chains)])
    print(told("station of a chain of 12", *ends[~np.isnan(ends[:, 0])].T))
    print(f"\n{np.isnan(ends[:, 0]).sum()} of the chains' {len(ends)} stations without an angle")


if __name__ == "__main__":
    main()
