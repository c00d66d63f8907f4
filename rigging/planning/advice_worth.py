"""What each piece of advice for the photographer is worth in degrees, from the tool's own solver.

An example wing stands for all: a rib of 1000 mm, one strip card, a phone of 27 mm with a lens profile, the
chord over two thirds of the picture, a plumb line, the rib's lean known to 0.5 deg (a spirit level held
against it). Each piece of advice is followed and not followed; everything else stays. Kept beside this
module as `advice_worth.json`, so that printing needs no simulation; `python -m rigging.planning.advice_worth`
writes it.
"""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import cache
from pathlib import Path

import numpy as np

from rigging.planning.lens import planned_lens
from rigging.planning.plan import PhotoSetup, expect
from rigging.planning.scene import PlacedCard, SeeingNoise, SetUp, Viewpoint, imagine
from shared.cards import CardKind
from shared.job.model import Job, Level, Station, Wing
from shared.numerics.arrays import F64
from vision.solution.propagate import values
from vision.solution.solve import Scene, solve

KEPT = Path(__file__).with_suffix(".json")
PLACES = 24
"""From how many places the errors of a bad habit are looked at."""


@dataclass(frozen=True)
class Worth:
    """One piece of advice.

    followed, ignored : degrees; U (k = 2), or with kind "error" the error that 95 % of photos stay within and
    that no U covers.
    """

    followed: float
    ignored: float
    kind: str = "U"


def example() -> tuple[Job, Station]:
    """The wing that the figures are for."""
    station = Station("example", "right", 1000.0, 1000.0, (1,), 1.0, 0.25, spar_at=0.3, card=CardKind.STRIP)
    return Job(Wing("example", "example", 0.0, 0.5), (station,), level=Level(u_deg=0.02)), station


_USUAL = PhotoSetup(string_at=0.1)
_SQUARE = replace(_USUAL, aside=0.0)
_PAIRS: dict[str, tuple[PhotoSetup, PhotoSetup]] = {
    "square": (_SQUARE, replace(_USUAL, string_at=0.3)),
    "two-cards": (replace(_SQUARE, cards=2), _SQUARE),
    "fill": (replace(_SQUARE, fill=0.75), replace(_SQUARE, fill=0.3)),
    "photos": (replace(_SQUARE, photos=3), _SQUARE),
    "lean": (replace(_USUAL, u_lean_deg=0.2), replace(_USUAL, u_lean_deg=2.0)),
    "two-strings": (replace(_USUAL, strings=2), _USUAL),
    "level-line": (replace(_USUAL, level_line=True), _USUAL),
}
"""Advice that is a choice of set-up: followed, ignored."""


def compute_one(name: str) -> Worth:
    """One figure, from the solver."""
    if name in _PAIRS:
        followed, ignored = _PAIRS[name]
        return Worth(_u(followed), _u(ignored))
    if name == "profile":
        return Worth(_u(_USUAL), _u(_USUAL, camera="27mm@4000x3000 uncalibrated"))
    if name == "sharp":
        return Worth(_u(_SQUARE), _u(_SQUARE, noise=SeeingNoise(0.3, 0.15, 1.5)))
    return Worth(0.0, _error(SPOILERS[name]), "error")


def compute() -> dict[str, Worth]:
    """All figures."""
    return {name: compute_one(name) for name in (*_PAIRS, "profile", "sharp", *SPOILERS)}


@cache
def kept() -> dict[str, Worth]:
    """The figures as kept beside this module."""
    return {k: Worth(**v) for k, v in json.loads(KEPT.read_text("utf-8")).items()}


def _u(choice: PhotoSetup, camera: str = "27mm@4000x3000", noise: SeeingNoise | None = None) -> float:
    job, station = example()
    return expect(job, station, planned_lens(camera), choice, noise or SeeingNoise()).chord


def _zoomed(scene: Scene) -> Scene:
    """The profile of the unzoomed lens, used for a photo zoomed by 1.25."""
    theta = scene.lens.theta.copy()
    theta[:2] /= 1.25
    return replace(scene, lens=replace(scene.lens, theta=theta))


def _crossed(scene: Scene) -> Scene:
    """A string over the card: a column of corners and edges pulled 1.5 px towards it, all believed."""

    def pulled(board: F64, pixels: F64) -> F64:
        pull = np.where(np.abs(board[:, :1] - 60.0) < 1.0, 1.5, 0.0) * [1.0, 0.0]
        return np.asarray(pixels + pull, dtype=np.float64)

    return _changed(scene, lambda board, pixels: (board, pulled(board, pixels)))


def _stretched(scene: Scene) -> Scene:
    """A printer that stretches the paper's length by 1 %, twice what U allows for where nobody measured."""
    return _changed(scene, lambda board, pixels: (board * [1 / 1.01, 1.0], pixels))


def _one_end_lifted(scene: Scene) -> Scene:
    """A card that stands off the rib by 2 mm along one of its short sides: its plane is not the rib's."""
    card, lens = scene.cards[0], scene.lens
    depth, middle = lens.theta[0] / card.px_per_mm, lens.theta[2:4]

    def nearer(board: F64, pixels: F64) -> F64:
        off = 2.0 * board[:, :1] / card.spec.size_mm[0]
        return np.asarray(middle + (pixels - middle) * depth / (depth - off), dtype=np.float64)

    return _changed(scene, lambda board, pixels: (board, nearer(board, pixels)))


def _changed(scene: Scene, change: Callable[[F64, F64], tuple[F64, F64]]) -> Scene:
    """The scene with the first card's points, corners and edges, changed: board mm, pixels -> the same."""
    card = scene.cards[0]
    board, pixels = change(card.board, card.pixels)
    edge_board, edge_pixels = change(card.edges.board, card.edges.pixels)
    edges = replace(card.edges, board=edge_board, pixels=edge_pixels)
    return replace(scene, cards=(replace(card, board=board, pixels=pixels, edges=edges), *scene.cards[1:]))


SPOILERS: dict[str, Callable[[Scene], Scene]] = {
    "zoom": _zoomed,
    "crossed": _crossed,
    "stretched": _stretched,
    "lifted": _one_end_lifted,
}


def _error(spoil: Callable[[Scene], Scene]) -> float:
    """Error of the chord angle that 95 % of photos stay within, when something is wrong that the job does not state."""
    _, station = example()
    rng, lens, off = np.random.default_rng(5), planned_lens("27mm@4000x3000"), []
    distance = float(lens.theta[0]) * station.chord_mm / (0.66 * lens.size[0])
    for _ in range(PLACES):
        view = Viewpoint(
            distance,
            rng.uniform(-8, 8),
            rng.uniform(-5, 5),
            rng.uniform(-3, 3),
            (rng.uniform(-60, 60), rng.uniform(-50, 80)),
        )
        string = float(rng.choice([-1, 1]) * 200.0)
        setup = SetUp(lens, station.chord_mm, (PlacedCard(CardKind.STRIP, 0.47, 3.0),), view, (string,), u_lean_deg=0.5)
        scene, state = imagine(setup)
        true = values(scene.lines, state)[0]
        off.append(abs(values(scene.lines, solve(spoil(scene), state).state)[0] - true))
    return float(np.quantile(off, 0.95))


def main() -> None:
    """Compute the figures again and keep them."""
    from shared.files import write_whole

    rows = {
        k: {"followed": round(w.followed, 4), "ignored": round(w.ignored, 4), "kind": w.kind}
        for k, w in compute().items()
    }
    write_whole(KEPT, json.dumps(rows, indent=1) + "\n")


if __name__ == "__main__":
    main()
