"""From features seen to values with budgets: the plane solved with the dimensions' lines, every value differentiated.

A value depends on the solved state (lens, pose, cards' places, lines), on where each mark is seen, on how far before or behind
the cards' plane each feature lies, and on the tone curve's shift of edges. Its loadings on the solution's observations follow
as an angle's do (`vision.solution.propagate`, JCGM 100:2008 eq. 13), those on the rest by differences; the print's scale
moves every length in proportion (JCGM 100:2008, 5.1.6).
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import partial

import numpy as np

from calibration.lens.model import undistort
from calibration.print.profile import PAGE_TO_PAGE, KnownPrint
from shared.dimensions import Dimension, Feature
from shared.numerics.arrays import F64
from shared.quantity import Component, Quantity
from shared.turns import wrap_half_turn
from vision.cards.detect import Card
from vision.distances.geometry import Undefined, crossing, value_of
from vision.distances.spots import Spot
from vision.solution.propagate import compressed
from vision.solution.scene import LineSeen, Slots, State, place_card, rotation_of, slots, theta_of, with_plane
from vision.solution.solve import Solution

MEASURED_PRINT = 0.002
"""u of the print's scale below which the job's figure was measured on a page, so that other pages' differences come on top."""


@dataclass(frozen=True)
class LineFound:
    """A line among the scene's. seen : its points, from its first end to its second. index : in the scene. tone, tone_px :
    of an edge, as in `vision.distances.rims.Rim`; 0 of a drawn line."""

    seen: LineSeen
    index: int
    tone: float = 0.0
    tone_px: float = 0.0


@dataclass(frozen=True)
class Found:
    """The features of one plane. spots, lines : by their text. cards : number -> index among the scene's. chord : the chord
    line's text where it was found."""

    spots: Mapping[str, Spot]
    lines: Mapping[str, LineFound]
    cards: Mapping[str, int]


@dataclass(frozen=True)
class _Moved:
    """Everything a value depends on, as moved. state : solved. theta : lens. pixels : (spots, 2). lifts : of each spot and both
    ends of each line, mm into the plane. aside : (lines,) mm to the right hand of its way."""

    state: State
    theta: F64
    pixels: F64
    lifts: F64
    aside: F64


class Solved:
    """A plane with its features, for one of the card's poses."""

    def __init__(self, solution: Solution, found: Found, dimensions: Sequence[Dimension], prints: KnownPrint) -> None:
        self.solution, self.found, self.dimensions, self.prints = solution, found, tuple(dimensions), prints
        self.names = tuple(found.spots)
        self.edges = tuple(found.lines)
        count = len(self.names) + 2 * len(self.edges)
        pixels = np.array([found.spots[n].pixel for n in self.names]).reshape(-1, 2)
        self.base = _Moved(
            solution.state, solution.theta(), pixels, np.full(count, prints.thickness_mm), np.zeros(len(self.edges))
        )
        # "up" is that way square to the arrow which is up in the photo; where the arrow itself points up or down it, right
        across, down = solution.state.rotation[:2, 1]
        self.up = -1.0 if (down > 0 if abs(down) >= abs(across) else across < 0) else 1.0

    def values(self) -> list[float | str]:
        """Each dimension's value, or why it has none."""
        return [self._value(d, self.base) for d in self.dimensions]

    def quantities(self, source: str) -> list[Quantity | str]:
        """Each dimension's value with its budget, or why it has none.

        source : of the photo, in the sources' names.
        """
        base = self.values()
        which = [k for k, v in enumerate(base) if isinstance(v, float)]
        parts: list[list[Component]] = [[] for _ in base]
        if which:
            load = -self._by_state(which) @ self.solution.gain
            for k, more in zip(which, compressed((self.solution,), load), strict=True):
                parts[k] += more
        for k in which:
            value = base[k]
            assert isinstance(value, float)
            parts[k] += self._rest(self.dimensions[k], source) + self._scale(self.dimensions[k], value)
        return [Quantity(v, tuple(p)) if isinstance(v, float) else v for v, p in zip(base, parts, strict=True)]

    def _by_state(self, which: Sequence[int]) -> F64:
        """(dimensions, parameters) derivatives by the solution's parameters."""
        at = slots(self.solution.scene, self.solution.state)
        grad = np.zeros((len(which), at.count))
        step = 1e-6
        for column, moved in self._moves(at):
            ahead, behind = moved(step), moved(-step)
            for row, k in enumerate(which):
                up, down = (self._value(self.dimensions[k], m) for m in (ahead, behind))
                assert isinstance(up, float) and isinstance(down, float)
                grad[row, column] = _between(self.dimensions[k], up, down) / (2 * step)
        return grad

    def _moves(self, at: Slots) -> Iterator[tuple[int, Callable[[float], _Moved]]]:
        """Each parameter that a value may depend on: its place in the vector, and everything moved along it. Print and seats
        move nothing but the cards."""
        s = self.solution.state
        for j, e in enumerate(np.eye(len(s.z))):
            yield at.z.start + j, partial(self._lens, e)
        for j, e in enumerate(np.eye(3)):
            yield at.turn.start + j, partial(self._turned, e)
            yield at.shift.start + j, partial(self._shifted, e)
        for j, e in enumerate(np.eye(s.places.size)):
            yield at.places.start + j, partial(self._card_moved, e.reshape(-1, 3))
        for k in range(len(s.planes)):
            for j, e in enumerate(np.eye(2)):
                yield at.plane(k).start + j, partial(self._line_moved, k, e)

    def _lens(self, e: F64, x: float) -> _Moved:
        return replace(self.base, theta=theta_of(self.solution.scene, self.solution.state.z + x * e))

    def _turned(self, e: F64, x: float) -> _Moved:
        s = self.base.state
        return replace(self.base, state=replace(s, rotation=rotation_of(x * e) @ s.rotation))

    def _shifted(self, e: F64, x: float) -> _Moved:
        s = self.base.state
        return replace(self.base, state=replace(s, shift=s.shift + float(np.linalg.norm(s.shift)) * x * e))

    def _card_moved(self, e: F64, x: float) -> _Moved:
        s = self.base.state
        far = float(np.linalg.norm(s.shift))
        return replace(self.base, state=replace(s, places=s.places + x * e * [far, far, 1.0]))

    def _line_moved(self, k: int, e: F64, x: float) -> _Moved:
        s = self.base.state
        return replace(self.base, state=replace(s, planes=with_plane(s.planes, k, x * e)))

    def _rest(self, d: Dimension, source: str) -> list[Component]:
        """Loadings on where marks are seen, how far off the plane things lie, and the tone curve."""
        out: list[Component] = []
        used = {f.text for f in d.features} | ({"chord"} if d.kind.on_chord else set())
        for i, name in enumerate(self.names):
            if name not in used:
                continue
            for axis in (0, 1):
                step = np.zeros_like(self.base.pixels)
                step[i, axis] = 0.05
                slope = self._slope(d, pixels=step) / 0.05
                out.append(
                    Component(
                        "where the marks are seen", f"{source} {name} {axis}", slope * self.found.spots[name].sigma_px
                    )
                )
        ends = [(n, "") for n in self.names] + [(n, f" end {e}") for n in self.edges for e in (1, 2)]
        for i, (name, end) in enumerate(ends):
            if name in used:
                step = np.eye(len(ends))[i]
                slope = self._slope(d, lifts=step)
                out.append(
                    Component("marks off the card's plane", f"depth {d.place} {name}{end}", slope * d.u_depth_mm)
                )
        proud = self._slope(d, lifts=np.ones(len(ends))) * self.prints.u_thickness_mm
        out.append(Component("card's thickness", f"thickness of card {' '.join(map(str, d.cards))}", proud))
        tone = 0.0
        for i, name in enumerate(self.edges):
            line = self.found.lines[name]
            if name in used and line.tone:
                mm = line.tone * line.tone_px / self._px_per_mm(line)
                tone += self._slope(d, aside=0.05 * np.eye(len(self.edges))[i]) / 0.05 * mm
        return [*out, Component("tone curve at edges", f"{source} tone", tone)] if tone else out

    def _px_per_mm(self, line: LineFound) -> float:
        middle = line.seen.pixels.mean(0)
        here = self.solution.to_plane(np.stack([middle, middle + [0.0, 1.0], middle + [1.0, 0.0]]))
        return float(1.0 / np.sqrt(abs(np.linalg.det(here[1:] - here[0]))))

    def _slope(self, d: Dimension, **steps: F64) -> float:
        """Half the difference of the value ahead and behind by a step of one of the moved things."""
        ahead, behind = (
            self._value(d, replace(self.base, **{k: getattr(self.base, k) + way * v for k, v in steps.items()}))
            for way in (1.0, -1.0)
        )
        assert isinstance(ahead, float) and isinstance(behind, float)
        return _between(d, ahead, behind) / 2

    def _scale(self, d: Dimension, value: float) -> list[Component]:
        prints = self.prints
        if d.kind.unit != "mm":
            return []
        out = [Component("print scale", f"{prints.source} scale", value * prints.u_scale / prints.scale)]
        if prints.u_scale < MEASURED_PRINT:
            pages = " ".join(map(str, d.cards))
            out.append(Component("print scale from page to page", f"page of card {pages}", value * PAGE_TO_PAGE))
        return out

    def _value(self, d: Dimension, m: _Moved) -> float | str:
        try:
            first, second = (self._place(f, m) for f in d.between)
            chord = self._place(Feature("chord"), m) if d.kind.on_chord else None
            return value_of(d.kind, first, second, chord)
        except Undefined as why:
            return str(why)

    def _place(self, feature: Feature, m: _Moved) -> F64:
        """A point (2,) or a line (2, 2) in the plane: x forward, y up."""
        if feature.parts:
            parts = [self._place(p, m) for p in feature.parts]
            return np.stack(parts) if feature.what == "through" else crossing(*parts)
        flat = self._card(feature, m) if feature.what == "card" else self._seen(feature.text, m)
        return np.asarray(flat * [1.0, self.up], dtype=np.float64)

    def _card(self, feature: Feature, m: _Moved) -> F64:
        k = self.found.cards[feature.name]
        card: Card = self.solution.scene.cards[k]
        middle = np.array([card.spec.size_mm]) / 2
        return np.asarray(place_card(m.state, k, card, middle, self.solution.scene.card_scale)[0, :2])

    def _seen(self, name: str, m: _Moved) -> F64:
        if name in self.found.spots:
            i = self.names.index(name)
            ray = np.append(undistort(m.pixels[i : i + 1], m.theta)[0], 1.0)
            return np.asarray(_on_plane(ray[None], m.lifts[i : i + 1], m.state)[0])
        line = self.found.lines[name]
        i = self.edges.index(name)
        plane = m.state.planes[line.index]
        rays = np.c_[undistort(line.seen.pixels[[0, -1]], m.theta), np.ones(2)]
        rays -= np.outer(rays @ plane, plane)
        at = len(self.names) + 2 * i
        ends = _on_plane(rays, m.lifts[at : at + 2], m.state)
        d = (ends[1] - ends[0]) / np.linalg.norm(ends[1] - ends[0])
        right = np.array([-d[1], d[0]])  # x right and y down as seen by the camera, which the rib frame is
        return np.asarray(ends + m.aside[i] * right, dtype=np.float64)


def _between(d: Dimension, a: float, b: float) -> float:
    """a less b; of angles, which a half turn leaves as they are, the lesser way round."""
    return wrap_half_turn(a - b) if d.kind.unit == "deg" else a - b


def _on_plane(rays: F64, lifts: F64, s: State) -> F64:
    """(n, 2) rib-plane mm of what rays (n, 3) see that lies `lifts` (n,) mm behind the plane."""
    n = s.rotation[:, 2]
    depth = (float(n @ s.shift) + lifts) / (rays @ n)
    return np.asarray(((rays * depth[:, None] - s.shift) @ s.rotation)[:, :2], dtype=np.float64)
