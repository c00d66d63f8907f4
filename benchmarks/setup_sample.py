"""Draw the sample `samples/setup`: a root with its level line, a tip rib set against a leaning fitting, a spar's web.

    python benchmarks/setup_sample.py

Its faults: the fitting at the tip leans 1.7 degrees aft and carries the tip rib with it; the spar rises 0.3 degrees too much.
"""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
from shop import PHONE, CardAt, Pen, Scene, String, draw
from shop.jobs import lens_for
from shop.named import Drawn, job_line, true_angle, with_line
from shop.photo_file import jpeg_bytes

from calibration.lens.profiles import LensProfile, save_lens
from shared.files import write_whole
from shared.job.named import NamedLine

OUT = Path(__file__).parent.parent / "samples" / "setup"
PEN = Pen(0.8, cover=0.9, wave_mm=0.03, gaps=0)
QUALITY = 78
ROOT = Scene(
    seed=901, camera=PHONE, chord_mm=900.0, chord_deg=3.46, spar_deg=None, naca="2415", holes=False, label="R1",
    cards=(CardAt("panel", 1, 0.42, 1.5),), chord_pen=PEN, marks="none", strings=(String(-100.0, 15.0, 0.7),),
    yaw_deg=4.0, pitch_deg=-3.0, roll_deg=1.5, fill=0.72, clutter=4,
)  # fmt: skip
TIP = Scene(
    seed=902, camera=PHONE, chord_mm=620.0, chord_deg=1.68, spar_deg=None, naca="2415", holes=False, label="R6",
    cards=(CardAt("strip", 6, 0.62, -1.0),), chord_pen=PEN, marks="none",
    strings=(String(45.0, 12.0, 0.6, (0.06, 0.06, 0.07)),), surface="balsa", yaw_deg=-3.0, pitch_deg=-2.0, roll_deg=-1.0,
    fill=0.74, clutter=4,
)  # fmt: skip
WEB = Scene(
    seed=903, camera=PHONE, chord_mm=820.0, plate_mm=200.0, chord_deg=2.31, spar_deg=None, holes=False, label="",
    cards=(CardAt("panel", 20, 0.32, 1.0, 10.0),), chord_pen=None, marks="none", strings=(String(10.0, 18.0, 0.7),),
    yaw_deg=3.0, pitch_deg=2.0, roll_deg=1.0, fill=0.74, clutter=4,
)  # fmt: skip
SHOTS: dict[str, tuple[Scene, str, tuple[Drawn, ...]]] = {
    "R1": (ROOT, "R1", (Drawn("root level", (30.0, -20.0), 330.0, -3.46 + 0.04),)),
    "R6": (TIP, "R6", (Drawn("fitting", (118.0, 19.0), 66.0, 90.03, "two edges", 8.0),)),
    "web": (WEB, "web R", (Drawn("flange", (-20.0, -78.0), 640.0, 0.0, "two marks"),)),
}
HEAD = """\
# The set-up of an invented wooden trainer's right wing: root levelled, tip rib on its fitting, spar along the span.
# Drawn photos (benchmarks/setup_sample.py), truth.json beside them. Lengths in mm, angles in degrees.

[wing]
name = "two-seat wooden trainer"
root = "R1"
dihedral_deg = 2.0
u_lean_deg = 0.3

[[station]]
name = "R1"
side = "right"
span_mm = 400
chord_mm = 900
cards = [1]
chord_deg = 3.5
chord_tolerance_deg = 0.2
lean_deg = 0.0
u_lean_deg = 0.2

[[station]]
name = "R6"
side = "right"
span_mm = 3900
chord_mm = 620
cards = [6]
chord_deg = 0.0
chord_tolerance_deg = 0.25
lean_deg = 0.0
u_lean_deg = 0.2

[[place]]
name = "web R"
kind = "spar web"
side = "right"
span_mm = 2000
cards = [20]
card = "panel"
lean_deg = 0.0
u_lean_deg = 0.2

[[height]]                          # by water level, over the same two ribs
station = "R1"
mm = 0.0
u_mm = 3.0

[[height]]
station = "R6"
mm = 138.0
u_mm = 3.0

[[pair]]                            # the tip rib is set against the fitting
at = "R6"
line = "chord"
base = "fitting"
tolerance_deg = 0.2
"""
DESIGN = {"root level": 0.0, "fitting": 90.0, "flange": 2.0}


def main() -> None:
    """Write photos, job, lens and truth."""
    (OUT / "photos").mkdir(parents=True, exist_ok=True)
    rng = np.random.default_rng(9)
    text = HEAD
    truth: dict[str, dict[str, object]] = {}
    for name, (plain, at, lines) in SHOTS.items():
        scene = plain
        for line in lines:
            scene = with_line(scene, line, PEN, rng)
            text += "\n" + _table(at, job_line(at, scene, line, np.random.default_rng(1)), line)
        bgr, true = draw(scene)
        data = jpeg_bytes(bgr, scene.camera, QUALITY, taken=f"2026:05:16 09:0{len(truth)}:00")
        (OUT / "photos" / f"{name}.jpg").write_bytes(data)
        angles = {line.name: round(true_angle(scene, line), 4) for line in lines}
        truth[name] = {
            "at": at,
            "chord_deg": None if scene.chord_pen is None else round(true.chord_deg, 4),
            "lines": angles,
        }
    write_whole(OUT / "setup.toml", text)
    write_whole(OUT / "truth.json", json.dumps(truth, indent=1) + "\n")
    _lens()


def _table(at: str, line: NamedLine, drawn: Drawn) -> str:
    x, z = line.from_card_mm or (0.0, 0.0)
    rows = [
        "[[line]]", f'at = "{at}"', f'name = "{line.name}"', f"deg = {DESIGN[line.name]}", "tolerance_deg = 0.15",
        f'marked = "{line.marked}"', f"from_card_mm = [{x:.0f}, {z:.0f}]", "within_mm = 10",
        f"length_mm = {drawn.length_mm:.0f}",
    ]  # fmt: skip
    return "\n".join(rows + ([f"width_mm = {drawn.width_mm:g}"] if drawn.width_mm else [])) + "\n"


def _lens() -> None:
    lens = lens_for(PHONE)
    fx, fy, cx, cy, k1, k2, p1, p2, k3 = (float(v) for v in lens.theta)
    (OUT / "lens").mkdir(exist_ok=True)
    profile = LensProfile(
        format="ribangle lens profile 1", ident="shopcam-s1-2000x1500", make=PHONE.make, model=PHONE.model, lens_model="",
        focal_mm=PHONE.focal_mm, focal35_mm=PHONE.focal35_mm, width=PHONE.width, height=PHONE.height,
        theta=(fx, fy, cx, cy, k1, k2, p1, p2, k3), covariance=tuple(tuple(float(v) for v in row) for row in lens.covariance),
        free="f, c, k1, k2, p1, p2, k3", date="2026-05-16", method="the drawn camera's own, as a good calibration knows it",
        board="", photos=(), rms_px=None, held_out_px=None, coverage=1.0, reach_px=1250.0,
    )  # fmt: skip
    save_lens(OUT / "lens" / "shopcam.json", profile)


if __name__ == "__main__":
    main()
