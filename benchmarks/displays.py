"""How often the display reader is right, refuses, or is wrong: drawn displays it was not tuned on.

    python benchmarks/displays.py [--drawn 1500] [--gauges 400] [--tagged 400] [--seed 2025] [--family measure] [--out PART.md]

drawn: displays of our own drawing (`display_render`), read by their marked corners; gauges: whole gauges whose figures
are set in the DSEG fonts (`display_gauge`; Debian package `fonts-dseg`), read by marked corners; tagged: such gauges
with the printed tag beside the display, every second one upside down (`display_tagged`), read by the tag. Each display
has a seed of its own, so a run can be shared out with --part K/N and its parts added up.
"""

from __future__ import annotations

import argparse
import platform
import re
import time
from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from pathlib import Path

import cv2
import numpy as np
from display_gauge import FONTS, draw_gauge, photograph
from display_render import Family, Shown, draw_display
from display_tagged import by_tag, draw_tagged

from shared.files import write_whole
from vision.display.read import read_display

Draw = Callable[[np.random.Generator, Family], Shown | None]
ORNATE = "SEGGCHAN"
"""A face whose figures are eggs with eyes and a mouth: counted with the others, and told apart."""


@dataclass
class Tally:
    """How a set of displays was read. wrong : (number, shown, read, confidence, what it looked like)."""

    total: int = 0
    right: int = 0
    wrong: list[tuple[int, str, str, float, str]] = field(default_factory=list)
    why: Counter[str] = field(default_factory=Counter)
    faces: Counter[str] = field(default_factory=Counter)
    unread: Counter[str] = field(default_factory=Counter)

    @property
    def given(self) -> int:
        """Readings given."""
        return self.right + len(self.wrong)


def gauge_photo(rng: np.random.Generator, family: Family) -> Shown:
    """A whole gauge in a photo."""
    return photograph(draw_gauge(rng, family), rng)


def gauge_by_tag(rng: np.random.Generator, family: Family) -> Shown | None:
    """A whole gauge with its tag, every second one upside down; its corners by the tag, None without it."""
    tagged = draw_tagged(rng, family)
    corners = by_tag(tagged)
    return None if corners is None else replace(tagged.shown, corners=corners)


def judged(draw: Draw, family: Family, seed: int, numbers: range) -> Tally:
    """Draw and read the displays of these numbers."""
    tally = Tally()
    for i in numbers:
        shown = draw(np.random.default_rng([seed, i]), family)
        tally.total += 1
        if shown is None:
            tally.why["tag not found"] += 1
            continue
        found = read_display(shown.image, shown.corners)
        face = ORNATE if ORNATE in shown.what else ""
        tally.faces[face] += 1
        if found.text is None:
            tally.why[re.sub(r'".*?"|\d+', "#", found.reason or "")] += 1
            tally.unread[face] += 1
        elif found.text == shown.text:
            tally.right += 1
        else:
            tally.wrong.append((i, shown.text, found.text, found.confidence, shown.what))
    return tally


def rows(name: str, tally: Tally) -> list[str]:
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
    return said


def main() -> None:
    """Print what was found, and write it where asked."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--drawn", type=int, default=1500)
    parser.add_argument("--gauges", type=int, default=400)
    parser.add_argument("--tagged", type=int, default=400)
    parser.add_argument("--seed", type=int, default=2025)
    parser.add_argument("--family", choices=["tune", "measure"], default="measure")
    parser.add_argument("--part", default="1/1", help="the K-th of N parts")
    parser.add_argument("--out", type=Path)
    args = parser.parse_args()
    k, n = (int(v) for v in args.part.split("/"))
    start = time.perf_counter()
    said = [f"family {args.family}, seed {args.seed}, part {args.part}; Python {platform.python_version()}, "
            f"NumPy {np.__version__}, OpenCV {cv2.__version__}"]  # fmt: skip
    said += ["", "| set | displays | given | right of those given | wrong |", "| --- | --- | --- | --- | --- |"]
    sets: list[tuple[str, Draw, int]] = [("drawn displays", draw_display, args.drawn)]
    if FONTS.is_dir():
        sets.append(("whole gauges, DSEG figures", gauge_photo, args.gauges))
        sets.append(("whole gauges by their tag, every second one upside down", gauge_by_tag, args.tagged))
    else:
        said.append(f"(no gauges: {FONTS} is not there)")
    for name, draw, count in sets:
        said += rows(name, judged(draw, args.family, args.seed, range(k - 1, count, n)))
        print("\n".join(said), flush=True)
    print(f"{time.perf_counter() - start:.0f} s")
    if args.out is not None:
        write_whole(args.out, "\n".join(said) + "\n")


if __name__ == "__main__":
    main()
