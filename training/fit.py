"""Train the witness on harvested strips: python -m training.fit DATA... --out FOLDER [--seeds 3] [--epochs 24]

Photos are split by phone: those whose number ends in HELD_OUT are never trained on; calibration and figures come from them.
"""

from __future__ import annotations

import argparse
import json
import time
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import torch
from numpy.typing import NDArray
from torch import Tensor, nn

from shared.numerics.arrays import F32, F64, I64, U8, Bools
from training.augment import augmented
from training.harvest import SCALE
from training.labels import UNSURE
from training.network import Witness
from vision.evidence.kinds import KINDS

HELD_OUT = (3, 7)
"""Last digits of the phones' numbers that are kept out of training."""
WEIGHT = {"nothing": 0.5, "chord": 2.0, "string": 2.0, "spar": 2.0}
"""Weight of a strip in the loss by its kind; 1 for all others."""
FIRST_RATE, FURTHER_RATE = 4e-3, 1e-3
"""Highest learning rate from scratch, and of a network trained further."""
FAMILIES = {"level": (0, 3), "upright": (1, 2)}
"""Families of a harvest that each network is asked about."""


@dataclass(frozen=True)
class Data:
    """Strips of one family. photo, phone : (n,) numbers. sub : (n,) as `Harvest.family`."""

    strips: Tensor
    kinds: Tensor
    seen: Tensor
    photo: I64
    phone: I64
    sub: U8
    names: list[str]

    def part(self, keep: Bools) -> Data:
        """The strips kept (n,)."""
        k = torch.as_tensor(np.flatnonzero(keep), device=self.strips.device)
        return Data(
            self.strips[k], self.kinds[k], self.seen[k], self.photo[keep], self.phone[keep], self.sub[keep], self.names
        )


def load(folders: list[Path], family: str, device: str, ranks: int = 99) -> Data:
    """All harvested photos of some folders. ranks : edges, seams and nothings after the first so many are left out."""
    parts: list[tuple[NDArray[np.generic], ...]] = []
    names: list[str] = []
    photo: list[I64] = []
    phone: list[I64] = []
    for path in sorted(p for f in folders for p in f.rglob("*.npz")):
        with np.load(path) as z:
            keep = np.isin(z["family"], FAMILIES[family]) & (z["kinds"] != UNSURE)
            keep &= (z["rank"] < ranks) | (z["kinds"] < KINDS.index("edge"))
            parts.append((z["strips"][keep], z["kinds"][keep], z["seen"][keep], z["family"][keep]))
            photo.append(np.full(int(keep.sum()), len(names)))
            phone.append(np.full(int(keep.sum()), int(z["phone"])))
            names.append(str(z["name"]))
    strips, kinds, seen, sub = (np.concatenate(p) for p in zip(*parts, strict=True))

    def to(a: NDArray[np.generic]) -> Tensor:
        return torch.as_tensor(a, device=device)

    return Data(
        to(strips),
        to(kinds.astype(np.int64)),
        to(seen.astype(np.int64)),
        np.concatenate(photo),
        np.concatenate(phone),
        sub,
        names,
    )


def train(
    data: Data, level: bool, seed: int, epochs: int, device: str, batch: int = 256, begun: Path | None = None
) -> Witness:
    """One network from one seed, or one trained further. begun : the ONNX file to go on from."""
    torch.manual_seed(seed)
    g = torch.Generator(device=device).manual_seed(seed)
    weight = torch.tensor([WEIGHT.get(k, 1.0) for k in KINDS], device=device)
    net = Witness().to(device) if begun is None else restored(begun, weight)
    steps = max(1, len(data.kinds) // batch)
    optimiser = torch.optim.AdamW(net.parameters(), lr=2e-3, weight_decay=0.02)
    plan = torch.optim.lr_scheduler.OneCycleLR(
        optimiser, FIRST_RATE if begun is None else FURTHER_RATE, total_steps=epochs * steps, pct_start=0.15
    )
    for epoch in range(epochs):
        order = torch.randperm(len(data.kinds), generator=g, device=device)
        total = 0.0
        for k in range(steps):
            i = order[k * batch : (k + 1) * batch]
            x, seen = augmented(data.strips[i].float() / SCALE, data.seen[i], level, g)
            kinds = data.kinds[i]
            logits, states = net(x)
            loss = nn.functional.cross_entropy(logits, kinds, weight)
            real = kinds != KINDS.index("nothing")
            if real.any():
                loss = loss + 0.5 * nn.functional.cross_entropy(states[real], seen[real])
            optimiser.zero_grad()
            loss.backward()  # type: ignore[no-untyped-call]
            optimiser.step()
            plan.step()
            total += float(loss.detach()) if k % 20 == 0 else 0.0
        if epoch % 3 == 2 or epoch == epochs - 1:
            print(f"  epoch {epoch + 1}: loss {total / max(1, (steps + 19) // 20):.4f}", flush=True)
    with torch.no_grad():  # what the weights in the loss did to the odds is taken back
        _odds(net).sub_(torch.log(weight))
    return net.eval()


def _odds(net: Witness) -> Tensor:
    """The bias (kinds,) of the logits of kinds."""
    last = net.kind[-1]
    assert isinstance(last, nn.Linear)
    return last.bias.data


@torch.no_grad()
def restored(path: Path, weight: Tensor) -> Witness:
    """The network of an exported file, to be trained further: its batch norms, folded on export, stay as they are.

    weight : (kinds,) of the loss, whose effect on the odds was taken back on export and is put in again.
    """
    import onnx
    from onnx.numpy_helper import to_array

    kept = [(i.name, torch.tensor(to_array(i))) for i in onnx.load(str(path)).graph.initializer]
    named = dict(kept)
    folded = [value for name, value in kept if name.startswith("onnx::Conv")]
    net = Witness()
    layers = [m for m in net.modules() if isinstance(m, nn.Conv2d | nn.BatchNorm2d) and m is not net.states]
    for layer, value in zip(layers, folded, strict=True):  # each convolution, then its norm
        if isinstance(layer, nn.Conv2d):
            layer.weight.copy_(value)
        else:
            assert layer.running_var is not None
            layer.running_var.fill_(1 - layer.eps)
            layer.bias.copy_(value)
    net.load_state_dict({k: named[k] for k in named if not k.startswith("onnx::")}, strict=False)
    net.to(weight.device)
    net.kind[-1].bias += torch.log(weight)  # type: ignore[operator]
    net.eval()  # batch norms as exported; dropout off
    return net


@torch.no_grad()
def logits_of(net: Witness, data: Data) -> tuple[F32, F32]:
    """Logits of kinds (n, 12) and probability of being seen (n, PLACES)."""
    kinds, seen = [], []
    for k in range(0, len(data.kinds), 2048):
        a, b = net(data.strips[k : k + 2048].float() / SCALE)
        kinds.append(a.cpu().numpy())
        seen.append(torch.softmax(b, 1)[:, 1].cpu().numpy())
    return np.concatenate(kinds), np.concatenate(seen)


def temperature(logits: F32, kinds: I64) -> float:
    """What to divide logits by so that their softmax is likeliest (Guo et al. 2017)."""
    grid = np.geomspace(0.5, 4.0, 60)

    def surprise(t: float) -> float:
        z = logits / t
        z = z - z.max(1, keepdims=True)
        return float(np.mean(np.log(np.exp(z).sum(1)) - z[np.arange(len(z)), kinds]))

    return float(grid[int(np.argmin([surprise(t) for t in grid]))])


def figures(data: Data, probs: F64, kind: str, sub: int) -> dict[str, float | list[str]]:
    """How often the likeliest strip of a photo is the right one, and how photos without one fare."""
    k = KINDS.index(kind)
    truth = data.kinds.cpu().numpy()
    first = there = clean = without = 0
    wrong: list[str] = []
    for photo in np.unique(data.photo):
        i = np.flatnonzero((data.photo == photo) & (data.sub == sub))
        if not len(i):
            continue
        best = i[int(np.argmax(probs[i, k]))]
        if (truth[i] == k).any():
            there += 1
            first += int(truth[best] == k and probs[best, k] > 0.5)
            if not (truth[best] == k and probs[best, k] > 0.5):
                wrong.append(f"{data.names[photo]} {probs[best, k]:.3f}")
        else:
            without += 1
            clean += int(probs[best, k] < 0.5)
            if probs[best, k] >= 0.5:
                wrong.append(f"{data.names[photo]} none, {probs[best, k]:.3f}")
    return {"photos with one": there, "right": first, "photos without": without, "said so": clean, "wrong": wrong[:40]}


def export(net: Witness, path: Path) -> None:
    """Write an ONNX file that OpenCV reads."""
    from vision.evidence.strips import CHANNELS, COLUMNS, ROWS

    net = net.cpu()
    torch.onnx.export(
        net,
        (torch.zeros(1, CHANNELS, ROWS, COLUMNS),),
        str(path),
        input_names=["strips"],
        output_names=["kinds", "states"],
        dynamic_axes={"strips": {0: "n"}, "kinds": {0: "n"}, "states": {0: "n"}},
        opset_version=13,
        dynamo=False,
    )


def main() -> None:
    """Command line."""
    p = argparse.ArgumentParser(description=__doc__)
    p.add_argument("data", type=Path, nargs="+")
    p.add_argument("--out", type=Path, required=True)
    p.add_argument("--seeds", type=int, default=3)
    p.add_argument("--epochs", type=int, default=24)
    p.add_argument("--batch", type=int, default=256)
    p.add_argument(
        "--ranks", type=int, default=99, help="train on edges, seams and nothings among the first so many only"
    )
    p.add_argument("--family", choices=[*FAMILIES, "both"], default="both")
    p.add_argument("--first", type=int, default=0, help="first seed")
    p.add_argument("--further", type=Path, help="folder of networks to train further, FAMILY-SEED.onnx each")
    p.add_argument("--threads", type=int, default=0, help="of the processor; 0: all")
    p.add_argument(
        "--all", action="store_true", help="train on the held-out phones as well, for the networks that ship"
    )
    a = p.parse_args()
    a.out.mkdir(parents=True, exist_ok=True)
    if a.threads:
        torch.set_num_threads(a.threads)
    device = "cuda" if torch.cuda.is_available() else "cpu"
    report: dict[str, object] = {}
    for family in FAMILIES if a.family == "both" else (a.family,):
        start = time.time()
        data = load(a.data, family, device, a.ranks)
        held = np.isin(data.phone % 10, HELD_OUT)
        fit, judge = data.part(~held), data.part(held)
        print(
            family,
            len(fit.kinds),
            "strips of",
            len(np.unique(fit.photo)),
            "photos; held out",
            len(judge.kinds),
            "of",
            len(np.unique(judge.photo)),
            flush=True,
        )
        summed = []
        for seed in range(a.first, a.first + a.seeds):
            begun = a.further / f"{family}-{seed}.onnx" if a.further else None
            net = train(data if a.all else fit, family == "level", seed, a.epochs, device, a.batch, begun)
            logits, _ = logits_of(net, judge)
            truth = judge.kinds.cpu().numpy()
            t = temperature(logits, truth)
            z = logits / t
            probs = np.exp(z - z.max(1, keepdims=True))
            probs = probs / probs.sum(1, keepdims=True)
            summed.append(z)
            report[f"{family}-{seed}"] = {"temperature": t, "accuracy": float((probs.argmax(1) == truth).mean())}
            export(net, a.out / f"{family}-{seed}.onnx")
        z = np.mean(summed, axis=0)
        probs = np.exp(z - z.max(1, keepdims=True))
        probs = probs / probs.sum(1, keepdims=True)
        asked = [("chord", 0), ("chord", 3), ("laser", 0)] if family == "level" else [("string", 1), ("spar", 2)]
        for kind, sub in asked:
            report[f"{family} {kind} {sub}"] = figures(judge, probs, kind, sub)
        truth = judge.kinds.cpu().numpy()
        np.savez_compressed(
            a.out / f"judged-{family}-{a.first}.npz",
            z=np.stack(summed).astype(np.float16),
            truth=truth,
            photo=judge.photo,
            sub=judge.sub,
            names=np.array(judge.names),
        )
        report[f"{family} seconds"] = time.time() - start
        print(json.dumps({k: v for k, v in report.items() if k.startswith(family)}, indent=1), flush=True)
    (a.out / f"report-{a.family}-{a.first}.json").write_text(json.dumps(report, indent=1))


if __name__ == "__main__":
    main()
