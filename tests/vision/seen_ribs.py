"""Several ribs before one camera, as points: each a `Rib` moved back in space, seen through one lens."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from seen_rib import LENS, Rib

from shared.numerics.arrays import F64
from vision.solution.scene import State
from vision.solution.solve import solve, starts, with_lines
from vision.solution.together import Together


@dataclass(frozen=True)
class Placed(Rib):
    """A rib whose chord's middle stands at `at` (X, Y, Z), mm; the camera looks at the foremost one's."""

    at: tuple[float, float, float] = (0.0, 0.0, 0.0)

    def pixels(self, world: F64, theta: F64 = LENS.theta) -> F64:
        """As `Rib.pixels`, of points moved to where the rib stands."""
        return super().pixels(world + np.array(self.at), theta)


FRONT = Placed(cards=(("panel", 1, -60.0, 70.0, 0.4),))
BEHIND = Placed(0.9, 89.8, -0.8, (("panel", 2, 40.0, 75.0, -2.0),), (), at=(60.0, 340.0, 130.0))
FARTHEST = Placed(-0.6, 90.3, 0.3, (("panel", 3, -30.0, 70.0, 1.0),), (), at=(-80.0, 660.0, 210.0))


def together(ribs: tuple[Placed, ...], seed: int | None = None, open: bool = False, u_lean: float = 0.3) -> Together:
    """All that is seen of the ribs, exactly (seed None) or with every error drawn; lens and print err alike for all."""
    scenes = []
    for k, rib in enumerate(ribs):
        own, alike = (None, None) if seed is None else (np.random.default_rng([seed, k]), np.random.default_rng(seed))
        scene = rib.scene(own, u_lean=u_lean, alike=alike)
        assert scene.lean is not None
        scenes.append(replace(scene, photo=f"photo R{k + 1}", lean=replace(scene.lean, source=f"lean of R{k + 1}")))
    return Together(tuple(scenes), "photo", open)


def start_of(seen: Together) -> tuple[State, ...]:
    """Each rib by its own cards, as the reader begins."""
    out = []
    for scene in seen.scenes:
        alone = replace(scene, lines=(), lean=None)
        best = min((solve(alone, s) for s in starts(alone)), key=lambda s: s.cost)
        out.append(with_lines(scene, best.state))
    return tuple(out)
