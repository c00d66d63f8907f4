"""The wing of the story: how it stands at each moment, its photos drawn by the simulator in `benchmarks/shop`, its job.

An invented wooden two-seat trainer's right wing on its jig. All is made up; common practice, no source, where a fact of the
trade is used: a fitting that leans back takes washout away one for one, and does so in proportion along the span.
"""

from __future__ import annotations

import sys
import zlib
from dataclasses import dataclass, field, replace
from pathlib import Path

ROOT = Path(__file__).parent.parent
sys.path[:0] = [str(ROOT), str(ROOT / "benchmarks")]  # a plain checkout, whether or not it is installed

STATIONS = {
    "R1": (400.0, 1200.0, 2.0),
    "R3": (1800.0, 1024.0, 1.0),
    "R5": (3200.0, 848.0, 0.0),
    "R6": (3900.0, 760.0, -0.5),
}
"""Span mm, chord mm, design chord angle."""
CARDS = {"R1": (1, 13), "R3": (3, 15), "R5": (5, 17), "R6": (6, 18)}


@dataclass(frozen=True)
class Stands:
    """How the wing stands, degrees nose-up: root off design and all with it; fitting's lean aft, which twists the wing in
    proportion to the span; single ribs on their spars; single saddles, rib and spar alike."""

    root: float = 0.0
    fitting: float = 0.0
    ribs: dict[str, float] = field(default_factory=dict)
    saddles: dict[str, float] = field(default_factory=dict)

    def angles(self, name: str) -> tuple[float, float]:
        """Chord angle and spar angle (90 + lean) of a station."""
        span, _, design = STATIONS[name]
        first, last = STATIONS["R1"][0], STATIONS["R6"][0]
        lean = self.root + self.fitting * (span - first) / (last - first) + self.saddles.get(name, 0.0)
        return design + lean + self.ribs.get(name, 0.0), 90.0 + lean


BARE = Stands(0.62, 1.7, {"R3": -0.68})
ROOT_SET = replace(BARE, root=0.03)
FITTING_SET = replace(ROOT_SET, fitting=0.05)
RIB_SET = replace(FITTING_SET, ribs={"R3": 0.04})
KNOCKED = replace(RIB_SET, root=0.55)
SET_AGAIN = replace(RIB_SET, root=-0.02)
CLAMPED = replace(SET_AGAIN, saddles={"R5": 0.6})
CURED = replace(SET_AGAIN, saddles={"R5": -0.03})

SHOTS: dict[str, tuple[str, Stands]] = {
    "R1-bare": ("R1", BARE),
    "R1-set": ("R1", ROOT_SET),
    "R6-aft": ("R6", ROOT_SET),
    "R6-plumb": ("R6", FITTING_SET),
    "R3-glued-off": ("R3", FITTING_SET),
    "R5-first": ("R5", FITTING_SET),
    "R3-set": ("R3", RIB_SET),
    "R1-knocked": ("R1", KNOCKED),
    "R1-set-again": ("R1", SET_AGAIN),
    **{f"{name}-once-more": (name, SET_AGAIN) for name in ("R3", "R5", "R6")},
    **{f"{name}-clamped": (name, CLAMPED) for name in STATIONS},
    **{f"{name}-clamped-again": (name, CURED) for name in STATIONS},
    **{f"{name}-cured": (name, CURED) for name in STATIONS},
}
"""Photo -> the station that it shows, and how the wing stands."""
ANEW = ("R1-clamped",)
"""Photos that the reader refused as first taken (no string was found in it): taken anew from another place, as at the bench."""


def draw_photos(folder: Path) -> None:
    """Draw every photo of the story, its lens profile and its job into a folder."""
    from shop import draw
    from shop.photo_file import save_jpeg

    from calibration.lens.profiles import save_lens

    for place in (folder / "photos", folder / "lens"):
        place.mkdir(parents=True)
    for again, name in enumerate(SHOTS, 1):
        made = scene(name)
        save_jpeg(folder / "photos" / f"{name}.jpg", draw(made, again)[0], made.camera)
    save_lens(folder / "lens" / "phone.json", lens())
    (folder / "wing.toml").write_text(JOB, encoding="utf-8")


def scene(shot: str):  # type: ignore[no-untyped-def]
    """The simulator's scene of a photo: the same rib with the same lines, the phone a hand's breadth elsewhere each time."""
    import numpy as np
    from shop import CardAt, Pen, Scene, String

    name, stands = SHOTS[shot]
    chord, spar = stands.angles(name)
    u = np.random.default_rng(zlib.crc32(f"{shot} anew".encode() if shot in ANEW else shot.encode())).uniform
    (near, far), kind = CARDS[name], "panel" if name == "R1" else "strip"
    return Scene(
        seed=zlib.crc32(name.encode()),
        label=name,
        chord_mm=STATIONS[name][1],
        chord_deg=chord,
        spar_deg=spar,
        spar_pen=Pen(wave_mm=0.05),
        naca="4418" if name == "R1" else "4415",
        cards=(CardAt(kind, near, 0.42), CardAt(kind, far, 0.7 if name == "R1" else 0.72)),
        strings=(String(x_mm=-20.0),),
        yaw_deg=u(-4, 4),
        pitch_deg=u(-3, 3),
        roll_deg=u(-2, 2),
        clutter=3,
    )  # fmt: skip


def lens():  # type: ignore[no-untyped-def]
    """The phone's lens as a good session with the lens board leaves it."""
    from shop import PHONE
    from shop.jobs import lens_for

    from calibration.lens.profiles import FORMAT, LensProfile

    known = lens_for(PHONE)
    return LensProfile(
        FORMAT, known.ident, PHONE.make, PHONE.model, "", PHONE.focal_mm, PHONE.focal35_mm, PHONE.width, PHONE.height,
        tuple(map(float, known.theta)), tuple(tuple(map(float, row)) for row in known.covariance),
        "f, c, k1, k2, p1, p2, k3", "2026-05-10", "as the simulator has it", "chessboard 9 x 6, 25 mm", 0.05, 0.06, 0.9,
    )  # fmt: skip


JOB = """\
# The right wing of an invented wooden two-seat trainer on its jig. Lengths in mm, angles in degrees, nose-up positive.

[wing]
name = "two-seat wooden trainer, right wing"
root = "R1"
dihedral_deg = 0.0
u_lean_deg = 0.2                    # from a spirit level held against each rib
marking_u_deg = 0.03

[glue]
working_min = 35
gel_min = 60

[[jig]]                             # every rib sits on a saddle with a screw under its trailing edge
thread = "M8"
arm_mm = 420
clockwise = "nose-down"

[[typed]]                           # a long level laid along the spar
name = "level on the spar"
deg = 0.0
tolerance_deg = 0.25
u_deg = 0.05

[[step]]
name = "root level"
checks = ["R1/chord"]

[[step]]
name = "fitting plumb"              # the tip fitting's bolt line stands on R6 as its spar line
checks = ["R6/spar"]

[[step]]
name = "washout"
checks = ["R3/chord", "R5/chord", "R6/chord"]

[[step]]
name = "spanwise level"
checks = ["level on the spar"]

[[step]]
name = "locked and clamped"         # no checks: done or not done

[[step]]
name = "as clamped"
checks = ["*/chord", "R6/spar"]

[[step]]
name = "cured"

[[step]]
name = "as cured"
checks = ["*/chord", "R6/spar"]
""" + "".join(
    f"""
[[station]]
name = "{name}"
side = "right"
span_mm = {span:g}
chord_mm = {chord:g}
cards = [{", ".join(map(str, CARDS[name]))}]
chord_deg = {design}
chord_tolerance_deg = 0.25
spar_deg = 90.0
spar_tolerance_deg = 0.3
spar_at = 0.3
card = "{"panel" if name == "R1" else "strip"}"
"""
    for name, (span, chord, design) in STATIONS.items()
)
"""The story's job."""
