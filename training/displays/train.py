"""Trains both networks: python -m training.displays.train [--data build/displays] [--rounds 7 9] [--seed 1] [--out vision/display]

Writes finder.onnx and cells.onnx. On one core some minutes; the same seed and library versions give the same files.
"""

from __future__ import annotations

import argparse
import time
from pathlib import Path

import numpy as np
import torch
from torch import Tensor, nn
from torch.nn.functional import binary_cross_entropy_with_logits, cross_entropy, l1_loss

from training.displays.face import UNDECIDED
from training.displays.nets import finder, reader, seeded, write_onnx
from vision.display.finder import contrast
from vision.display.strip import HIGH, WIDE, levelled

BATCH = 64
RATE = 4e-3


def finder_loss(answer: Tensor, truth: Tensor) -> Tensor:
    """Figure or not, and where there is one, its measures."""
    hot, judged = truth[:, 0] == 1, truth[:, 0] >= 0
    about = truth[:, 0] != 0
    found = binary_cross_entropy_with_logits(answer[:, 0][judged], hot[judged].float(), pos_weight=torch.tensor(4.0))
    measures = answer[:, 1:4].permute(0, 2, 3, 1)[about], truth[:, 1:4].permute(0, 2, 3, 1)[about]
    light = binary_cross_entropy_with_logits(answer[:, 4][about], truth[:, 4][about])
    return 20 * found + 2 * l1_loss(*measures) + 0.3 * light


def reader_loss(answer: Tensor, kind: Tensor, lit: Tensor, point: Tensor, off: Tensor) -> Tensor:
    """What stands at each place, its segments, whether a point does, and how far off the row lies."""
    what = cross_entropy(answer[:, :6], kind, ignore_index=-1)
    figures = kind == 1
    segments = answer[:, 6:13].permute(0, 2, 1)[figures], lit[figures]
    sure = torch.where(segments[1] == UNDECIDED, 0.5, segments[1].float())
    lamps = binary_cross_entropy_with_logits(segments[0], sure)
    judged = point >= 0
    signs = (kind == 1) | (kind == 2)
    row = l1_loss(answer[:, 14:].permute(0, 2, 1)[signs], off[signs])
    return 4 * what + lamps + 3 * binary_cross_entropy_with_logits(answer[:, 13][judged], point[judged].float()) + row


def train(net: nn.Sequential, batch: object, loss: object, count: int, rounds: int, seed: int, device: str) -> None:
    """One cycle of the learning rate over all examples, `rounds` times, in an order drawn from the seed."""
    net.to(device).train()
    chance = seeded(seed)
    steps = rounds * (count // BATCH)
    optimiser = torch.optim.AdamW(net.parameters(), lr=RATE, weight_decay=1e-3)
    schedule = torch.optim.lr_scheduler.OneCycleLR(optimiser, RATE, total_steps=steps, pct_start=0.2)
    start, mean = time.perf_counter(), 0.0
    for round_ in range(rounds):
        order = torch.randperm(count, generator=chance)
        for at in range(0, count - BATCH + 1, BATCH):
            images, *truth = batch(order[at : at + BATCH])  # type: ignore[operator]
            value = loss(net(images.to(device)).squeeze(2) if len(truth) == 4 else net(images.to(device)), *(t.to(device) for t in truth))  # type: ignore[operator]
            optimiser.zero_grad()
            value.backward()
            optimiser.step()
            schedule.step()
            mean = 0.98 * mean + 0.02 * float(value.detach())
        print(f"round {round_ + 1}: loss {mean:.4f}, {time.perf_counter() - start:.0f} s", flush=True)


def main() -> None:
    """Train and write the two networks."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--data", type=Path, default=Path("build/displays"))
    parser.add_argument("--rounds", type=int, nargs=2, default=(7, 9), help="of the finder and of the cells' network")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--device", default="cpu")
    parser.add_argument("--out", type=Path, default=Path("vision/display"))
    args = parser.parse_args()
    if args.device == "cpu":
        torch.set_num_threads(1)
    seeded(args.seed)
    data = np.load(args.data / "patches.npz")
    seen = np.stack([contrast(p) for p in data["image"]]).astype(np.float16)
    truth = np.ascontiguousarray(np.moveaxis(data["truth"], 3, 1))

    def patches(i: Tensor) -> tuple[Tensor, ...]:
        return torch.from_numpy(seen[i.numpy()][:, None].astype(np.float32)), torch.from_numpy(truth[i.numpy()].astype(np.float32))

    net = finder()
    train(net, patches, finder_loss, len(seen), args.rounds[0], args.seed, args.device)
    write_onnx(net, (1, 96, 192), True, args.out / "finder.onnx")
    data = np.load(args.data / "strips.npz")
    strips = np.stack([levelled(s) for s in data["image"]]).astype(np.float16)
    kind, lit, point, off = data["kind"].astype(np.int64), data["lit"], data["point"], data["off"].astype(np.float32)

    def rows(i: Tensor) -> tuple[Tensor, ...]:
        n = i.numpy()
        return (torch.from_numpy(strips[n].astype(np.float32)), torch.from_numpy(kind[n]), torch.from_numpy(lit[n]),
                torch.from_numpy(point[n]), torch.from_numpy(off[n]))  # fmt: skip

    net = reader()
    train(net, rows, reader_loss, len(strips), args.rounds[1], args.seed, args.device)
    write_onnx(net, (2, HIGH, WIDE), False, args.out / "cells.onnx")


if __name__ == "__main__":
    main()
