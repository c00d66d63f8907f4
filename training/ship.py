"""Put trained networks in their place: python -m training.ship FIT [WEIGHTS]

Copies the networks that `training.fit` left in FIT to vision/evidence/weights, with the temperatures that calibrate them.
"""

from __future__ import annotations

import json
import shutil
import sys
from pathlib import Path

from vision.evidence.witness import WEIGHTS


def ship(fit: Path, weights: Path = WEIGHTS) -> dict[str, list[float]]:
    """Copy networks and calibration; returns the temperatures by family."""
    report: dict[str, dict[str, float]] = {}
    for path in sorted(fit.glob("report-*.json")):
        report |= json.loads(path.read_text("utf-8"))
    temperature: dict[str, list[float]] = {}
    weights.mkdir(exist_ok=True)
    for old in weights.glob("*.onnx"):
        old.unlink()
    for path in sorted(fit.glob("*.onnx")):
        family = path.stem.partition("-")[0]
        temperature.setdefault(family, []).append(report[path.stem]["temperature"])
        shutil.copy(path, weights / f"{family}-{len(temperature[family]) - 1}.onnx")
    (weights / "calibration.json").write_text(json.dumps({"temperature": temperature}, indent=1) + "\n", "utf-8")
    return temperature


if __name__ == "__main__":
    print(ship(Path(sys.argv[1]), *(Path(a) for a in sys.argv[2:3])))
