"""What stands in the shop: every field that can vary, frozen."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from shop.camera import PHONE, Camera

Rgb = tuple[float, float, float]
Xyz = tuple[float, float, float]
INK: Rgb = (0.08, 0.08, 0.12)
CHALK: Rgb = (0.92, 0.92, 0.88)
PENCIL: Rgb = (0.25, 0.24, 0.23)


@dataclass(frozen=True)
class Pen:
    """How a line was drawn. cover : opacity, 0 to 1. wave_mm : standard deviation of its slow waviness,
    knots 45 mm apart. gaps : places where the pen skipped. uneven : relative spread of the ink. smudge :
    opacity of a wide soft smear beside it."""

    width_mm: float = 0.7
    rgb: Rgb = INK
    cover: float = 0.8
    wave_mm: float = 0.1
    gaps: int = 2
    uneven: float = 0.25
    smudge: float = 0.0


@dataclass(frozen=True)
class Line:
    """A line drawn on the rib. a, b : its ends, (fraction of the chord, mm above it)."""

    a: tuple[float, float]
    b: tuple[float, float]
    pen: Pen = Pen()


@dataclass(frozen=True)
class Board:
    """A flat strip of some material on the rib face (tape, capstrip, patch): a straight band with two edges.

    a, b : ends of its centre line, as in Line. width_mm : between the edges. cover : opacity.
    """

    a: tuple[float, float]
    b: tuple[float, float]
    width_mm: float
    rgb: Rgb
    cover: float = 1.0


@dataclass(frozen=True)
class CardAt:
    """A station card on the rib. at : fraction of the chord of its centre. above_mm : of its centre over the
    chord line; None: the sheet's lower edge 9 mm above it. turn_deg : in the plane. tilt_deg : out of it.
    scale : the print's, across the sheet. stretch : down it against across. skew_deg : by which its up leans to
    its right."""

    kind: Literal["panel", "strip"] = "panel"
    number: int = 1
    at: float = 0.48
    turn_deg: float = 0.0
    above_mm: float | None = None
    tilt_deg: float = 0.0
    scale: float = 1.0
    stretch: float = 0.0
    skew_deg: float = 0.0


@dataclass(frozen=True)
class String:
    """A plumb line. x_mm : to the right of mid chord. gap_mm : before the rib face (negative: behind).
    side : brightness difference of its two sides. sway_deg : out of plumb, its top to the right."""

    x_mm: float = 60.0
    gap_mm: float = 12.0
    radius_mm: float = 0.6
    rgb: Rgb = (0.85, 0.83, 0.78)
    side: float = 0.15
    shadow: float = 0.5
    shadow_soft_mm: float = 0.4
    bob: bool = True
    sway_deg: float = 0.0
    top_mm: float = 2500.0


@dataclass(frozen=True)
class Cord:
    """Any other straight thing: cable, pole, pipe, door frame, rod. a, b : its ends, world mm."""

    a: Xyz
    b: Xyz
    radius_mm: float
    rgb: Rgb
    side: float = 0.3
    behind: bool = True


@dataclass(frozen=True)
class Laser:
    """The line of a levelling laser, thrown on all that it meets. z_mm : its height over the mid chord."""

    z_mm: float = -14.0
    rgb: Rgb = (2.6, 0.16, 0.10)
    sigma_mm: float = 0.55
    tilt_deg: float = 0.0


@dataclass(frozen=True)
class Bar:
    """A straightedge or batten held before or on the rib. Its centre line is level where tilt_deg is 0."""

    x_mm: float = 0.0
    z_mm: float = -40.0
    length_mm: float = 900.0
    width_mm: float = 30.0
    gap_mm: float = 3.0
    tilt_deg: float = 0.0
    rgb: Rgb = (0.55, 0.56, 0.58)


@dataclass(frozen=True)
class Spot:
    """A clamp's foot or a hand: something opaque before the rib. at : fraction of the chord, mm above it."""

    at: tuple[float, float]
    size_mm: tuple[float, float]
    rgb: Rgb = (0.25, 0.27, 0.30)


@dataclass(frozen=True)
class Poster:
    """A printed photo of another scene, hung before the wall. x_mm, z_mm : its middle; y_mm : its depth."""

    scene: Scene
    width_mm: float = 1200.0
    x_mm: float = 0.0
    z_mm: float = 0.0
    y_mm: float = 0.0
    turn_deg: float = 0.0


@dataclass(frozen=True)
class RibBehind:
    """Another station's rib farther from the camera. scene : the rib with what is drawn and lies on it; nothing else of it
    counts. at : where its mid chord stands, world mm; Y away from the camera."""

    scene: Scene
    at: tuple[float, float, float]


@dataclass(frozen=True)
class Scene:
    """One photo. Angles in degrees, nose-up positive; lean_deg positive = top towards the camera (outboard).

    spar_deg : None where no spar line is drawn. spar_at : where it meets the chord line. forward : +1 with
    the leading edge to the right of the photo. fill : chord as a part of the photo's width. aim : where the
    optical axis meets the plane Y = 0, mm from mid chord. chord_pen : None where no chord line is drawn.
    rib : False leaves the rib out, and all that is on it. plate_mm : height of a plate in place of the rib's outline.
    quarters : places of quartered marks, as in Line. behind : other stations' ribs; a string before one of them has a
    negative gap.
    """

    seed: int = 0
    camera: Camera = PHONE
    chord_mm: float = 1000.0
    chord_deg: float = 2.0
    spar_deg: float | None = 90.0
    spar_at: float = 0.30
    forward: Literal[1, -1] = 1
    naca: str = "2412"
    rib: bool = True
    lean_deg: float = 0.0
    cards: tuple[CardAt, ...] = (CardAt(),)
    marks: Literal["quartered", "cross", "none"] = "quartered"
    marks_off_mm: tuple[float, float] = (0.0, 0.0)
    chord_pen: Pen | None = Pen()
    chord_from: tuple[float, float] = (0.012, 0.985)
    spar_pen: Pen = Pen()
    plate_mm: float | None = None
    quarters: tuple[tuple[float, float], ...] = ()
    lines: tuple[Line, ...] = ()
    boards: tuple[Board, ...] = ()
    spots: tuple[Spot, ...] = ()
    holes: bool = True
    label: str = "R1"
    strings: tuple[String, ...] = (String(),)
    laser: Laser | None = None
    bars: tuple[Bar, ...] = ()
    cords: tuple[Cord, ...] = ()
    clutter: int = 6
    poster: Poster | None = None
    behind: tuple[RibBehind, ...] = ()
    surface: Literal["ply", "balsa", "foam", "carbon", "white"] = "ply"
    grain: float = 1.0
    wall_mm: float = 1000.0
    yaw_deg: float = 0.0
    pitch_deg: float = 0.0
    roll_deg: float = 0.0
    aim: tuple[float, float] = (0.0, 0.0)
    fill: float = 0.66
    gradient: float = 0.2
    exposure: float = 0.85
    blur_px: float = 0.7
    motion_px: float = 0.0
    motion_deg: float = 0.0
    noise: float = 1.0
    sharpen: float = 0.5
