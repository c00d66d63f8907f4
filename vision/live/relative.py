"""How far a rib has turned since the first photo of a camera that stands still.

The first photo is read in full. In a later one only small differences are measured: how far each short piece of
the chord line, and each edge of the cards, has shifted (`vision.live.shifts`), and whether the background stood still
(`vision.live.stillness`). A rigid movement of the rib is fitted to the shifts: its turn in its own plane, its slide,
and, held near zero, its tilt.

What is the same in both photos cancels: lens, print and seat of the cards, waviness of the pen, the string's
own error and shading, the lean. What does not: the pixel noise of either photo, the camera's own small movement,
a tilt of the rib as it turns, and (with the turn's size) the geometry that the first photo gave.

Only the chord line says how far the rib has turned. Each card may have turned against it by itself (an unknown,
reported): paper that comes loose must not turn the rib.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from shared.angles import inclination
from shared.numerics.arrays import F64, U8
from shared.quantity import Component, Quantity
from vision.cards.detect import find_cards
from vision.image.photo import Picture
from vision.image.rectified import Plane
from vision.live.pieces import Pieces, run
from vision.live.rigid_fit import RigidFit, fit, placed, turn_of
from vision.live.shifts import across
from vision.live.start import Start, begin
from vision.live.stillness import Stillness, judge

__all__ = ["Change", "Start", "begin", "compare"]


UNEXPLAINED = 1.3
"""How much more changes scatter, on scenes drawn by chance, than noise and stillness account for (`benchmarks/live.py`, seeds
47 000 on: standard deviation of error over u 1.3); the cause is not known, so u allows for it."""
LOOSE_SIGMAS = 4.0
"""How many standard deviations the cards may turn against the line before it is reported: once in 16,000 photos by
chance, and a watch takes thousands."""
LOOSE_LEAST_DEG = 0.01
"""The same in degrees: a smaller turn does not matter to any angle."""


@dataclass(frozen=True)
class Change:
    """What has changed since the first photo.

    turn : change of the chord angle, degrees, nose-up positive; None with the reason. forward_mm, up_mm : slide of
    mid chord in the rib plane, towards the leading edge and up. loose_deg : turn against the chord line of the card that
    shows most of it, with its standard uncertainty. seen : share of the chord line's pieces used. motion : (6,) the
    movement found, to start the next photo from.
    """

    turn: Quantity | None
    reason: str
    camera: Stillness
    forward_mm: Quantity | None = None
    up_mm: Quantity | None = None
    loose_deg: tuple[float, float] = (float("nan"), float("nan"))
    seen: float = 0.0
    motion: F64 | None = None

    @property
    def loose(self) -> bool:
        """Whether the cards have turned against the chord line."""
        off, u = self.loose_deg
        return bool(abs(off) > LOOSE_SIGMAS * u and abs(off) > LOOSE_LEAST_DEG)


def compare(start: Start, picture: Picture, guess: F64 | None = None) -> Change:
    """Measure a later photo against the first. guess : (6,) movement of a photo just before, where there is one.

    start : the first photo, from `begin`. picture : the later one, of the same size. Without an answer `Change.turn`
    is None, with the reason.
    """
    if (picture.width, picture.height) != start.size:
        return Change(None, "the photo has another size than the first one", Stillness.unknown(""))
    camera = judge(start.background, picture.gray, start.plane.theta, picture.width)
    if camera.reason:
        return Change(None, camera.reason, camera)
    for x in (np.zeros(6) if guess is None else guess, None):
        begun = _from_cards(start, picture.gray) if x is None else x
        if begun is None:
            continue
        movement = fit(start, picture.gray, camera, begun)
        if movement is not None:
            return _told(start, picture, camera, movement)
    return Change(
        None,
        "the chord line and the cards are not seen as in the first photo: something stands before them, or "
        "the light has changed too much",
        camera,
    )


def _told(start: Start, picture: Picture, camera: Stillness, fit: RigidFit) -> Change:
    def angle(x: F64, forward: F64 = start.forward, up: F64 = start.up, plane: Plane = start.plane) -> float:
        return inclination(turn_of(plane, x) @ forward, up) - inclination(forward, up)

    def graded(e: F64) -> float:
        return (angle(fit.x + e) - angle(fit.x - e)) / 2e-6

    grad = np.r_[[graded(e) for e in 1e-6 * np.eye(6)], np.zeros(len(fit.inverse) - 6)]
    here, first = f"photo:{picture.sha256[:12]}", f"photo:{start.ident}"
    noise = UNEXPLAINED * float(np.sqrt(grad @ fit.noise @ grad / 2))  # as much from either photo
    prior = grad @ fit.priors
    still = UNEXPLAINED * float(np.sqrt(prior[6:10] @ prior[6:10] / 2))
    parts = [
        Component("pixel noise, this photo", f"{here} live", noise),
        Component("pixel noise, first photo", f"{first} live", noise),
        Component("camera's stillness", f"{here} camera", still),
        Component("camera's stillness", f"{first} camera", still),
        Component("tilt of the rib as it turns", f"{first} tilt 1", float(prior[1])),
        Component("tilt of the rib as it turns", f"{first} tilt 2", float(prior[2])),
    ]
    parts += [
        Component("first photo's geometry", f"{first} geometry {k}", off)
        for k, off in enumerate(_by_geometry(start, fit, angle))
    ]
    turn = Quantity(angle(fit.x), tuple(p for p in parts if p.u != 0))
    toward = np.sign(start.forward @ start.plane.along_u)
    slides = []
    for j, sign in ((3, toward), (4, -1.0)):
        u = float(np.sqrt(fit.inverse[j, j]))
        slides.append(Quantity(float(sign * fit.x[j]), (Component("slide", f"{here} slide {j}", u),)))
    return Change(turn, "", camera, slides[0], slides[1], fit.loose, fit.seen, fit.x)


def _by_geometry(start: Start, fit: RigidFit, angle: Callable[..., float]) -> list[float]:
    """Change of the turn, degrees, were the first photo's geometry one standard deviation off along each axis."""
    base = angle(fit.x)
    out = []
    for plane, up, forward in start.geometry:
        other = replace(start, plane=plane, up=up, forward=forward)
        total = np.r_[fit.x, np.zeros(4)]
        off = np.zeros(len(fit.px))
        at = 0
        for p in (start.chord, *start.cards):
            n = len(p.a)
            off[at : at + n] = _moved_apart(start, other, p, total)
            at += n
        x = fit.x + (fit.gain @ off)[:6]
        out.append(angle(x, forward, up, plane) - base)
    return out


def _moved_apart(start: Start, other: Start, p: Pieces, total: F64) -> F64:
    """By how much the same movement shows otherwise, pixels across the pieces, when the geometry is another."""
    middle = (p.a + p.b) / 2
    at = start.plane.to_pixels(middle)
    theirs = other.plane.to_sheet(at)
    shown = placed(start, total).to_pixels(middle) - placed(other, total).to_pixels(theirs)
    normal = across(run(start.plane, p.a, p.b, 2))
    return np.asarray((shown * normal).sum(1))


def _from_cards(start: Start, gray: U8) -> F64 | None:
    """The movement in the rib's plane that the cards' corners show: for a rib that was turned far."""
    cards = {c.number: c for c in find_cards(gray)}
    before, after = [], []
    for old in start.found:
        new = cards.get(old.number)
        if new is not None and new.spec is old.spec:
            corners = old.spec.inner_corners()
            before.append(start.plane.to_sheet(old.at(corners)))
            after.append(start.plane.to_sheet(new.at(corners)))
    if not before:
        return None
    p, q = np.concatenate(before), np.concatenate(after)
    a, b = p - p.mean(0), q - q.mean(0)
    turn = float(np.arctan2((a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0]).sum(), (a * b).sum()))
    centre = (start.centre - start.plane.origin) @ np.stack([start.plane.along_u, start.plane.along_v], axis=1)
    c, s = np.cos(turn), np.sin(turn)
    slide = q.mean(0) - (centre + (p.mean(0) - centre) @ np.array([[c, s], [-s, c]]))
    return np.array([turn, 0.0, 0.0, slide[0], slide[1], 0.0])
