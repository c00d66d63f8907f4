"""One photo: the world built, lit, traced, developed and labelled."""

from __future__ import annotations

import time
from dataclasses import dataclass
from typing import Any

import numpy as np

from shared.numerics.arrays import U8
from training.scenes import finish, tracer
from training.scenes.effects import Draw
from training.scenes.front import furnish_front
from training.scenes.geometry import Camera, Pose, film_size, look, project
from training.scenes.labels import label_lines
from training.scenes.level import laser, neighbour_strings, plumb, straightedge
from training.scenes.light import light, string_shadows
from training.scenes.rib import Rib
from training.scenes.rib_build import build
from training.scenes.shop import furnish
from training.scenes.wall import bench_plate, make_wall
from training.scenes.wing import Shot
from training.scenes.world import World, as_image


@dataclass(frozen=True)
class Built:
    """A world ready for the ray tracer."""

    world: World
    ribs: list[Rib]
    cam: Camera
    pose: Pose
    level: str


def stand(shot: Shot, draw: Draw) -> tuple[Camera, Pose]:
    """The camera at the photo's scale, and where it stands."""
    rng, cam, main = draw.rng("pose"), shot.cam.scaled(shot.scale), shot.ribs[0]
    distance = cam.f * main.chord / (float(rng.uniform(0.55, 0.76)) * cam.width)
    target = np.array([rng.uniform(-80, 80), 0, rng.uniform(-70, 90)])
    return cam, look(
        float(rng.uniform(-10, 10)), float(rng.uniform(-7, 7)), float(rng.uniform(-4, 4)), target, distance
    )


def build_world(shot: Shot, draw: Draw) -> Built:
    """Everything that stands in the photo."""
    cam, pose = stand(shot, draw)
    world, main = World(), shot.ribs[0]
    near = cam.f / float(np.linalg.norm(pose.eye))  # photo pixels a millimetre on the main rib
    glossy = draw.has("glare")
    ribs = [build(main, draw, 1.3 * near, world, glossy)]
    for spec in shot.ribs[1:]:
        depth = float(np.linalg.norm(np.asarray(spec.at) - pose.eye))
        ribs.append(build(spec, draw, 1.3 * cam.f / depth, world))
    rng = draw.rng("room")
    wall_y = max([float(rng.uniform(600, 1500))] + [s.at[1] + 150 for s in shot.ribs])
    bench_z = -0.12 * main.chord - float(rng.uniform(90, 160))
    make_wall(world, cam, pose, wall_y, draw, shot.walls)
    bench_plate(world, bench_z, draw)
    furnish(world, draw, bench_z, wall_y, main.chord)
    furnish_front(world, ribs[0], draw, bench_z)
    level = draw.option("level")
    if "plumb" in level:
        plumb(world, ribs[0], draw, shot.string_tilt)
        neighbour_strings(world, ribs[1:], draw)
    if "laser" in level:
        laser(world, ribs, wall_y, draw)
    if level == "straightedge":
        straightedge(world, ribs[0], draw, shot.bar_mm)
    light(world, ribs[0], pose, wall_y, draw)
    string_shadows(world, ribs)
    return Built(world, ribs, cam, pose, level)


def shoot(shot: Shot, draw: Draw, spp: int) -> tuple[U8, dict[str, Any]]:
    """Take a photo: RGB (h, w, 3) and its truth, with the seconds of wall time and of this process that it took."""
    clock = [(time.perf_counter(), time.process_time())]

    def lap() -> None:
        clock.append((time.perf_counter(), time.process_time()))

    built = build_world(shot, draw)
    world, cam, pose = built.world, built.cam, built.pose
    rng = draw.rng("lens")
    deep = draw.has("depth_of_field")
    distance = float(np.linalg.norm(pose.eye)) * float(rng.uniform(0.97, 1.05))
    lap()
    scene = tracer.load(world, cam, pose, float(rng.uniform(0.8, 1.8)) if deep else 0.01, distance)
    lap()
    rays = tracer.trace(scene, spp, draw.seed, film_size(cam))
    if world.laser_z is not None:
        glow = tracer.laser_glow(scene, world.laser_z, world.laser_mm, draw.seed)
        bright = float(np.percentile(rays[::7, ::7], 97))
        speckle = 1 + np.float32(0.25) * finish.normals(rng, *glow.shape)
        rays += (glow * speckle)[..., None] * as_image(world.laser_rgb) * np.float32(bright)
    lap()
    labels = label_lines(world.lines, cam, pose, lambda a, b: tracer.first_hit(scene, a, b), world.sun)
    lap()
    rays = finish.through_lens(rays, cam, shot.look.chroma)
    rays *= finish.gains(draw, shot.look, cam.height, cam.width)
    rays = finish.blur(rays, draw, shot.scale)
    rgb = finish.develop(rays, draw, shot.look, world.laser_z is not None)
    lap()
    cost = {
        name: [round(b[k] - a[k], 3) for k in (0, 1)]
        for name, a, b in zip(("build", "load", "trace", "label", "finish"), clock, clock[1:], strict=False)
    }
    return rgb, {**truth_of(shot, built, draw), "lines": labels, "cost_s": cost}


def truth_of(shot: Shot, built: Built, draw: Draw) -> dict[str, Any]:
    """What is true of a photo, apart from its lines."""
    cam, pose, main = built.cam, built.pose, built.ribs[0]
    te, le = main.place([[float(main.outline.x(f)), 0.0] for f in (0.985, 0.012)])
    ends = project(cam, pose, np.array([te, le])).tolist()
    return {
        "station": shot.station,
        "forward": "right" if main.spec.forward > 0 else "left",
        "chord_mm": main.spec.chord,
        "chord_deg": main.chord_deg,
        "spar_deg": main.spec.spar,
        "true_lean_deg": main.spec.lean,
        "lean_deg": 0.0,
        "string_tilt_deg": shot.string_tilt,
        "level": built.level,
        "cards": cards_of(main),
        "behind": [
            {
                "rib": r.spec.index,
                "station": r.spec.station,
                "chord_deg": r.chord_deg,
                "spar_deg": r.spec.spar,
                "true_lean_deg": r.spec.lean,
                "chord_mm": r.spec.chord,
                "cards": cards_of(r),
                "forward": "right" if r.spec.forward > 0 else "left",
            }
            for r in built.ribs[1:]
        ],
        "geo": {
            "R": pose.R.tolist(),
            "eye": pose.eye.tolist(),
            "K": cam.matrix.tolist(),
            "dist": list(cam.dist),
            "size": [cam.width, cam.height],
            "ex": (le - te).tolist(),
            "te": te.tolist(),
        },
        "te_px": ends[0],
        "le_px": ends[1],
        "sun": None if built.world.sun is None else built.world.sun.tolist(),
        "effects": sorted(draw.used),
    }


def cards_of(rib: Rib) -> list[list[Any]]:
    """Kind and number of each card."""
    return [[c.kind, c.number] for c in rib.spec.cards]
