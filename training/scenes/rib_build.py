"""How a rib is made and used: bays, holes, capstrips, seams, writing, tape, glue, scratches; then into the world."""

from __future__ import annotations

from functools import lru_cache

import cv2
import numpy as np

from shared.numerics.arrays import U8
from training.scenes import outline as shape
from training.scenes.effects import Draw
from training.scenes.rib import CARDS, SPAR_AT, Card, Rib, Spec, Stroke, blank
from training.scenes.rib_lines import draw_lines, tape
from training.scenes.textures import text
from training.scenes.world import Line, Plate, World

WORDS = (
    "CHECK",
    "glue 12:40",
    "OK?",
    "left",
    "A-frame",
    "trim 2",
    "NOT THIS",
    "jig 3",
    "see dwg",
    "12,5",
    "fwd",
    "TOP",
)


def build(spec: Spec, draw: Draw, ppm: float, world: World, glossy: bool = False) -> Rib:
    """Draw a rib and stand it in the world with its cards; its lines are added to the world's."""
    rib = blank(spec, draw, ppm)
    cut(rib)
    grown(rib)
    if spec.index == 0 and rib.has("tape_along_chord"):
        rng = rib.rng("tape along")
        length = float(rng.uniform(0.2, 0.45)) * spec.chord
        x = float(rng.uniform(-0.5, 0.5)) * (spec.chord * 0.9 - length)
        tape(rib, np.array([x, float(rng.uniform(-6, 6))]), float(rng.normal(0, 0.7)), length, 19.0, rng)
    draw_lines(rib)
    written(rib)
    worn(rib)
    world.plates.append(plate(rib, glossy))
    high = capstrips(rib, world)
    for k, card in enumerate(spec.cards):
        place_card(rib, card, k, high, world)
    world.lines += rib.lines()
    return rib


def cut(rib: Rib) -> None:
    """Openings: bays of a built-up rib, or lightening holes; straight rear pieces of the outline are noted."""
    spec, o = rib.spec, rib.outline
    taken = [(c.frac - c.size[0] / 2 / spec.chord, c.frac + c.size[0] / 2 / spec.chord) for c in spec.cards]
    taken.append((SPAR_AT - 0.02, SPAR_AT + 0.02))
    if rib.draw.option("build", spec.index) == "truss":
        rng = rib.rng("truss")
        rib.holes, posts = shape.bays(o, rng, float(rng.uniform(6, 10)), float(rng.uniform(6, 11)))
        for k, ring in enumerate(rib.holes):
            for a, b in zip(ring, np.roll(ring, -1, 0), strict=True):
                if np.hypot(*(b - a)) > 40:
                    rib.strokes.append(Stroke("edge", np.array([a, b]), note=f"bay {k}"))
        gusset(rib, posts, rng)
    elif rib.has("oblong_holes"):
        rib.holes = shape.holes(o, taken, True)
    elif rib.has("lightening_holes"):
        rib.holes = shape.holes(o, taken, False)
    for side in ("upper", "lower"):
        rib.strokes.append(Stroke("edge", o.edge(side, 0.97, 0.55), note="outline"))


def gusset(rib: Rib, posts: list[float], rng: np.random.Generator) -> None:
    """Sticks of differing wood and ply gussets where they meet."""
    o, sheet = rib.outline, rib.sheet
    for frac in posts:
        x, shade = float(o.x(frac)), float(rng.uniform(0.35, 0.8))
        half = 14.0 if frac == SPAR_AT else 5.0
        top, low = float(o.up(frac)), float(o.low(frac))
        stick = [[x - half, low], [x + half, low], [x + half, top], [x - half, top]]
        sheet.tint(stick, (0.6 * shade, 0.48 * shade, 0.33 * shade), 0.35)
        if rng.random() < 0.5:
            g = float(rng.uniform(14, 24))
            sheet.tint(
                [[x - g, -g * 0.6], [x + g, -g * 0.6], [x + g, g * 0.6], [x - g, g * 0.6]], (0.55, 0.40, 0.25), 0.6
            )


def grown(rib: Rib) -> None:
    """Seams of the sheet."""
    if not rib.has("ply_seam"):
        return
    rng, o = rib.rng("seam"), rib.outline
    if rng.random() < 0.5:
        x = float(o.x(rng.uniform(0.4, 0.8)))
        a, b = [x, rib.sheet.lo], [x + float(rng.normal(0, 1)), rib.sheet.hi]
    else:
        z = float(rng.uniform(-0.03, 0.06)) * rib.spec.chord
        a, b = [-rib.sheet.half_w, z], [rib.sheet.half_w, z + float(rng.normal(0, 6))]
    rib.sheet.stroke(a, b, float(rng.uniform(0.4, 1.0)), 0.6, rng, 0.05, (0.2, 0.14, 0.08), even=True)
    rib.mark("seam", a, b)


def written(rib: Rib) -> None:
    """Rib number, notes by hand, print on tape."""
    spec, ppm, image = rib.spec, rib.sheet.ppm, rib.sheet.image

    def write(words: str, frac: float, z: float, mm: float, font: int, turn: float = 0.0) -> None:
        x, y = rib.sheet.px([float(rib.outline.x(frac)), z])
        text(image, words, (int(x), int(y)), mm * ppm, (0.12, 0.12, 0.18), 0.75, font, turn)

    if rib.has("rib_number"):
        write(spec.station, 0.22, 0.045 * spec.chord, 16.0, cv2.FONT_HERSHEY_SCRIPT_SIMPLEX)
    if rib.has("notes"):
        rng = rib.rng("notes")
        for _ in range(int(rng.integers(1, 4))):
            z = float(rng.uniform(-0.03, 0.06)) * spec.chord
            write(
                str(rng.choice(WORDS)),
                float(rng.uniform(0.15, 0.8)),
                z,
                float(rng.uniform(6, 13)),
                cv2.FONT_HERSHEY_SCRIPT_COMPLEX,
                float(rng.uniform(-12, 12)),
            )
    if rib.has("tape_text"):
        rng = rib.rng("tape text")
        frac, z = float(rng.uniform(0.2, 0.75)), float(rng.choice([-0.035, 0.045])) * spec.chord
        tape(
            rib,
            np.array([float(rib.outline.x(frac)), z]),
            float(rng.normal(0, 4)),
            float(rng.uniform(70, 140)),
            19.0,
            rng,
        )
        write(
            f"{rng.choice(WORDS)} {rng.integers(100)}",
            frac + spec.forward * 30 / spec.chord,
            z,
            8.0,
            cv2.FONT_HERSHEY_DUPLEX,
        )


def worn(rib: Rib) -> None:
    """Glue, dirt and sanding scratches."""
    spec, sheet = rib.spec, rib.sheet
    if rib.has("glue_smears"):
        rng = rib.rng("smears")
        for _ in range(int(rng.integers(2, 7))):
            c = np.array([rng.uniform(-0.4, 0.4), rng.uniform(-0.04, 0.07)]) * spec.chord
            a = np.linspace(0, 2 * np.pi, 14, endpoint=False)
            r = rng.uniform(6, 22) * rng.uniform(0.6, 1.2, 14)
            rgb = [(0.7, 0.6, 0.35), (0.2, 0.16, 0.12), (0.85, 0.83, 0.78)][int(rng.integers(3))]
            sheet.tint(
                c + np.c_[r * np.cos(a) * rng.uniform(1, 2.5), r * np.sin(a)], rgb, float(rng.uniform(0.15, 0.5)), 2.0
            )
    if rib.has("scratches"):
        rng = rib.rng("scratches")
        layer, t = np.zeros((sheet.h, sheet.w), np.uint8), rng.normal(0, 0.5)
        for _ in range(int(rng.integers(40, 160))):
            p, long, way = (
                rng.uniform(0, 1, 2) * (sheet.w, sheet.h),
                rng.uniform(15, 90) * sheet.ppm,
                t + rng.normal(0, 0.12),
            )
            q = p + long * np.array([np.cos(way), np.sin(way)])
            cv2.line(layer, (int(p[0]), int(p[1])), (int(q[0]), int(q[1])), int(rng.integers(40, 160)), 1, cv2.LINE_AA)
        k = layer[..., None].astype(np.float32) * np.float32(0.4 / 255)
        sheet.image += (np.float32(rng.choice([0.9, 0.15])) * sheet.image.mean() * 1.6 - sheet.image) * k


def plate(rib: Rib, glossy: bool) -> Plate:
    """The rib as a flat mesh that carries its sheet."""
    import mapbox_earcut as earcut  # only the ray tracer needs it

    rings = [rib.outline.polygon(), *rib.holes]
    flat = np.vstack(rings)
    ends = np.cumsum([len(r) for r in rings]).astype(np.uint32)
    faces = np.asarray(earcut.triangulate_float64(flat, ends), np.int64).reshape(-1, 3)
    return Plate(rib.place(flat), rib.sheet.uv(flat), faces, rib.sheet.image, glossy)


def capstrips(rib: Rib, world: World) -> float:
    """Raised strips of other wood along both edges; their height, 0 without."""
    if not rib.has("capstrips"):
        return 0.0
    rng, o = rib.rng("capstrips"), rib.outline
    wide, high = float(rng.uniform(6, 10)), float(rng.uniform(0.8, 3.0))
    rgb = np.array([0.72, 0.56, 0.36]) * rng.uniform(0.6, 1.15)
    for side in ("upper", "lower"):
        outer, inner = o.edge(side, 0.02, 0.97, 0.0), o.edge(side, 0.02, 0.97, wide)
        top = np.stack([rib.place(outer, high), rib.place(inner, high)], 1).reshape(-1, 3)
        wall = np.stack([rib.place(inner, high), rib.place(inner, 0.0)], 1).reshape(-1, 3)
        k = np.arange(0, len(top) - 2, 2)[:, None]
        faces = np.concatenate([k + [0, 1, 2], k + [1, 3, 2]])
        world.matt.add(top, np.tile(rib.axes[2], (len(top), 1)), faces, rgb)
        inward = -rib.axes[1] if side == "upper" else rib.axes[1]
        world.matt.add(wall, np.tile(inward, (len(wall), 1)), faces, rgb * 0.9)
        edge = rib.place(o.edge(side, 0.95, 0.55, wide), high)
        world.lines.append(Line("edge", rib.spec.index, edge, 0.8, note="capstrip"))
    rib.capped = True
    return high


@lru_cache(maxsize=4)
def card_image(kind: str, number: int, scale: int = 14) -> U8:
    """A station card's print, linear light in 8 bits; at 14 px/mm every square and module is a whole number of pixels."""
    c, r, sq, mk = CARDS[kind]
    ids = np.arange(32 * number, 32 * number + c * r // 2)
    board = cv2.aruco.CharucoBoard((c, r), sq, mk, cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_5X5_1000), ids)
    w, h, m, foot = int(c * sq * scale), int(r * sq * scale), 6 * scale, 14 * scale
    img = np.full((h + m + foot, w + 2 * m), 255, np.uint8)
    img[m : m + h, m : m + w] = board.generateImage((w, h), marginSize=0, borderBits=1)
    y = m + h + foot // 2
    cv2.arrowedLine(img, (m, y), (m + w // 3, y), 0, scale, tipLength=0.15)
    at = m + w // 3 + scale * 3, y + 3 * scale
    cv2.putText(img, f"LE  {number}", at, cv2.FONT_HERSHEY_SIMPLEX, scale / 3.2, 0, scale // 2)
    return np.asarray(cv2.convertScaleAbs(img, alpha=0.87, beta=0.03 * 255), np.uint8)


def place_card(rib: Rib, card: Card, k: int, high: float, world: World) -> None:
    """A station card on the rib, above the chord line: flat, or bowed by half a degree at most; a corner may be torn."""
    w, h = card.size
    draw, salt = rib.draw, 10 * rib.spec.index + k
    rng = draw.rng("card shape", salt)
    axes = rib.axes
    t = np.radians(card.turn + (0 if rib.spec.forward > 0 else 180))
    cx, cy = np.cos(t) * axes[0] + np.sin(t) * axes[1], -np.sin(t) * axes[0] + np.cos(t) * axes[1]
    centre = rib.place([[float(rib.outline.x(card.frac)), h / 2 + 9]])[0]
    reach = rib.outline.up(
        np.clip([card.frac - w / 2 / rib.spec.chord, card.frac + w / 2 / rib.spec.chord], 0, 1)
    ).min()
    lift = 1.0 + (high if h + 20 > reach else 0.0)
    bow = np.tan(np.radians(rng.uniform(-0.5, 0.5))) / w if draw.has("card_bow", salt) else 0.0
    tear = float(rng.uniform(4, 9)) if draw.has("dog_ear", salt) else 0.0
    x = np.unique(np.concatenate([np.linspace(-w / 2, w / 2, 17), [w / 2 - tear]]))
    top = h / 2 - np.maximum(0, x - (w / 2 - tear))
    p = np.stack([np.c_[x, np.full_like(x, -h / 2)], np.c_[x, top]], 1).reshape(-1, 2)
    lifts = lift + abs(bow) * w * w / 4 + bow * (p[:, 0] ** 2 - w * w / 8)
    world_p = centre + p[:, :1] * cx + p[:, 1:] * cy + lifts[:, None] * axes[2]
    j = np.arange(0, len(p) - 2, 2)[:, None]
    faces = np.concatenate([j + [0, 2, 1], j + [1, 2, 3]])
    world.plates.append(
        Plate(world_p, np.c_[p[:, 0] / w + 0.5, p[:, 1] / h + 0.5], faces, card_image(card.kind, card.number))
    )
    for a, b in ((0, len(p) - 2), (1, len(p) - 1 - 2 * int(tear > 0))):
        world.lines.append(Line("edge", rib.spec.index, world_p[[a, b]], 1.5, note="card", solid=False))
