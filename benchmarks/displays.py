"""How often the display reader is right, refuses, or is wrong, and whether its confidence means what it says.

    python benchmarks/displays.py [--drawn 1200] [--gauges 800] [--tagged 600] [--whole 400] [--seed 2025]
                                  [--family measure] [--jobs 1] [--fit] [--list] [--out FILE]

Its networks were trained on faces of `training/displays` alone; these are two other simulators. drawn: displays of our
own drawing (`display_render`), read by their marked corners; gauges: whole gauges whose figures are set in the DSEG fonts
(`display_gauge`; Debian package `fonts-dseg`), read by marked corners; tagged: such gauges with the printed tag beside
the display, every second one upside down (`display_tagged`), read by the tag; whole: such gauges without corners or
tag. Each display has a seed of its own. With --family tune --fit it fits the calibration that `vision.display.read`
holds (`CALIBRATION`); --list names every display that was refused.
"""

from __future__ import annotations

import argparse
import itertools
import platform
import re
import time
from collections import Counter
from collections.abc import Callable
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, field, fields, replace
from pathlib import Path

import cv2
import numpy as np
from display_gauge import FONTS, draw_gauge, photograph
from display_render import Family, Shown, draw_display
from display_tagged import by_tag, draw_tagged
from scipy.optimize import minimize

from shared.files import write_whole
from vision.display.read import CALIBRATION, read_display

Draw = Callable[[np.random.Generator, Family], Shown | None]
ORNATE = "SEGGCHAN"
"""A face whose figures are eggs with eyes and a mouth: counted with the others, and told apart."""
BINS = (0.0, 0.5, 0.8, 0.9, 0.95, 0.99, 0.999, 1.001)
"""Edges of the reliability table's confidences."""


@dataclass
class Tally:
    """How a set of displays was read. wrong : (number, shown, read, confidence, what it looked like).

    refused : (number, shown, reason, what it looked like).

    sure : (confidence, whether it is right) of the likeliest text, given or refused as doubtful. cpu : seconds of all.
    """

    total: int = 0
    right: int = 0
    wrong: list[tuple[int, str, str, float, str]] = field(default_factory=list)
    refused: list[tuple[int, str, str, str]] = field(default_factory=list)
    why: Counter[str] = field(default_factory=Counter)
    faces: Counter[str] = field(default_factory=Counter)
    unread: Counter[str] = field(default_factory=Counter)
    sure: list[tuple[float, bool]] = field(default_factory=list)
    cpu: float = 0.0

    @property
    def given(self) -> int:
        """Readings given."""
        return self.right + len(self.wrong)

    def __add__(self, other: Tally) -> Tally:
        """Both together."""
        return Tally(**{f.name: getattr(self, f.name) + getattr(other, f.name) for f in fields(self)})


def gauge_photo(rng: np.random.Generator, family: Family) -> Shown:
    """A whole gauge in a photo."""
    return photograph(draw_gauge(rng, family), rng)


def gauge_by_tag(rng: np.random.Generator, family: Family) -> Shown | None:
    """A whole gauge with its tag, every second one upside down; its corners by the tag, None without it."""
    tagged = draw_tagged(rng, family)
    corners = by_tag(tagged)
    return None if corners is None else replace(tagged.shown, corners=corners)


def judged(draw: Draw, family: Family, seed: int, numbers: range, marked: bool = True) -> Tally:
    """Draw and read the displays of these numbers. marked : by their corners."""
    tally = Tally()
    for i in numbers:
        shown = draw(np.random.default_rng([seed, i]), family)
        tally.total += 1
        if shown is None:
            tally.why["tag not found"] += 1
            continue
        start = time.process_time()
        found = read_display(shown.image, shown.corners if marked else None)
        tally.cpu += time.process_time() - start
        if found.text is not None or "doubtful" in (found.reason or ""):
            tally.sure.append((found.confidence, (found.text or found.likely[0][0]) == shown.text))
        face = ORNATE if ORNATE in shown.what else ""
        tally.faces[face] += 1
        if found.text is None:
            tally.why[re.sub(r'".*?"|\d+', "#", found.reason or "")] += 1
            tally.refused.append((i, shown.text, found.reason or "", shown.what))
            tally.unread[face] += 1
        elif found.text == shown.text:
            tally.right += 1
        else:
            tally.wrong.append((i, shown.text, found.text, found.confidence, shown.what))
    return tally


def shared_out(draw: Draw, args: argparse.Namespace, count: int, marked: bool) -> Tally:
    """Draw and read `count` displays in `args.jobs` processes."""
    parts = [range(k, count, 8 * args.jobs) for k in range(8 * args.jobs)]
    seed = args.seed + (not marked)
    with ProcessPoolExecutor(args.jobs) as pool:
        done = pool.map(judged, *zip(*((draw, args.family, seed, p, marked) for p in parts), strict=True))
        return sum(done, Tally())


def rows(name: str, tally: Tally, listed: bool) -> list[str]:
    """The table's row, and what was wrong or refused, as text."""
    given = tally.given / max(tally.total, 1)
    right = tally.right / max(tally.given, 1)
    said = [
        f"| {name} | {tally.total} | {tally.given} ({given:.1%}) | {tally.right} ({right:.1%}) | {len(tally.wrong)} |"
    ]
    said += [
        f"  wrong: number {i}, shows {a}, read {b}, confidence {c:.2f} ({what})" for i, a, b, c, what in tally.wrong
    ]
    if tally.faces[ORNATE]:
        n, lost = tally.faces[ORNATE], tally.unread[ORNATE]
        said.append(f"  of these in the ornate face {ORNATE}: {n}, given {n - lost}")
    said += [f"  refused {n} times: {why}" for why, n in tally.why.most_common(8)]
    said += [f"  number {i}, shows {a}: {why} ({what})" for i, a, why, what in sorted(tally.refused)] if listed else []
    return [*said, f"  {tally.cpu / max(tally.total, 1):.2f} CPU s a display"]


def reliability(sure: list[tuple[float, bool]]) -> list[str]:
    """The table of confidences against how often they were right."""
    held = np.array(sure, dtype=np.float64).reshape(-1, 2)
    said = ["| confidence | readings | mean confidence | right |", "| --- | --- | --- | --- |"]
    for low, high in itertools.pairwise(BINS):
        some = held[(held[:, 0] >= low) & (held[:, 0] < high)]
        if len(some):
            said.append(
                f"| {low:g} to {min(high, 1):g} | {len(some)} | {some[:, 0].mean():.3f} | {some[:, 1].mean():.3f} |"
            )
    return said


def fitted(sure: list[tuple[float, bool]]) -> tuple[float, float]:
    """Offset and slope of the log-odds that make the confidences right (Platt's logistic calibration)."""
    held = np.array(sure, dtype=np.float64)
    odds = np.log(np.clip(held[:, 0], 1e-6, 1 - 1e-6) / np.clip(1 - held[:, 0], 1e-6, 1))
    raw = (odds - CALIBRATION[0]) / CALIBRATION[1]
    # two readings, one right and one wrong, stand for what is known beforehand: no slope grows without end
    raw, right = np.append(raw, [3.0, 3.0]), np.append(held[:, 1], [1.0, 0.0])

    def loss(ab: np.ndarray) -> float:
        z = ab[0] + ab[1] * raw
        return float(np.logaddexp(0, np.where(right > 0, -z, z)).sum())

    a, b = minimize(loss, np.array([0.0, 1.0])).x
    return float(a), float(b)


def main() -> None:
    """Print what was found, and write it where asked."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--drawn", type=int, default=1200)
    parser.add_argument("--gauges", type=int, default=800)
    parser.add_argument("--tagged", type=int, default=600)
    parser.add_argument("--whole", type=int, default=400)
    parser.add_argument("--fit", action="store_true", help="fit the calibration")
    parser.add_argument("--seed", type=int, default=2025)
    parser.add_argument("--family", choices=["tune", "measure"], default="measure")
    parser.add_argument("--jobs", type=int, default=1, help="processes that share the work")
    parser.add_argument("--list", action="store_true", help="name every display that was refused")
    parser.add_argument("--out", type=Path)
    args = parser.parse_args()
    start = time.perf_counter()
    said = [f"family {args.family}, seed {args.seed}; Python {platform.python_version()}, "
            f"NumPy {np.__version__}, OpenCV {cv2.__version__}"]  # fmt: skip
    said += ["", "| set | displays | given | right of those given | wrong |", "| --- | --- | --- | --- | --- |"]
    sets: list[tuple[str, Draw, int, bool]] = [("drawn displays", draw_display, args.drawn, True)]
    if FONTS.is_dir():
        sets.append(("whole gauges, DSEG figures", gauge_photo, args.gauges, True))
        sets.append(("whole gauges by their tag, every second one upside down", gauge_by_tag, args.tagged, True))
        sets.append(("whole gauges without corners or tag", gauge_photo, args.whole, False))
    else:
        said.append(f"(no gauges: {FONTS} is not there)")
    sure: list[tuple[float, bool]] = []
    for name, draw, count, marked in sets:
        tally = shared_out(draw, args, count, marked)
        print("\n".join(more := rows(name, tally, args.list)), flush=True)
        said += more
        sure += tally.sure
    said += (more := ["", *reliability(sure)])
    if args.fit:
        more = [*more, "CALIBRATION = ({:.2f}, {:.2f})".format(*fitted(sure))]
    print("\n".join(more))
    print(f"{time.perf_counter() - start:.0f} s")
    if args.out is not None:
        write_whole(args.out, "\n".join(said) + "\n")


if __name__ == "__main__":
    main()
