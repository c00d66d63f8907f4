"""A camera that stands still: small turns seen, U bet on, the watch through the cure, and faults.

    python benchmarks/live.py --scenes 24 --still 120 --out docs/live.md

Every scene is drawn by chance, read in full, then drawn again and again with the rib turned in steps of 0.02
degrees, and by larger turns. As on a jig, the rib tilts a little as it turns (what U allows for). Faults: other
light, a bumped camera, a loose card, a hand before the line.
"""

from __future__ import annotations

import math
import time
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import click
import numpy as np
from joblib import Parallel, delayed
from scipy import stats
from shop import Scene, Truth, draw
from shop.chance import Cards, good_scene
from shop.jobs import job_for, lens_for
from shop.turned import draw_turns
from tables import environment, markdown

from rigging.live.cure_watch import QUANTITIES, RATE, threshold
from shared.files import write_whole
from shared.flags import in_doubt
from vision.image.photo import Picture
from vision.live.relative import Change, Start, begin, compare
from vision.live.rigid_fit import HINGE_DEG, PLAY_DEG
from vision.live.stillness import MOVED_PX, SURELY, Background
from vision.reader import read_fully

CARDS: tuple[Cards, ...] = ("panel", "strip", "panels", "strips")
STEP_DEG, STEPS = 0.02, 5
FAR_DEG = (0.3, -1.0)
STILL_SCENES = 3
CARRIED: dict[str, dict[str, float]] = {
    "camera swung round 0.05°": {"yaw_deg": 0.05},
    "camera swung up 0.3°": {"pitch_deg": 0.3},
}
TURNED = {
    "camera not turned": (0.0, 0.0, 0.0),
    "rolled 0.005°": (0.0, 0.0, 0.005),
    "rolled 0.01°": (0.0, 0.0, -0.01),
    "rolled 0.02°": (0.0, 0.0, 0.02),
    "rolled 0.05°": (0.0, 0.0, -0.05),
    "panned 0.004°": (0.0, 0.004, 0.0),
    "tilted 0.004°": (-0.004, 0.0, 0.0),
    "a little of each": (0.002, -0.002, 0.006),
}
POOR = 16
"""Places of the background that are left, next to each other, to see what a poor one makes of the same turns."""
GROUNDS = {"turned": "all that is seen of the background", "turned, poor": f"{POOR} places next to each other alone"}
FIRST_SEED = 48_000


@dataclass(frozen=True)
class Told:
    """One photo against the first. error, u, loose : degrees; error NaN where nothing was told, with the reason."""

    scene: int
    kind: str
    turn: float
    error: float
    u: float
    full_u: float
    reason: str
    loose: bool
    seconds: float
    still_u: float = math.nan
    name: str = ""


@click.command(help=__doc__)
@click.option("--scenes", default=12, show_default=True, help="Scenes that are read without a doubt.")
@click.option("--still", default=60, show_default=True, help="Photos of one scene in which nothing moves.")
@click.option("--workers", default=1, show_default=True)
@click.option("--out", type=click.Path(dir_okay=False, path_type=Path), help="Markdown.")
def main(scenes: int, still: int, workers: int, out: Path | None) -> None:
    """Draw, measure, compare, print, write."""
    begun = time.perf_counter()
    run = Parallel(workers, return_as="generator")
    told: list[Told] = []
    tried = count = 0
    for some in run(delayed(of_scene)(seed) for seed in range(4 * scenes)):
        tried += 1
        if some:
            count += 1
            told += some
        if count >= scenes:
            break
    seeds = list(dict.fromkeys(t.scene for t in told))[:STILL_SCENES]
    resting = [t for ts in run(delayed(of_still)(seed, still // STILL_SCENES) for seed in seeds) for t in ts]
    text = report(told, resting, tried, count, time.perf_counter() - begun)
    click.echo(text)
    if out is not None:
        write_whole(out, text)


def scene_of(seed: int) -> Scene:
    """A scene by chance: all kinds of cards, strings and lasers, every third rib leaning."""
    return good_scene(FIRST_SEED + seed, CARDS[seed % 4], "laser" if seed % 5 == 4 else "plumb", lean=seed % 3 == 0)


def started(seed: int) -> tuple[Scene, Start, Truth] | None:
    """The scene's first photo; None where it is refused or doubted, as it would not be followed then."""
    scene = scene_of(seed)
    bgr, truth = draw(scene)
    start = _started_from(scene, bgr, seed)
    return None if start is None else (scene, start, truth)


def _started_from(scene: Scene, bgr: Any, seed: int) -> Start | None:
    picture = Picture.from_array(bgr)
    seen = read_fully(picture, job_for(scene), lens=lens_for(scene.camera, np.random.default_rng(seed)))
    r = seen.reading
    if r.chord.quantity is None or in_doubt((*r.flags, *r.chord.flags)):
        return None
    return begin(picture, seen, scene.chord_mm)


def of_scene(seed: int) -> list[Told]:
    """All photos of one scene; none where the first is refused."""
    got = started(seed)
    if got is None:
        return []
    scene, start, truth = got
    rng = np.random.default_rng([seed, 9])
    turns = [("steps", STEP_DEG * k) for k in range(1, STEPS + 1)] + [("far", t) for t in FAR_DEG]
    found = []
    motion = None
    for k, (kind, turn) in enumerate(turns, 1):
        play = math.hypot(PLAY_DEG, math.tan(math.radians(HINGE_DEG)) * turn)
        moved = _turned(scene, turn, lean_deg=scene.lean_deg + play * rng.normal())
        bgr, now = draw(moved, k, play * rng.normal())
        change, seconds = _timed(start, bgr, motion)
        motion = change.motion
        found.append(_told(seed, kind, turn, change, now.chord_deg - truth.chord_deg, start, seconds))
    light = _turned(scene, 0.02, exposure=0.75 * scene.exposure, gradient=min(0.45, scene.gradient + 0.15))
    faults: list[tuple[str, Scene, float]] = [("other light", light, 0.02)]
    faults += [(name, replace(scene, **_added(scene, change)), 0.0) for name, change in CARRIED.items()]
    loose = tuple(replace(c, turn_deg=c.turn_deg + 0.1) for c in scene.cards)
    faults.append(("cards turned 0.1°", replace(scene, cards=loose), 0.0))
    for k, (kind, fault, turn) in enumerate(faults, 50):
        change, seconds = _timed(start, draw(fault, k)[0], None)
        found.append(_told(seed, kind, turn, change, turn, start, seconds))
    found += _of_turns(scene, seed)
    hidden = draw(scene, 90)[0]
    at = np.rint(start.plane.to_pixels(start.chord.a)).astype(int)
    for x, y in at[int(0.2 * len(at)) : int(0.45 * len(at))]:
        hidden[max(0, y - 30) : y + 30, max(0, x - 15) : x + 15] = (90, 120, 170)
    change, seconds = _timed(start, hidden, None)
    found.append(_told(seed, "a hand over a quarter of the line", 0.0, change, 0.0, start, seconds))
    return found


def _of_turns(scene: Scene, seed: int) -> Iterator[Told]:
    """The camera turned on the spot, before the whole background and before a poor one."""
    photos = draw_turns(scene, list(TURNED.values()), 80)
    start = _started_from(scene, photos[0], seed)
    if start is None:
        return
    poor = replace(start, background=_poor(start.background, seed))
    for kind, photo in zip(TURNED, photos[1:], strict=True):
        for before, ground in ((start, "turned"), (poor, "turned, poor")):
            change, seconds = _timed(before, photo, None)
            told = _told(seed, ground, 0.0, change, 0.0, before, seconds)
            yield replace(told, name=kind)


def _poor(background: Background, seed: int) -> Background:
    """The POOR places next to one of them, by chance."""
    if not len(background.centres):
        return background
    at = background.centres[np.random.default_rng([seed, 4]).integers(len(background.centres))]
    near = np.argsort(np.linalg.norm(background.centres - at, axis=1), kind="stable")[:POOR]
    return replace(background, centres=background.centres[near], patterns=background.patterns[near])


def of_still(seed: int, count: int) -> list[Told]:
    """Photos of a scene in which nothing moves."""
    got = started(seed)
    if got is None:
        return []
    scene, start, _ = got
    found = []
    for k in range(count):
        change, seconds = _timed(start, draw(scene, 1000 + k)[0], None)
        found.append(_told(seed, "still", 0.0, change, 0.0, start, seconds))
    return found


def _turned(scene: Scene, turn: float, **more: Any) -> Scene:
    spar = None if scene.spar_deg is None else scene.spar_deg + turn
    return replace(scene, chord_deg=scene.chord_deg + turn, spar_deg=spar, **more)


def _added(scene: Scene, change: dict[str, float]) -> dict[str, Any]:
    return {name: getattr(scene, name) + by for name, by in change.items()}


def _timed(start: Start, bgr: Any, motion: Any) -> tuple[Change, float]:
    picture = Picture.from_array(bgr)
    begun = time.perf_counter()
    return compare(start, picture, motion), time.perf_counter() - begun


def _told(seed: int, kind: str, turn: float, change: Change, truth: float, start: Start, seconds: float) -> Told:
    error = math.nan if change.turn is None else change.turn.value - truth
    u = math.nan if change.turn is None else change.turn.u
    still = math.nan if change.turn is None else change.turn.budget().get("camera's stillness", 0.0)
    return Told(seed, kind, turn, error, u, start.value.u, change.reason, change.loose, seconds, still)


def report(told: Sequence[Told], resting: Sequence[Told], tried: int, count: int, seconds: float) -> str:
    """The page."""
    good = [t for t in told if t.kind in ("steps", "far")]
    rows = [_row("steps of 0.02°", [t for t in told if t.kind == "steps"])]
    rows += [_row(f"turned {t:+g}°".replace("-", "\N{MINUS SIGN}"), [g for g in good if g.turn == t]) for t in FAR_DEG]
    rows.append(_row("all", good))
    head = (
        "photos",
        "",
        "n",
        "not told",
        "median \\|e\\|",
        "95 % \\|e\\|",
        "median u",
        "largest u",
        "u ≤ 0.005°",
        "sd of e/u",
        "U covers",
        "worst \\|e\\|/u",
    )
    full = float(np.median([t.full_u for t in good]))
    steps = [t for t in told if t.kind == "steps" and math.isfinite(t.error)]
    told_steps = {(t.scene, t.turn): t for t in steps}
    between = [
        told_steps[s, a].error - t.error for (s, b), t in told_steps.items() if (s, a := _before(b)) in told_steps
    ]
    wrong = sum(abs(e) > STEP_DEG / 2 for e in between)
    return "\n".join(
        [
            "# Live setting: measured",
            "",
            "Made by `python benchmarks/live.py`; on drawn photos "
            f"of 2000 x 1500 pixels, {count} scenes by chance (of {tried} drawn; the others were refused or doubted when read in "
            "full, and would not be followed). Turns include the tilt of a rib on its jig that U allows for: "
            f"{PLAY_DEG:g}° of play and an axis {HINGE_DEG:g}° out of square, standard deviations.",
            "",
            markdown(head, rows),
            "",
            *_meaning(good),
            "",
            f"Read in full, the same angles have a median u of {full:.3f}°: lens, lean, seat of the card and the string's own "
            "error, which cancel in the change.",
            "",
            f"From one step of 0.02° to the next the seen change was off by more than half a step in {wrong} of {len(between)} "
            f"pairs; its standard deviation was {float(np.std(between)):.4f}°.",
            "",
            f"A comparison took {float(np.median([t.seconds for t in good])):.1f} s (median, one core).",
            "",
            "## Faults",
            "",
            *_faults(told),
            "",
            "## The camera's own stillness",
            "",
            *_stillness(told),
            "",
            "## The watch through the cure",
            "",
            *_watch(resting),
            "",
            f"{environment()}; {seconds / 60:.0f} min.",
            "",
        ]
    )


def _meaning(good: Sequence[Told]) -> Iterator[str]:
    """What the table says of U. Scenes, not photos, are drawn anew by the bootstrap (Efron, Annals of Statistics 7, 1979):
    the photos of one share its first one's noise."""
    pulls = [
        np.array([abs(t.error) / t.u for t in good if t.scene == s and math.isfinite(t.error)])
        for s in dict.fromkeys(t.scene for t in good)
    ]
    pulls = [p for p in pulls if len(p)]
    rng = np.random.default_rng(1)
    anew = [np.concatenate([pulls[k] for k in rng.integers(0, len(pulls), len(pulls))]) for _ in range(4000)]
    low, high = np.quantile([(p <= 2).mean() for p in anew], [0.025, 0.975])
    whole = np.concatenate(pulls)
    outside = sum((p > 2).mean() > 0.5 for p in pulls)
    yield (
        f"U covers {(whole <= 2).mean():.1%} of all changes; in {outside} of {len(pulls)} scenes it misses most of them: the "
        "photos of a scene share the first one's noise, and whole scenes miss together. By scenes drawn anew (bootstrap) the "
        f"share lies between {low:.0%} and {high:.0%}; the worst change is {whole.max():.1f} u off."
    )
    if high < 0.95 or whole.max() > 3:
        yield ""
        yield ("**U is a little too small here**: take a change that is to decide something at 4 u.")


def _before(turn: float) -> float:
    return STEP_DEG * (round(turn / STEP_DEG) - 1)


def _row(name: str, some: Sequence[Told]) -> list[str]:
    seen = [t for t in some if math.isfinite(t.error)]
    e, u = np.array([t.error for t in seen]), np.array([t.u for t in seen])
    pull = e / u
    return [
        name,
        "",
        str(len(some)),
        str(len(some) - len(seen)),
        f"{np.median(abs(e)):.4f}°",
        f"{np.quantile(abs(e), 0.95):.4f}°",
        f"{np.median(u):.4f}°",
        f"{u.max():.4f}°",
        f"{(u <= 0.005).mean():.1%}",
        f"{pull.std():.2f}",
        f"{(abs(pull) <= 2).mean():.1%}",
        f"{abs(pull).max():.1f}",
    ]


def _faults(told: Sequence[Told]) -> Iterator[str]:
    """What was said of each fault; a wrong value is one beyond 3 u with no word of the fault."""
    head = ("fault", "", "n", "refused", "camera told of", "card told of", "value beyond 3 u, untold")
    kinds = dict.fromkeys(t.kind for t in told if t.kind not in ("steps", "far", *GROUNDS))
    rows = []
    for kind in kinds:
        some = [t for t in told if t.kind == kind]
        wrong = sum(abs(t.error) > 3 * t.u and not t.loose for t in some if math.isfinite(t.error))
        rows.append(
            [
                kind,
                "",
                str(len(some)),
                str(sum(not math.isfinite(t.error) for t in some)),
                str(sum("moved or refocused" in t.reason or "background" in t.reason for t in some)),
                str(sum(t.loose for t in some)),
                str(wrong),
            ]
        )
    yield markdown(head, rows)


def _stillness(told: Sequence[Told]) -> Iterator[str]:
    """What a camera turned on the spot does to the change of a rib that did not turn."""
    yield (
        "A camera turned about its own middle by hundredths of a degree and less, the rib untouched: the finished picture "
        "turned exactly, noise added afterwards. Drawn anew, as for the carries above, the background's polygons would not "
        "follow such turns: their corners lie on a raster of a sixteenth of a pixel. The turn that the background shows is "
        "corrected for; what it leaves uncertain is the component \"camera's stillness\" of the change's u: the "
        "patches' noise, and what a carry past things near and far would feign. "
        "The camera is told of as moved where the picture's corner "
        f"has shifted by more than {MOVED_PX:g} pixels (at 2000 across) and {SURELY:g} times what its noise makes; a poor "
        "background so makes u large instead of crying wolf."
    )
    head = (
        "camera",
        "",
        "n",
        "camera told of",
        "not told otherwise",
        "median stillness u",
        "median u",
        "largest u",
        "u ≤ 0.005°",
        "U covers",
        "worst \\|e\\|/u",
        "beyond 3 u, untold",
    )
    for ground, words in GROUNDS.items():
        yield ""
        yield f"With {words}:"
        yield ""
        rows = []
        some = [t for t in told if t.kind == ground]
        for name, mine in [(n, [t for t in some if t.name == n]) for n in TURNED] + [("all", some)]:
            seen = [t for t in mine if math.isfinite(t.error)]
            moved = sum("moved" in t.reason and "background" in t.reason for t in mine)
            e, u, still = (np.array([getattr(t, f) for t in seen]) for f in ("error", "u", "still_u"))
            row = [name, "", str(len(mine)), str(moved), str(len(mine) - moved - len(seen))]
            row += (
                ["–"] * 7
                if not seen
                else [
                    f"{np.median(still):.4f}°",
                    f"{np.median(u):.4f}°",
                    f"{u.max():.4f}°",
                    f"{(u <= 0.005).mean():.1%}",
                    f"{(abs(e) <= 2 * u).mean():.1%}",
                    f"{(abs(e) / u).max():.1f}",
                    str(int((abs(e) > 3 * u).sum())),
                ]
            )
            rows.append(row)
        yield markdown(head, rows)


def _watch(resting: Sequence[Told]) -> Iterator[str]:
    photos = 720
    h = threshold(photos)
    z = np.array([t.error / t.u for t in resting if math.isfinite(t.error)])
    u = float(np.median([t.u for t in resting if math.isfinite(t.u)]))
    yield (
        f"A photo every minute for 12 hours, {photos} photos, {QUANTITIES} quantities (turn, slide along, slide up): a "
        f"warning is given where one is beyond h = {h:.2f} u in two photos running, to the same side. The chance that "
        f"any single one of the {photos * QUANTITIES} is beyond h where nothing moves is at most {RATE:.0%} "
        "(Bonferroni), whatever they share."
    )
    yield ""
    rng = np.random.default_rng(11)
    runs, single, double = 20_000, 0, 0
    for _ in range(runs):
        first = rng.standard_normal(QUANTITIES) * 0.5**0.5
        many = np.abs(first + rng.standard_normal((photos, QUANTITIES)) * 0.5**0.5)
        over = many > h
        single += bool(over.any())
        double += bool((over[1:] & over[:-1]).any())
    yield (
        f"Simulated, {runs} such runs with normal noise, half of its variance the first photo's and so in all: "
        f"{single} had a photo beyond h ({single / runs:.2%}), {double} two running."
    )
    yield ""
    yield (
        f"Drawn: {len(z)} photos of {len({t.scene for t in resting})} scenes in which nothing moved gave a largest "
        f"|change|/u of {np.abs(z).max():.1f}, standard deviation {z.std():.2f}, kurtosis {stats.kurtosis(z):+.1f} beside a "
        f"normal's 0; {int((np.abs(z) > h).sum())} beyond h. With their median u of {u:.4f}° a movement of {h * u:.3f}° is "
        "warned of."
    )


if __name__ == "__main__":
    main()
