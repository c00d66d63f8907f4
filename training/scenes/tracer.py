"""From a world to linear light, with Mitsuba 3. Every scene has the same kinds and number of parts, however many
things stand in it, so that the compiled program is found again in the cache."""

from __future__ import annotations

from typing import Any

import mitsuba as mi
import numpy as np

from shared.numerics.arrays import F64, I64, U8
from training.scenes.geometry import Camera, Pose, film_size
from training.scenes.world import Image, Lamp, Plate, Soup, World

GLOSS = 0.25
PATHS = 3.6e7
"""Paths followed at once; what they need of the card's memory is shared by all its processes."""
PLATES = 18
"""Plates in every scene, or a multiple of them: the compiled program holds their number."""


def bitmap(image: Image | U8) -> dict[str, Any]:
    """A picture as a texture whose first row is at the bottom."""
    data = np.ascontiguousarray(image[::-1])
    if data.ndim == 2:
        data = data[..., None]
    return {"type": "bitmap", "bitmap": mi.Bitmap(data), "raw": True, "filter_type": "bilinear", "wrap_mode": "clamp"}


def skin(texture: dict[str, Any], glossy: bool) -> Any:
    """A surface that scatters by a texture, with or without gloss."""
    kind = (
        {"type": "roughplastic", "alpha": GLOSS, "diffuse_reflectance": texture}
        if glossy
        else {"type": "diffuse", "reflectance": texture}
    )
    return mi.load_dict({"type": "twosided", "bsdf": kind})


def flat(x: F64 | I64, kind: type) -> Any:
    """A contiguous flat array of a type."""
    return np.ascontiguousarray(np.asarray(x).astype(kind)).ravel()


def plate_mesh(name: str, plate: Plate) -> Any:
    """A textured mesh."""
    props = mi.Properties()
    props["bsdf"] = skin(bitmap(plate.image), plate.glossy)
    mesh = mi.Mesh(name, len(plate.points), len(plate.faces), has_vertex_texcoords=True, props=props)
    params = mi.traverse(mesh)
    params["vertex_positions"] = flat(plate.points, np.float32)
    params["vertex_texcoords"] = flat(plate.uv, np.float32)
    params["faces"] = flat(plate.faces, np.uint32)
    params.update()
    return mesh


def soup_mesh(name: str, soup: Soup, shiny: bool) -> Any:
    """All plain-coloured things as one mesh; a speck far away where there are none."""
    if not soup.count:
        soup.ball(np.array([0, 9000.0, -9000.0]), 1.0, (0.5, 0.5, 0.5))
    points, faces = np.concatenate(soup.points), np.concatenate(soup.faces)
    props = mi.Properties()
    colour = {"type": "mesh_attribute", "name": "vertex_color"}
    metal = {"type": "roughconductor", "alpha": 0.3, "material": "none", "specular_reflectance": colour}
    props["bsdf"] = mi.load_dict({"type": "twosided", "bsdf": metal}) if shiny else skin(colour, False)
    mesh = mi.Mesh(name, len(points), len(faces), has_vertex_normals=True, props=props)
    mesh.add_attribute("vertex_color", 3, flat(np.clip(np.concatenate(soup.colours), 0.01, 0.95), np.float32))
    params = mi.traverse(mesh)
    params["vertex_positions"] = flat(points, np.float32)
    params["vertex_normals"] = flat(np.concatenate(soup.normals), np.float32)
    params["faces"] = flat(faces, np.uint32)
    params.update()
    return mesh


def lamp_mesh(name: str, lamp: Lamp) -> Any:
    """A shining rectangle, as a mesh: a Mitsuba rectangle would have its size written into the compiled program."""
    z = lamp.target - lamp.centre
    z = z / np.linalg.norm(z)
    x = np.cross([0, 0, 1.0] if abs(z[2]) < 0.95 else [0, 1.0, 0], z)
    x /= np.linalg.norm(x)
    y = np.cross(z, x)
    corners = np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]]) * lamp.half
    points = lamp.centre + corners[:, :1] * x + corners[:, 1:] * y
    weight = 0.8 if any(lamp.light) else 0.01
    props = mi.Properties()
    props["emitter"] = mi.load_dict({"type": "area", "radiance": rgb(lamp.light), "sampling_weight": weight})
    mesh = mi.Mesh(name, 4, 2, props=props)
    params = mi.traverse(mesh)
    params["vertex_positions"] = flat(points, np.float32)
    params["faces"] = flat(np.array([[0, 1, 2], [0, 2, 3]]), np.uint32)
    params.update()
    return mesh


def load(world: World, cam: Camera, pose: Pose, aperture: float, focus: float) -> Any:
    """The scene for Mitsuba. aperture : radius of the lens, mm. focus : distance, mm."""
    w, h = film_size(cam)
    scene: dict[str, Any] = {"type": "scene", "integrator": {"type": "path", "max_depth": 3}}
    speck = Plate(
        np.array([[0, 9e3, -9e3], [1, 9e3, -9e3], [0, 9e3, -8999.0]]),
        np.zeros((3, 2)),
        np.array([[0, 1, 2]]),
        np.full((2, 2, 3), 0.5, np.float32),
    )
    # of the glossy kind there is one at least, and always the same number of plates
    shiny = any(p.glossy for p in world.plates)
    count = PLATES * -(-(len(world.plates) + 1) // PLATES)
    specks = [
        Plate(speck.points - [9.0 * k, 0, 0], speck.uv, speck.faces, speck.image, k == 0 and not shiny)
        for k in range(count - len(world.plates))
    ]
    for k, plate in enumerate([*world.plates, *specks]):
        scene[f"plate{k}"] = plate_mesh(f"plate{k}", plate)
    scene["matt"], scene["shiny"] = soup_mesh("matt", world.matt, False), soup_mesh("shiny", world.shiny, True)
    scene["sky"] = {"type": "constant", "radiance": rgb(world.sky), "sampling_weight": 1.0}
    sun = np.array([0, 0, -1.0]) if world.sun is None else world.sun
    scene["sun"] = {
        "type": "directional",
        "direction": sun.tolist(),
        "irradiance": rgb(world.sun_light),
        "sampling_weight": 1.2 if world.sun is not None else 0.01,
    }
    for k, lamp in enumerate(world.lamps):
        scene[f"lamp{k}"] = lamp_mesh(f"lamp{k}", lamp)
    ahead = (pose.eye + pose.forward).tolist()
    place = mi.ScalarTransform4f().look_at(pose.eye.tolist(), ahead, pose.up.tolist())
    scene["sensor"] = {
        "type": "thinlens",
        "fov": float(np.degrees(2 * np.arctan(w / 2 / cam.f))),
        "fov_axis": "x",
        "near_clip": 10.0,
        "far_clip": 20000.0,
        "aperture_radius": aperture,
        "focus_distance": focus,
        "to_world": place,
        "film": {
            "type": "hdrfilm",
            "width": w,
            "height": h,
            "rfilter": {"type": "box"},
            "pixel_format": "rgb",
            "component_format": "float32",
        },
        "sampler": {"type": "independent"},
    }
    return mi.load_dict(scene)


def rgb(values: Any) -> dict[str, Any]:
    """A colour for Mitsuba."""
    return {"type": "rgb", "value": [float(v) for v in values]}


def trace(scene: Any, spp: int, seed: int, size: tuple[int, int]) -> Image:
    """Linear light (h, w, 3), `spp` paths a pixel at least. size : of the picture, width and height."""
    per_pass = min(spp, 2 ** max(0, int(np.log2(PATHS / (size[0] * size[1])))))
    passes = -(-spp // per_pass)
    total = None
    for k in range(passes):
        image = np.array(mi.render(scene, spp=per_pass, seed=mi.UInt32((seed * 131 + k) % 2**31)), dtype=np.float32)
        bad = ~np.isfinite(image)  # a path that grazes a facet; one such must not spoil the exposure
        if bad.any():
            image[bad] = 0.0 if total is None else total[bad] / k
        total = image if total is None else total + image
    assert total is not None
    return total * np.float32(1 / passes)


def laser_glow(scene: Any, z: float, sigma: float, seed: int, passes: int = 6) -> Image:
    """How much of each pixel a level sheet of light at height z, sigma mm thick, meets; (h, w)."""
    where = mi.load_dict({"type": "aov", "aovs": "p:position"})
    glow: Any = 0.0
    for k in range(passes):
        seen = mi.render(scene, integrator=where, spp=1, seed=mi.UInt32((seed * 977 + k) % 2**31))
        p = np.array(seen, dtype=np.float32)[..., -3:]
        hit = (np.abs(p).sum(-1) > 0).astype(np.float32)
        glow = glow + hit * np.exp(np.float32(-0.5) * ((p[..., 2] - np.float32(z)) / np.float32(sigma)) ** 2)
    return np.asarray(glow, np.float32) / np.float32(passes)


def first_hit(scene: Any, start: F64, toward: F64) -> F64:
    """Distance to the first surface from points (n, 3) along unit directions (n, 3); inf where none."""
    if (mi.variant() or "").startswith("scalar"):
        out = []
        for o, d in zip(start, toward, strict=True):
            si = scene.ray_intersect_preliminary(mi.Ray3f(o.tolist(), d.tolist()), False)
            out.append(float(si.t) if si.is_valid() else np.inf)
        return np.array(out)
    o, d = (mi.Point3f(*np.ascontiguousarray(v.T.astype(np.float32))) for v in (start, toward))
    si = scene.ray_intersect_preliminary(mi.Ray3f(o, mi.Vector3f(d)), False)
    t, ok = np.array(si.t, dtype=float), np.array(si.is_valid(), dtype=bool)
    return np.asarray(np.where(ok, t, np.inf))
