"""A photo not yet taken: what would be seen of a rib from a given place, ready for the joint solution.

World frame, mm: X along the picture towards the leading edge, Y away from the camera, Z up; the rib's mid
chord is the origin and its face the plane Y = 0, turned about X by the lean. The scene is without error, so
the solution is the truth and only its uncertainty is of interest.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from functools import partial

import numpy as np

from calibration.lens.model import Lens, distort
from calibration.print.profile import U_SKEW_DEG, U_STRETCH
from shared.cards import CardKind
from shared.lines import Role, Shows
from shared.numerics.arrays import F64, Bools
from vision.cards.detect import Card
from vision.cards.edges import Edges
from vision.cards.spec import SPECS, CardSpec
from vision.rib_scene import U_SEAT_DEG
from vision.solution.solve import Lean, LineSeen, Scene, State

MARK_PX = 0.06
"""How well a quartered mark's centre is seen, pixels."""


@dataclass(frozen=True)
class PlacedCard:
    """A card on the rib. at : its middle, as a part of the chord from the leading edge. turn_deg : askew. above_mm : its middle
    over the chord line; None: close above it."""

    kind: CardKind
    at: float
    turn_deg: float = 0.0
    above_mm: float | None = None


@dataclass(frozen=True)
class Viewpoint:
    """Where the camera is.

    distance_mm : along its axis. yaw, pitch, roll : degrees from square-on. aim : where the middle of the
    picture lies, mm from mid chord, along the chord towards the leading edge and up.
    """

    distance_mm: float
    yaw_deg: float = 0.0
    pitch_deg: float = 0.0
    roll_deg: float = 0.0
    aim: tuple[float, float] = (0.0, 0.0)


@dataclass(frozen=True)
class SeeingNoise:
    """What seeing is worth, standard deviations.

    corner_px : each coordinate of a card corner. edge_px : a square's edge across itself. line_px : a point
        of a pen line or string, one point for each pixel along.
    pen_wave_mm, pen_reach_mm : waviness of the drawn line and how far it hangs together; string_wave_px,
        string_reach_px : the same of a string.
    aspect : printed scale across against down. skew_deg : of the print's corners. seat_deg : how flat a card lies on
        the rib, about either axis.

    The figures are what readings of good photos carry.
    """

    corner_px: float = 0.04
    edge_px: float = 0.026
    line_px: float = 0.3
    pen_wave_mm: float = 0.12
    pen_reach_mm: float = 150.0
    string_wave_px: float = 0.035
    string_reach_px: float = 80.0
    aspect: float = U_STRETCH
    skew_deg: float = U_SKEW_DEG
    seat_deg: float = U_SEAT_DEG


@dataclass(frozen=True)
class PlannedLine:
    """A line by name. middle : mm from mid chord along the chord and above it. upright : it runs up the face. marks : two
    quartered marks define it; edged : it is seen by two edges, which waver less than a pen."""

    name: str
    middle: tuple[float, float]
    length_mm: float
    upright: bool
    marks: bool = False
    edged: bool = False


@dataclass(frozen=True)
class SetUp:
    """All that is chosen before the shutter is pressed.

    strings_mm : where plumb lines hang, mm from mid chord towards the leading edge. gap_mm : how far in
    front.
    named : lines by name. level_at : height of a level line above the chord line, mm; None without one. u_level_deg : of each
    reference itself. lean_deg, u_lean_deg : the rib plane's lean, top away from the camera; how well known.
    """

    lens: Lens
    chord_mm: float
    cards: tuple[PlacedCard, ...]
    view: Viewpoint
    strings_mm: tuple[float, ...] = (0.0,)
    gap_mm: float = 20.0
    level_at: float | None = None
    lean_deg: float = 0.0
    u_lean_deg: float = 1.0
    u_level_deg: float = 0.02
    spar_at: float | None = 0.3
    angle_deg: float = 1.0
    noise: SeeingNoise = field(default_factory=SeeingNoise)
    photo: str = "planned"
    named: tuple[PlannedLine, ...] = ()


def imagine(setup: SetUp) -> tuple[Scene, State]:
    """The scene of a set-up and the state that is its exact solution.

    Raises ValueError when a card or the whole chord line lies outside the picture.
    """
    world = _World(setup)
    cards, places = world.cards()
    lines, planes = world.lines()
    lean = Lean(setup.lean_deg, setup.u_lean_deg, "lean", 1.0)
    scene = Scene(
        setup.lens,
        cards,
        lines,
        lean,
        setup.photo,
        u_aspect=setup.noise.aspect,
        u_seat_deg=setup.noise.seat_deg,
        u_shear=math.radians(setup.noise.skew_deg),
    )
    rotation, shift = world.rib_frame(setup.cards[0])
    gravity = world.turn @ [0.0, 0.0, -1.0]
    state = State(
        z=np.zeros(len(setup.lens.axes())),
        rotation=rotation,
        shift=shift,
        places=places,
        aspect=0.0,
        seats=np.zeros((len(cards), 2)),
        gravity=gravity,
        planes=planes,
    )
    return scene, state


class _World:
    """The geometry of one set-up."""

    def __init__(self, setup: SetUp) -> None:
        self.s = setup
        self.turn, self.eye = _camera(setup.view)
        a, e = math.radians(setup.angle_deg), math.radians(setup.lean_deg)
        tip = np.array([[1, 0, 0], [0, math.cos(e), math.sin(e)], [0, -math.sin(e), math.cos(e)]])
        self.tip = tip
        self.ex = tip @ [math.cos(a), 0.0, math.sin(a)]
        self.ez = tip @ [-math.sin(a), 0.0, math.cos(a)]

    def rib(self, x: float, z: float) -> F64:
        """World point of a place on the rib: mm from mid chord along the chord, mm above the chord line."""
        return np.asarray(x * self.ex + z * self.ez, dtype=np.float64)

    def pixels(self, points: F64) -> F64:
        """Pixels (n, 2) of world points (n, 3)."""
        q = (points - self.eye) @ self.turn.T
        return distort(q[:, :2] / q[:, 2:], self.s.lens.theta)

    def shown(self, pixels: F64) -> Bools:
        """Which pixels (n, 2) the picture holds."""
        return np.asarray(((pixels >= 0) & (pixels <= np.array(self.s.lens.size) - 1.0)).all(axis=1))

    def card_axes(self, card: PlacedCard) -> tuple[F64, F64, F64]:
        """Origin of a card's board, its x axis and its y axis (down the sheet), world."""
        t = math.radians(card.turn_deg)
        along = math.cos(t) * self.ex + math.sin(t) * self.ez
        down = math.sin(t) * self.ex - math.cos(t) * self.ez
        width, height = SPECS[card.kind].size_mm
        above = height / 2 + 20.0 if card.above_mm is None else card.above_mm
        middle = self.rib((0.5 - card.at) * self.s.chord_mm, above)
        return middle - along * width / 2 - down * height / 2, along, down

    def cards(self) -> tuple[tuple[Card, ...], F64]:
        """The cards as seen, and the places of all but the first in the first one's frame."""
        seen, places = [], []
        first, along, down = self.card_axes(self.s.cards[0])
        for number, placed in enumerate(self.s.cards):
            spec = SPECS[placed.kind]
            origin, ax, ay = self.card_axes(placed)
            board = spec.inner_corners()
            place = partial(self._on_card, origin, ax, ay)
            pixels = place(board)
            if not self.shown(place(spec.outline())).all():
                raise ValueError("a card lies outside the picture")
            scale = float(np.linalg.norm(pixels[1] - pixels[0])) / spec.square_mm
            edges = _edges(spec, place, self.s.noise.edge_px)
            seen.append(
                Card(
                    spec,
                    number,
                    board,
                    pixels,
                    np.full(len(board), self.s.noise.corner_px),
                    np.empty((0, 2)),
                    np.eye(3),
                    scale,
                    1.0,
                    105.0,
                    edges,
                )
            )
            if number:
                off, turn = origin - first, math.radians(self.s.cards[0].turn_deg - placed.turn_deg)
                places.append([float(off @ along), float(off @ down), turn])
        return tuple(seen), np.array(places, dtype=np.float64).reshape(-1, 3)

    def _on_card(self, origin: F64, ax: F64, ay: F64, board: F64) -> F64:
        """Pixels (n, 2) of board points (n, 2) mm."""
        return self.pixels(origin + board[:, :1] * ax + board[:, 1:] * ay)

    def rib_frame(self, card: PlacedCard) -> tuple[F64, F64]:
        """Rotation of the solver's rib frame (x, down, into the rib) into the camera's; its origin there."""
        origin, ax, ay = self.card_axes(card)
        rotation = self.turn @ np.stack([ax, ay, np.cross(ax, ay)], axis=1)
        return np.asarray(rotation), np.asarray(self.turn @ (origin - self.eye))

    def lines(self) -> tuple[tuple[LineSeen, ...], F64]:
        """The lines as seen, and the planes through the camera that hold them."""
        s, n = self.s, self.s.noise
        half = 0.485 * s.chord_mm
        lines = [self._line(Role.CHORD, self.rib(-half, 0), self.rib(half, 0), n.pen_wave_mm, n.pen_reach_mm)]
        if s.spar_at is not None:
            x, c = (0.5 - s.spar_at) * s.chord_mm, s.chord_mm
            lines.append(
                self._line(Role.SPAR, self.rib(x, -0.04 * c), self.rib(x, 0.075 * c), n.pen_wave_mm / 2, n.pen_reach_mm)
            )
        for k, x in enumerate(s.strings_mm):
            low, high = np.array([[x, -s.gap_mm, -0.12 * s.chord_mm - 60], [x, -s.gap_mm, 900.0]])
            lines.append(self._line(Role.PLUMB, low, high, source=f"string {k}"))
        if s.level_at is not None:
            a, b = self.tip @ [-half, 0.0, s.level_at], self.tip @ [half, 0.0, s.level_at]
            lines.append(self._line(Role.LEVEL, a, b, source="level line"))
        lines += [self._named(line) for line in s.named]
        return tuple(line for line, _ in lines), np.array([plane for _, plane in lines])

    def _named(self, line: PlannedLine) -> tuple[LineSeen, F64]:
        n, half = self.s.noise, 0.5 * line.length_mm
        way = np.array([0.0, half]) if line.upright else np.array([half, 0.0])
        a, b = (self.rib(*(np.array(line.middle) + sign * way)) for sign in (-1.0, 1.0))
        seen, plane = self._line(Role.NAMED, a, b, 0.0 if line.edged else n.pen_wave_mm / 2, n.pen_reach_mm)
        if line.marks:
            seen = LineSeen(Role.NAMED, seen.pixels[[0, -1]], np.full(2, MARK_PX))
        return replace(seen, name=line.name), plane

    def _line(
        self,
        role: Role,
        a: F64,
        b: F64,
        wave_mm: float = 0.0,
        reach_mm: float = 1.0,
        source: str = "",
    ) -> tuple[LineSeen, F64]:
        fine = a + np.linspace(0, 1, 1600)[:, None] * (b - a)
        pixels = self.pixels(fine)
        pixels = pixels[self.shown(pixels)]
        if len(pixels) < 20:
            raise ValueError(f"the {role} line lies outside the picture")
        keep = pixels[np.linspace(0, len(pixels) - 1, 48).astype(int)]
        length = float(np.linalg.norm(keep[-1] - keep[0]))
        scale = length / float(np.linalg.norm(b - a)) * 1600 / len(pixels)
        noise = np.full(len(keep), self.s.noise.line_px * math.sqrt(len(keep) / length))
        plane = np.cross(self.turn @ (a - self.eye), self.turn @ (b - self.eye))
        own = self.s.u_level_deg if role.is_reference else 0.0
        wave_px, reach_px = wave_mm * scale, reach_mm * scale
        if role.shows is Shows.PLUMB:
            wave_px, reach_px = self.s.noise.string_wave_px, self.s.noise.string_reach_px
        return LineSeen(role, keep, noise, wave_px, reach_px, own, source, "level reference"), plane / np.linalg.norm(
            plane
        )


def _edges(spec: CardSpec, place: Callable[[F64], F64], sigma_px: float) -> Edges:
    """The inner edges of a card's squares as seen: middles, and the normals across them in the picture."""
    upright = [(c, r + 0.5, 0.0, 0.1) for r in range(spec.rows) for c in range(1, spec.columns)]
    level = [(c + 0.5, r, 0.1, 0.0) for r in range(1, spec.rows) for c in range(spec.columns)]
    table = np.array(upright + level) * spec.square_mm
    middle, along = table[:, :2], table[:, 2:]
    pixels = place(middle)
    run = place(middle + along) - pixels
    normal = np.stack([-run[:, 1], run[:, 0]], axis=1) / np.linalg.norm(run, axis=1, keepdims=True)
    return Edges(middle, pixels, normal, np.full(len(middle), sigma_px))


def _camera(view: Viewpoint) -> tuple[F64, F64]:
    """World to camera rotation (rows: right, down, forward) and the camera's place."""
    yaw, pitch, roll = (math.radians(v) for v in (view.yaw_deg, view.pitch_deg, view.roll_deg))
    about_z = np.array([[math.cos(yaw), -math.sin(yaw), 0], [math.sin(yaw), math.cos(yaw), 0], [0, 0, 1]])
    c, s = math.cos(pitch), math.sin(pitch)
    about_x = np.array([[1, 0, 0], [0, c, -s], [0, s, c]])
    square = about_z @ about_x
    forward, up = square[:, 1], square[:, 2]
    right = np.cross(forward, up)
    up, right = (math.cos(roll) * up + math.sin(roll) * right, math.cos(roll) * right - math.sin(roll) * up)
    eye = np.array([view.aim[0], 0.0, view.aim[1]]) - forward * view.distance_mm
    return np.stack([right, -up, forward]), eye
