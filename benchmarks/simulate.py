"""Simulated readings: errors of every kind drawn as stated, put through the real joint solution.

A session is one camera, one lens profile (the true lens drawn from its covariance), one print of the cards,
one lean of the ribs; in it, stations, each with its drawn lines, its cards as laid and its strings as hung;
of each, photos from different places. What is shared in the shop is drawn once and shared here.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any, Literal

import numpy as np

from calibration.lens.match import guess_lens
from calibration.lens.model import Lens, distort
from rigging.planning.lens import typical_lens
from rigging.planning.scene import PlacedCard, SeeingNoise, SetUp, Viewpoint, _World
from shared.cards import CardKind
from shared.flags import Flag
from shared.lines import Role
from shared.numerics.arrays import F64
from shared.reading import Angle, Made, Photo, Reading
from vision.assess import doubts, gates
from vision.cards.detect import Card
from vision.solution.poses import both_poses, from_starts, near
from vision.solution.scene import Lean, LineSeen, Scene, State, place_card
from vision.solution.solve import starts, with_lines

Cards = Literal["one panel", "one strip", "two panels", "two strips"]
Reference = Literal["string near the middle", "string to one side", "two strings", "laser line"]
CARDS: tuple[Cards, ...] = ("one panel", "one strip", "two panels", "two strips")
REFERENCES: tuple[Reference, ...] = (
    "string near the middle",
    "string to one side",
    "two strings",
    "laser line",
)
U_LEAN = {"lean known to 0.1°": 0.1, "lean known to 0.5°": 0.5, "lean not stated": 2.0}
SIZE = (4000, 3000)


@dataclass(frozen=True)
class Shop:
    """One session. true : the lens as it is. profile : as it is known. lens_kind : "profile" or "guess"."""

    true: Lens
    profile: Lens
    lens_kind: str
    lean_kind: str
    lean_deg: float
    lean_true: float
    aspect: float
    skew: float
    level_off: float
    noise: SeeingNoise


@dataclass(frozen=True)
class Rib:
    """One station as it stands. waves : chord's and spar's waviness (mm) on a fine grid over their length.

    seats : (2, 2) slopes of two cards, rad. hung : tilt of two strings in and across the picture, degrees.
    """

    name: str
    chord_mm: float
    angle_deg: float
    cards: Cards
    reference: Reference
    placed: tuple[PlacedCard, ...]
    strings_mm: tuple[float, ...]
    level_at: float | None
    seats: F64
    hung: F64
    first_card: int
    waves: tuple[F64, F64]

    @property
    def spar_deg(self) -> float:
        """True spar angle: square to the chord in the rib plane."""
        return 90.0 + self.angle_deg


@dataclass(frozen=True)
class Simulated:
    """A reading and the truth. chord : inclination of a line at `angle` in a plane that leans."""

    reading: Reading
    chord_deg: float
    spar_deg: float
    classes: tuple[str, ...]


def shop(rng: np.random.Generator, lean_kind: str | None = None, guessed: bool = False) -> Shop:
    """Draw a session."""
    focal35 = float(rng.uniform(24, 35))
    if guessed:
        profile = guess_lens(_Exif(focal35), SIZE)
    else:
        focal_px = focal35 / math.hypot(36, 24) * math.hypot(*SIZE)
        profile = typical_lens(focal_px, SIZE, int(rng.integers(1, 1000)))
    z = rng.normal(size=len(profile.axes()))
    true = replace(profile, theta=profile.theta + z @ profile.axes())
    kind = lean_kind or str(rng.choice(list(U_LEAN)))
    stated = 0.0 if kind == "lean not stated" else float(rng.uniform(-4, 4))
    noise = SeeingNoise(
        corner_px=float(rng.uniform(0.03, 0.15)),
        edge_px=float(rng.uniform(0.02, 0.06)),
        line_px=float(rng.uniform(0.2, 0.6)),
        pen_wave_mm=float(rng.uniform(0.05, 0.15)),
    )
    aspect = float(rng.normal(0, noise.aspect))
    skew = math.radians(rng.normal(0, noise.skew_deg))
    lens_kind = "lens guessed" if guessed else "lens profile"
    lean = stated + float(rng.normal(0, U_LEAN[kind]))
    level_off = float(rng.normal(0, 0.02))
    return Shop(true, profile, lens_kind, kind, stated, lean, aspect, skew, level_off, noise)


def rib(
    rng: np.random.Generator,
    s: Shop,
    name: str,
    cards: Cards | None = None,
    reference: Reference | None = None,
) -> Rib:
    """Draw a station of a session."""
    chord = float(rng.uniform(600, 1500))
    cards = cards or CARDS[rng.integers(len(CARDS))]
    reference = reference or REFERENCES[rng.integers(len(REFERENCES))]
    kind = CardKind.PANEL if "panel" in cards else CardKind.STRIP
    near = rng.uniform(0.4, 0.6)
    placed = [PlacedCard(kind, float(near), float(rng.uniform(-4, 4)))]
    if cards.startswith("two"):
        placed = [
            PlacedCard(kind, float(at + rng.uniform(-0.03, 0.03)), float(rng.uniform(-4, 4))) for at in (0.25, 0.72)
        ]
    near_mm = rng.uniform(-0.1, 0.1) * chord
    side_mm = float(rng.choice([-1, 1])) * rng.uniform(0.15, 0.33) * chord
    strings = {
        "string near the middle": (float(near_mm),),
        "string to one side": (float(side_mm),),
        "two strings": (float(rng.uniform(-0.33, -0.15) * chord), float(rng.uniform(0.15, 0.33) * chord)),
        "laser line": (),
    }[reference]
    waves = (
        _wave(rng, 0.97 * chord, s.noise.pen_wave_mm, s.noise.pen_reach_mm),
        _wave(rng, 0.115 * chord, s.noise.pen_wave_mm / 2, s.noise.pen_reach_mm),
    )
    seats = np.radians(rng.normal(0, s.noise.seat_deg, (2, 2)))
    return Rib(
        name,
        chord,
        float(rng.uniform(-4, 6)),
        cards,
        reference,
        tuple(placed),
        strings,
        float(rng.uniform(12, 25)) if reference == "laser line" else None,
        seats,
        rng.normal(0, 0.02, (2, 2)),
        2 * int(name[1:]),
        waves,
    )


def photo(rng: np.random.Generator, s: Shop, r: Rib, spoil: str | None = None) -> Simulated:
    """Photograph a station and read it. spoil : a fault put in (`FAULTS`)."""
    setup = SetUp(
        s.true,
        r.chord_mm,
        r.placed,
        _view(rng, s, r),
        r.strings_mm,
        gap_mm=float(rng.uniform(8, 40)),
        level_at=r.level_at,
        lean_deg=s.lean_true + (3.0 if spoil == "rib leans 3° more than stated" else 0.0),
        spar_at=0.3,
        angle_deg=r.angle_deg,
        noise=s.noise,
    )
    while True:
        try:
            scene = observe(rng, s, r, setup, spoil)
            break
        except ValueError:  # something fell outside the picture: stand elsewhere
            setup = replace(setup, view=_view(rng, s, r))
    lean = math.radians(setup.lean_deg)
    chord = math.degrees(math.asin(math.sin(math.radians(r.angle_deg)) * math.cos(lean)))
    classes = (r.cards, r.reference, s.lean_kind, s.lens_kind)
    return Simulated(read(scene, r.name), chord, r.spar_deg, classes)


def observe(rng: np.random.Generator, s: Shop, r: Rib, setup: SetUp, spoil: str | None = None) -> Scene:
    """What is seen, errors and all, as the reader would hand it to the joint solution."""
    world = _World(setup)
    cards, places = world.cards()
    rotation, shift = world.rib_frame(setup.cards[0])
    seats = r.seats[: len(cards)] + (np.radians([[1.5, 0.0]]) if spoil == "card stands off the rib" else 0.0)
    none = np.empty((0, 3))
    state = State(np.zeros(0), rotation, shift, places, s.aspect, seats, np.array([0.0, 1.0, 0.0]), none, s.skew)
    seen = [replace(_seen(rng, s, state, k, card, spoil), number=r.first_card + k) for k, card in enumerate(cards)]
    lines = _lines(rng, s, r, world, spoil)
    profile = s.profile
    if spoil == "zoomed by 1.2":
        profile = replace(profile, theta=profile.theta * np.array([1 / 1.2, 1 / 1.2, 1, 1, 1, 1, 1, 1, 1]))
    lean = Lean(s.lean_deg, U_LEAN[s.lean_kind], "lean of the ribs", 1.0)
    return Scene(
        profile,
        tuple(seen),
        tuple(lines),
        lean,
        f"{rng.integers(2**48):012x}",
        s.noise.aspect,
        "card print",
        s.noise.seat_deg,
        u_shear=math.radians(s.noise.skew_deg),
    )


def _seen(rng: np.random.Generator, s: Shop, state: State, k: int, card: Card, spoil: str | None) -> Card:
    """The k-th card as it lies and was printed, through the true lens, with the finder's noise."""

    def look(board: F64) -> F64:
        where = place_card(state, k, card, board)
        if spoil == "card is bent":
            middle = card.spec.size_mm[0] / 2
            where = where + np.c_[np.zeros((len(where), 2)), 2.0 * ((board[:, 0] - middle) / middle) ** 2]
        q = where @ state.rotation.T + state.shift
        return distort(q[:, :2] / q[:, 2:], s.true.theta)

    corners = look(card.board) + rng.normal(0, card.sigma_px[:, None], card.board.shape)
    e = card.edges
    edges = look(e.board) + e.normal * rng.normal(0, e.sigma_px)[:, None]
    return replace(card, pixels=corners, edges=replace(e, pixels=edges))


def read(scene: Scene, station: str) -> Reading:
    """The scene through the reader's own solution, gates and doubts."""
    picture = Photo(scene.photo, scene.photo, *SIZE, None, None)
    made = Made("simulated", scene.lens.ident, None)
    alone = replace(scene, lines=(), lean=None)
    first = from_starts(alone, starts(alone))
    solutions = from_starts(scene, [with_lines(scene, f.state) for f in near(first)]) if first else []
    if not solutions:
        none = Angle(None, "the card's pose could not be solved for")
        return Reading(picture, station, none, none, "right", "plumb", made)
    verdict = gates.after_solving(solutions[0])
    (result,), (poses,) = both_poses([(s,) for s in solutions], picture.sha256[:12])
    assert result.chord is not None
    reason = verdict.reason
    if result.chord.u > doubts.MAX_U_DEG:
        reason = "the geometry leaves the angle open"
    if reason:
        none = Angle(None, reason)
        return Reading(picture, station, none, none, "right", "plumb", made)
    disagreeing, doubted = doubts.references(solutions[0])
    if disagreeing:
        none = Angle(None, disagreeing)
        return Reading(picture, station, none, none, "right", "plumb", made)
    flags: tuple[Flag, ...] = (*verdict.flags, *doubted, *doubts.lens(solutions[0]), *poses)
    return Reading(picture, station, Angle(result.chord), Angle(result.spar), "right", "plumb", made, tuple(flags))


FAULTS = (
    "zoomed by 1.2",
    "card is bent",
    "card stands off the rib",
    "string touches something",
    "rib leans 3° more than stated",
)


def _view(rng: np.random.Generator, s: Shop, r: Rib) -> Viewpoint:
    distance = float(s.true.theta[0]) * r.chord_mm / (rng.uniform(0.45, 0.8) * SIZE[0])
    aim = (float(rng.uniform(-0.1, 0.1)) * r.chord_mm, float(rng.uniform(-0.08, 0.1)) * r.chord_mm)
    return Viewpoint(distance, float(rng.uniform(-20, 20)), float(rng.uniform(-12, 12)), float(rng.uniform(-4, 4)), aim)


def _lines(rng: np.random.Generator, s: Shop, r: Rib, world: _World, spoil: str | None) -> list[LineSeen]:
    half, c, n = 0.485 * r.chord_mm, r.chord_mm, s.noise
    lines = [
        _noisy(
            rng,
            world._line(Role.CHORD, world.rib(-half, 0), world.rib(half, 0), n.pen_wave_mm, n.pen_reach_mm)[0],
            r.waves[0],
            2 * half,
        )
    ]
    x = 0.2 * c
    spar = world._line(Role.SPAR, world.rib(x, -0.04 * c), world.rib(x, 0.075 * c), n.pen_wave_mm / 2, n.pen_reach_mm)[
        0
    ]
    lines.append(_noisy(rng, spar, r.waves[1], 0.115 * c))
    for k, at in enumerate(r.strings_mm):
        across, deep = np.tan(np.radians(r.hung[k] + ([0.6, 0.0] if spoil == "string touches something" else 0.0)))
        low, high = -0.12 * c - 60, 900.0
        a = np.array([at + across * low, -world.s.gap_mm + deep * low, low])
        b = np.array([at + across * high, -world.s.gap_mm + deep * high, high])
        seen = world._line(Role.PLUMB, a, b, source=f"string {k + 1} at {r.name}")[0]
        lines.append(_noisy(rng, replace(seen, own_deg=0.02, own_name="string's own error")))
    if r.level_at is not None:
        rise = half * math.tan(math.radians(s.level_off))
        a, b = world.tip @ [-half, 0.0, r.level_at - rise], world.tip @ [half, 0.0, r.level_at + rise]
        seen = world._line(Role.LEVEL, a, b, source="level reference")[0]
        lines.append(_noisy(rng, replace(seen, own_deg=0.02, own_name="level line's own error")))
    return lines


def _noisy(rng: np.random.Generator, line: LineSeen, wave_mm: F64 | None = None, length_mm: float = 1.0) -> LineSeen:
    """Points moved across the line by noise and waviness."""
    d = line.pixels[-1] - line.pixels[0]
    across = np.array([-d[1], d[0]]) / np.linalg.norm(d)
    off = rng.normal(0, line.noise_px)
    if wave_mm is not None:
        part = (line.pixels - line.pixels[0]) @ d / (d @ d)
        off = off + np.interp(part, np.linspace(0, 1, len(wave_mm)), wave_mm) * float(np.linalg.norm(d)) / length_mm
    elif line.wave_px > 0:
        along = np.linalg.norm(line.pixels - line.pixels[0], axis=1)
        cov = line.wave_px**2 * np.exp(-np.abs(along[:, None] - along) / line.reach_px)
        off = off + np.linalg.cholesky(cov + 1e-9 * np.eye(len(cov))) @ rng.normal(size=len(cov))
    return replace(line, pixels=line.pixels + off[:, None] * across)


def _wave(rng: np.random.Generator, length_mm: float, size: float, reach: float) -> F64:
    """Waviness of a drawn line on a grid of 60, mm, exponentially correlated along it."""
    x = np.linspace(0, length_mm, 60)
    cov = size**2 * np.exp(-np.abs(x[:, None] - x) / reach)
    return np.asarray(np.linalg.cholesky(cov + 1e-9 * np.eye(60)) @ rng.normal(size=60))


@dataclass(frozen=True)
class _Exif:
    """What guessing a lens wants to know."""

    focal35_mm: float
    make: str | None = None
    model: str | None = "simulated"
    lens_model: str | None = None
    focal_mm: float | None = None
    digital_zoom: float | None = None
    taken: str | None = None
    orientation: int = 1


def session(seed: int, stations: int, photos: int, **asked: Any) -> list[list[Simulated]]:
    """Stations by photos of one session."""
    rng = np.random.default_rng(seed)
    s = shop(rng, **asked)
    ribs = [rib(rng, s, f"S{k}") for k in range(stations)]
    return [[photo(rng, s, r) for _ in range(photos)] for r in ribs]


def spoiled(seed: int, fault: str) -> Simulated:
    """One photo with a fault put in; the lean is stated, the lens has a profile."""
    rng = np.random.default_rng(seed)
    s = shop(rng, "lean known to 0.5°")
    strings = fault == "string touches something"
    reference = REFERENCES[rng.integers(3 if strings else 4)]
    return photo(rng, s, rib(rng, s, "S0", None, reference), fault)


def angles_of(found: Sequence[Simulated]) -> list[Reading]:
    """The readings alone."""
    return [f.reading for f in found]
