"""Decoys among the level references: what may be taken for a plumb line or a level line."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Literal

import numpy as np

from shop.chance import chance_laser, chance_string
from shop.scene import Bar, Cord, Laser, Scene

Rng = np.random.Generator


def string_shadow(scene: Scene, rng: Rng) -> Scene:
    """The string throws a hard dark shadow close by, and is itself near the rib's tone."""
    string = replace(
        scene.strings[0],
        shadow=0.8,
        shadow_soft_mm=0.05,
        rgb=(0.62, 0.5, 0.36),
        gap_mm=float(rng.uniform(15, 60)),
    )
    return replace(scene, strings=(string,), surface="ply")


def two_strings(scene: Scene, rng: Rng) -> Scene:
    """Two plumb strings, apart, at different depths."""
    other = chance_string(rng, scene.chord_mm)
    return replace(
        scene,
        strings=(
            replace(scene.strings[0], x_mm=-0.2 * scene.chord_mm),
            replace(other, x_mm=0.22 * scene.chord_mm),
        ),
    )


def one_sways(scene: Scene, rng: Rng) -> Scene:
    """Two strings of which one is not plumb."""
    good = two_strings(scene, rng)
    sway = float(rng.uniform(0.7, 2.0) * rng.choice([-1, 1]))
    return replace(good, strings=(good.strings[0], replace(good.strings[1], sway_deg=sway)))


def _cables(rng: Rng, count: int) -> tuple[Cord, ...]:
    found = []
    for _ in range(count):
        x, y = float(rng.uniform(-500, 500)), float(rng.uniform(60, 500))
        top = (x + float(rng.uniform(-120, 120)), y, 1800.0)
        found.append(Cord((x, y, -140.0), top, float(rng.uniform(0.8, 5)), (0.05, 0.05, 0.06)))
    return tuple(found)


def cables(scene: Scene, rng: Rng) -> Scene:
    """Thin cables behind the rib, some nearly plumb, beside the string."""
    return replace(scene, cords=_cables(rng, 4))


def cables_only(scene: Scene, rng: Rng) -> Scene:
    """Thin cables behind the rib, and no string."""
    return replace(scene, cords=_cables(rng, 3), strings=())


def no_string(scene: Scene, rng: Rng) -> Scene:
    """No level reference at all."""
    return replace(scene, strings=(), clutter=int(rng.integers(0, 6)))


def door_frame(scene: Scene, rng: Rng) -> Scene:
    """A door frame behind, out of plumb by a degree or two, and no string."""
    x, lean = float(rng.uniform(-400, 400)), float(rng.uniform(20, 60) * rng.choice([-1, 1]))
    y = scene.wall_mm - 40
    frame = tuple(
        Cord((x + dx, y, -160.0), (x + dx + lean, y, 1800.0), 30.0, (0.75, 0.73, 0.70), 0.1) for dx in (0.0, 800.0)
    )
    return replace(scene, cords=frame, strings=())


def rod_in_front(scene: Scene, rng: Rng) -> Scene:
    """A thin rod leaning before the rib, top to bottom of the picture, and no string."""
    x = float(rng.uniform(-200, 200))
    lean = float(rng.uniform(60, 160) * rng.choice([-1, 1]))
    rod = Cord(
        (x, -20.0, -220.0),
        (x + lean, -20.0, 1800.0),
        float(rng.uniform(0.8, 3)),
        (0.2, 0.2, 0.22),
        behind=False,
    )
    return replace(scene, cords=(rod,), strings=())


def rod_and_string(scene: Scene, rng: Rng) -> Scene:
    """A leaning rod before the rib, and a true string."""
    return replace(rod_in_front(scene, rng), strings=scene.strings)


def string_behind(scene: Scene, rng: Rng) -> Scene:
    """The string hangs behind the rib: a plumb line all the same."""
    string = replace(scene.strings[0], gap_mm=-float(rng.uniform(40, 150)), shadow=0.0, radius_mm=0.9)
    return replace(scene, strings=(string,), cords=())


def laser_off(scene: Scene, rng: Rng) -> Scene:
    """String and laser, the laser out of level."""
    tilt = float(rng.uniform(0.5, 1.5) * rng.choice([-1, 1]))
    return replace(scene, laser=replace(chance_laser(rng), tilt_deg=tilt), exposure=0.65)


def string_and_laser(scene: Scene, rng: Rng) -> Scene:
    """String and laser, both true."""
    return replace(scene, laser=chance_laser(rng), exposure=0.65)


def red_pen(scene: Scene, rng: Rng) -> Scene:
    """No string, no laser, but a line drawn in red pencil, out of level."""
    from shop.scene import Line, Pen

    z = float(rng.uniform(12, 24))
    rise = float(rng.uniform(5, 20) * rng.choice([-1, 1]))
    line = Line((0.9, -z - rise / 2), (0.1, -z + rise / 2), Pen(1.0, (0.6, 0.05, 0.05), 0.9, 0.05, 0))
    return replace(scene, strings=(), lines=(line,), surface="balsa")


def tilted_bar(scene: Scene, rng: Rng) -> Scene:
    """A straightedge lying about, out of level, and no other reference."""
    tilt = float(rng.uniform(1.5, 5) * rng.choice([-1, 1]))
    return replace(scene, strings=(), bars=(Bar(0.0, -0.1 * scene.chord_mm - 30, 900.0, 30.0, 3.0, tilt),))


def ghost_laser(scene: Scene, rng: Rng) -> Scene:
    """No string; the laser, and a fainter reflection of it that is out of level, drawn as a glowing rod."""
    laser: Laser = chance_laser(rng)
    z = laser.z_mm + float(rng.uniform(15, 25) * rng.choice([-1, 1]))
    lean = float(rng.uniform(8, 25) * rng.choice([-1, 1]))
    ghost = Cord((-700.0, -2.0, z), (700.0, -2.0, z + lean), 0.6, (0.5, 0.2, 0.18), 0.0, behind=False)
    return replace(scene, strings=(), laser=laser, cords=(ghost,), exposure=0.65)


LEVELS: dict[str, tuple[Literal["angle", "refuse"], Callable[[Scene, Rng], Scene]]] = {
    "hard shadow of the string": ("angle", string_shadow),
    "two strings": ("angle", two_strings),
    "two strings, one out of plumb": ("refuse", one_sways),
    "cables behind": ("angle", cables),
    "cables and no string": ("refuse", cables_only),
    "no string": ("refuse", no_string),
    "door frame and no string": ("refuse", door_frame),
    "leaning rod and no string": ("refuse", rod_in_front),
    "leaning rod and a string": ("angle", rod_and_string),
    "string behind the rib": ("angle", string_behind),
    "laser out of level, and a string": ("refuse", laser_off),
    "laser and string": ("angle", string_and_laser),
    "red pencil line and no string": ("refuse", red_pen),
    "straightedge lying about and no string": ("refuse", tilted_bar),
    "laser and its reflection": ("angle", ghost_laser),
}
"""Kinds of decoy: what is right to say, and the change to a good scene."""
