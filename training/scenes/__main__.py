"""Make wings: python -m training.scenes OUT --seed S --wings N [...]. A wing's seed is S + its number."""

from __future__ import annotations

import argparse
import datetime
import json
import multiprocessing as mp
import os
import time
from concurrent.futures import FIRST_COMPLETED, Future, ProcessPoolExecutor, wait
from concurrent.futures.process import BrokenProcessPool
from pathlib import Path
from typing import Any

from training.scenes.effects import EFFECTS, GROUPS, NAMES, WITHHELD, Choice
from training.scenes.work import Task, start, take

RETRIES = 2
"""Times a photo is tried again after a worker process died under it."""


def arguments() -> argparse.Namespace:
    """Read the command line."""
    p = argparse.ArgumentParser(
        "python -m training.scenes", description="Ray-traced photos of wing ribs with exact labels."
    )
    p.add_argument("out", type=Path, nargs="?")
    p.add_argument("--seed", type=int, default=1)
    p.add_argument("--wings", type=int, default=1)
    p.add_argument("--first", type=int, default=0, help="number of the first wing")
    p.add_argument("--shots", type=int, default=14, help="photos a wing")
    p.add_argument("--processes", type=int, default=1)
    p.add_argument("--scale", default="", help="size of the photos, 1 = 12 megapixels; A-B: drawn for each phone")
    p.add_argument("--spp", type=int, default=16, help="paths a pixel")
    p.add_argument("--judge", action="store_true", help="draw the withheld effects too")
    p.add_argument("--without", default="", help="effects to leave out, by commas")
    p.add_argument("--only", default="", help="effects to allow, by commas; all others are off")
    p.add_argument("--chance", default="", help="other chances of effects: NAME=P,...")
    p.add_argument("--lens", action="store_true", help="10 photos of a chessboard for each phone")
    p.add_argument("--walls", type=Path, help="folder of photographs to use as walls")
    p.add_argument("--variant", default="", help="Mitsuba variant; by default what the machine has")
    p.add_argument("--gpus", type=int, default=0, help="spread the processes over so many GPUs")
    p.add_argument("--minutes", type=float, default=1e9, help="start no photo after this long")
    p.add_argument("--list", action="store_true", help="list the effects and end")
    return p.parse_args()


def variant_here() -> str:
    """The fastest Mitsuba variant this machine can run."""
    if Path("/dev/nvidiactl").exists() or Path("/usr/local/nvidia").exists():
        return "cuda_ad_rgb"
    return "llvm_ad_rgb" if os.environ.get("DRJIT_LIBLLVM_PATH") else "scalar_rgb"


def names(listed: str, p: str) -> frozenset[str]:
    """Effect names from a list with commas."""
    found = frozenset(n.strip() for n in listed.split(",") if n.strip())
    if found - NAMES:
        raise SystemExit(f"--{p}: {', '.join(sorted(found - NAMES))} is no effect; --list names them")
    return found


def chances(listed: str) -> dict[str, float]:
    """Chances from a list of NAME=P with commas."""
    pairs = [n.split("=") for n in listed.split(",") if n.strip()]
    names(",".join(p[0] for p in pairs), "chance")
    return {name.strip(): float(p) for name, p in pairs}


def tasks_of(args: argparse.Namespace) -> list[Task]:
    """All photos to take, wing by wing."""
    low, _, high = (args.scale or ("1" if args.judge else "0.6")).partition("-")
    choice = Choice(
        args.judge, names(args.without, "without"), names(args.only, "only"), tuple(chances(args.chance).items())
    )
    files = sorted(args.walls.iterdir()) if args.walls else []
    walls = tuple(str(f) for f in files if f.suffix.lower() in (".jpg", ".png", ".jpeg"))
    scales = float(low), float(high or low)
    tasks = []
    for w in range(args.first, args.first + args.wings):
        seed = args.seed + w
        common = Task(args.out / f"w{w:02d}", seed, seed - w % 3, 0, scales, args.spp, choice, walls)
        tasks += [common.at(k) for k in range(args.shots)]
        tasks += [common.at(k, True) for k in range(10)] if args.lens and w % 3 == 0 else []
    return tasks


def run(args: argparse.Namespace, tasks: list[Task]) -> int:
    """Take all photos, writing each wing's truth as it grows; how many were made."""
    begin, made, tried = time.time(), 0, dict.fromkeys(tasks, 0)
    truth: dict[Path, dict[str, Any]] = {}
    left = list(reversed(tasks))
    while left and time.time() - begin < 60 * args.minutes:
        context = mp.get_context("spawn")
        counter = context.Value("i", 0)
        setup = (args.variant or variant_here(), args.gpus, counter)
        with ProcessPoolExecutor(args.processes, context, start, setup) as pool:
            going: dict[Future[Any], Task] = {}
            try:
                while left or going:
                    while left and len(going) < args.processes + 2 and time.time() - begin < 60 * args.minutes:
                        task = left.pop()
                        going[pool.submit(take, task)] = task
                    if not going:
                        break
                    for done in wait(going, return_when=FIRST_COMPLETED).done:
                        result = done.result()
                        task = going.pop(done)
                        made += keep(truth, task, result, begin)
            except BrokenProcessPool:
                for task in going.values():
                    tried[task] += 1
                    if tried[task] <= RETRIES:
                        left.append(task)
                    else:
                        print(f"FAILED {task.folder.name} {task.k}: its process died", flush=True)
    return made


def keep(truth: dict[Path, dict[str, Any]], task: Task, result: Any, begin: float) -> int:
    """Note one photo's truth in the wing's file; 1 if it was made."""
    if isinstance(result, str):
        print(result, flush=True)
        return 0
    if result is None:
        return 1
    name, record = result
    wing = truth.setdefault(task.folder, {})
    wing[name] = record
    part = task.folder / "truth.part"
    part.write_text(json.dumps(wing), "utf-8")
    part.replace(task.folder / "truth.json")
    stamp = datetime.timedelta(seconds=round(time.time() - begin))
    print(f"{stamp} {task.folder.name}/{name} {record['cost_s']}", flush=True)
    return 1


def main() -> None:
    """The command."""
    args = arguments()
    if args.list:
        for name, p in EFFECTS.items():
            print(f"{name:20s} {p:.2f}{'  withheld' if name in WITHHELD else ''}")
        for group, options in GROUPS.items():
            print(group + ": " + ", ".join(o + ("*" if f"{group}:{o}" in WITHHELD else "") for o in options))
        return
    if args.out is None:
        raise SystemExit("say where to: python -m training.scenes OUT")
    begin = time.time()
    made = run(args, tasks_of(args))
    spent = time.time() - begin
    print(f"photos {made} in {spent:.0f} s, {made / spent:.2f} a second", flush=True)


if __name__ == "__main__":
    main()
