"""Trains both networks.

    python -m training.displays.train [--data build/displays] [--rounds 12 8] [--batch 64 256] [--rate 4e-3 7e-3]
                                      [--start FOLDER] [--seed 1] [--device cpu] [--out FOLDER]

Pairs of numbers are the finder's and the cells' network's. Writes finder.onnx and cells.onnx (to `vision/display` unless
told otherwise); 0 rounds leave a network as it is. The same seed, examples, device and library versions give the same
files. The examples lie on the device: 7 GB for 80,000 scenes.
"""

from __future__ import annotations

import argparse
import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import torch
from joblib import Parallel, delayed
from torch import Tensor, nn
from torch.nn.functional import binary_cross_entropy_with_logits, cross_entropy, l1_loss

from training.displays.face import UNDECIDED
from training.displays.nets import finder, read_onnx, reader, seeded, write_onnx
from vision.display.finder import contrast
from vision.display.strip import HIGH, WIDE, levelled

Loss = Callable[..., Tensor]


def finder_loss(answer: Tensor, truth: Tensor) -> Tensor:
    """Figure or not, and where there is one, its measures."""
    hot, judged = truth[:, 0] == 1, truth[:, 0] >= 0
    about = truth[:, 0] != 0
    found = binary_cross_entropy_with_logits(
        answer[:, 0][judged], hot[judged].float(), pos_weight=torch.tensor(4.0, device=hot.device)
    )
    measures = answer[:, 1:4].permute(0, 2, 3, 1)[about], truth[:, 1:4].permute(0, 2, 3, 1)[about]
    light = binary_cross_entropy_with_logits(answer[:, 4][about], truth[:, 4][about])
    return 20 * found + 2 * l1_loss(*measures) + 0.3 * light


def reader_loss(answer: Tensor, kind: Tensor, lit: Tensor, point: Tensor, off: Tensor) -> Tensor:
    """What stands at each place, its segments, whether a point does, and how far off the row lies."""
    answer = answer.squeeze(2)
    what = cross_entropy(answer[:, :6], kind, ignore_index=-1)
    figures = kind == 1
    segments = answer[:, 6:13].permute(0, 2, 1)[figures], lit[figures]
    sure = torch.where(segments[1] == UNDECIDED, 0.5, segments[1].float())
    lamps = binary_cross_entropy_with_logits(segments[0], sure)
    judged = point >= 0
    signs = (kind == 1) | (kind == 2)
    row = l1_loss(answer[:, 14:].permute(0, 2, 1)[signs], off[signs])
    return 4 * what + lamps + 3 * binary_cross_entropy_with_logits(answer[:, 13][judged], point[judged].float()) + row


@dataclass(frozen=True)
class Course:
    """How a network is trained. rate : the highest learning rate; good : its weights are good already."""

    rounds: int
    batch: int
    rate: float
    good: bool
    device: str
    seed: int


def train(net: nn.Sequential, examples: tuple[Tensor, ...], loss: Loss, course: Course) -> None:
    """One cycle of the learning rate over all examples, `rounds` times, in an order drawn from the seed."""
    net.to(course.device).train()
    rate, count = course.rate, len(examples[0])
    if course.good:  # small steps, and the normalisation as it is
        rate = rate / 4
        for layer in net:
            if isinstance(layer, nn.BatchNorm2d):
                layer.eval()
    chance = seeded(course.seed)
    optimiser = torch.optim.AdamW(net.parameters(), lr=rate, weight_decay=1e-3)
    steps = course.rounds * (count // course.batch)
    schedule = torch.optim.lr_scheduler.OneCycleLR(optimiser, rate, total_steps=steps, pct_start=0.2)
    start, mean = time.perf_counter(), 0.0
    for round_ in range(course.rounds):
        order = torch.randperm(count, generator=chance).to(course.device)
        for at in range(0, count - course.batch + 1, course.batch):
            images, *truth = (part[order[at : at + course.batch]] for part in examples)
            value = loss(net(images.float()), *truth)
            optimiser.zero_grad()
            value.backward()  # type: ignore[no-untyped-call]
            optimiser.step()
            schedule.step()
            mean = 0.98 * mean + 0.02 * float(value.detach())
        print(f"round {round_ + 1}: loss {mean:.4f}, {time.perf_counter() - start:.0f} s", flush=True)


def _looked_at(look: Callable[[np.ndarray], np.ndarray], images: np.ndarray, jobs: int) -> np.ndarray:
    """What a network sees of each picture, as float16."""

    def some(part: np.ndarray) -> np.ndarray:
        return np.stack([look(one) for one in part]).astype(np.float16)

    parts = np.array_split(images, max(len(images) // 500, 1))
    return np.concatenate(Parallel(n_jobs=jobs, prefer="threads")(delayed(some)(part) for part in parts))


def finder_examples(data: Path, jobs: int) -> tuple[np.ndarray, ...]:
    """Patches as the finder sees them, and their truth (n, 5, h, w)."""
    held = np.load(data / "patches.npz")
    truth = np.ascontiguousarray(np.moveaxis(held["truth"], 3, 1))
    return _looked_at(contrast, held["image"], jobs)[:, None], truth.astype(np.float32)


def reader_examples(data: Path, jobs: int) -> tuple[np.ndarray, ...]:
    """Strips as the cells' network sees them, and their truth: kind, segments, point, how far off."""
    held = np.load(data / "strips.npz")
    truth = (held["kind"].astype(np.int64), held["lit"], held["point"], held["off"].astype(np.float32))
    return _looked_at(levelled, held["image"], jobs), *truth


def main() -> None:
    """Train and write the networks."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--data", type=Path, default=Path("build/displays"))
    parser.add_argument("--rounds", type=int, nargs=2, default=(12, 8))
    parser.add_argument("--batch", type=int, nargs=2, default=(64, 256))
    parser.add_argument("--rate", type=float, nargs=2, default=(4e-3, 7e-3))
    parser.add_argument("--start", type=Path, help="go on from the networks in this folder")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--device", default="cpu")
    parser.add_argument("--jobs", type=int, default=1, help="threads that prepare the examples")
    parser.add_argument("--out", type=Path, default=Path("vision/display"))
    args = parser.parse_args()
    if args.device == "cpu":
        torch.set_num_threads(1)
    tasks: tuple[tuple[str, Any, Any, Loss, tuple[int, int, int]], ...] = (
        ("finder", finder, finder_examples, finder_loss, (1, 96, 192)),
        ("cells", reader, reader_examples, reader_loss, (2, HIGH, WIDE)),
    )
    for k, (name, make, examples, loss, shape) in enumerate(tasks):
        if args.rounds[k] == 0:
            continue
        course = Course(args.rounds[k], args.batch[k], args.rate[k], args.start is not None, args.device, args.seed)
        seeded(args.seed)
        net = make()
        if args.start is not None:
            read_onnx(net, args.start / f"{name}.onnx")
        train(net, tuple(torch.from_numpy(a).to(args.device) for a in examples(args.data, args.jobs)), loss, course)
        write_onnx(net, shape, name == "finder", args.out / f"{name}.onnx")


if __name__ == "__main__":
    main()
