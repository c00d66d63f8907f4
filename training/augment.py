"""What may differ between shops, phones and hands without a strip's meaning changing."""

from __future__ import annotations

import torch
from torch import Tensor

from vision.evidence.kinds import PLACES
from vision.evidence.strips import CLIP, COLUMNS, ROWS

STEP = COLUMNS // PLACES


def augmented(x: Tensor, seen: Tensor, level: bool, g: torch.Generator) -> tuple[Tensor, Tensor]:
    """Strips (n, channels, rows, columns) and states (n, PLACES) changed by chance; the originals are kept."""
    n, device = len(x), x.device

    def uniform(low: float, high: float, *shape: int) -> Tensor:
        return low + (high - low) * torch.rand(shape or (n,), generator=g, device=device)

    x, seen = x.clone(), seen.clone()
    if not level:  # an upright line seen from the rib's other side
        turn = uniform(0, 1) < 0.5
        x[turn] = x[turn].flip(2)
    # the middle is not known exactly
    shift = torch.randint(-2, 3, (n,), generator=g, device=device)
    columns = (torch.arange(COLUMNS, device=device) + STEP * shift[:, None]) % COLUMNS
    x = torch.gather(x, 3, columns[:, None, None].expand_as(x))
    places = (torch.arange(PLACES, device=device) + shift[:, None]) % PLACES
    seen = torch.gather(seen, 1, places)
    rows = (torch.arange(ROWS, device=device) + torch.randint(-1, 2, (n, 1), generator=g, device=device)).clamp(
        0, ROWS - 1
    )
    fine = torch.gather(x[:, :5], 2, rows[:, None, :, None].expand(n, 5, ROWS, COLUMNS))
    x[:, :5] = fine
    # light, ink and noise
    x[:, 0] *= torch.exp(uniform(-0.5, 0.5))[:, None, None]
    x[:, 1] *= torch.exp(uniform(-0.7, 0.5))[:, None, None]
    x[:, 2:4] *= torch.exp(uniform(-0.6, 0.6, n, 2))[:, :, None, None]
    x[:, 5:8] *= torch.exp(uniform(-0.4, 0.4, n, 3))[:, :, None, None]
    x[:, 6:8] += uniform(-0.15, 0.15, n, 2)[:, :, None, None]
    amount = uniform(0, 0.4) * (uniform(0, 1) < 0.5)
    noise = torch.randn(x[:, :4].shape, generator=g, device=device)
    x[:, 0] += noise[:, 0] * amount[:, None, None]
    x[:, 1:4] += noise[:, 1:] * (0.2 * amount)[:, None, None, None]
    # a grey picture; surroundings unlike any seen
    grey = uniform(0, 1) < 0.12
    x[grey, 2:4], x[grey, 6:8] = 0.0, 0.0
    strange = uniform(0, 1) < 0.08
    x[strange, 5:8] = 0.0
    # something before the line
    for _ in range(2):
        start, length = uniform(0, 1) * PLACES, 1 + uniform(0, 1) * 8
        there = torch.arange(PLACES, device=device)
        hit = (there >= start[:, None]) & (there < (start + length)[:, None]) & (uniform(0, 1) < 0.25)[:, None]
        wide = hit.repeat_interleave(STEP, dim=1)[:, None, None]
        patch = uniform(-1.0, 1.0, n, 2)[:, :, None, None] * 0.3
        x[:, :2] = torch.where(wide, patch, x[:, :2])
        x[:, 2:4] = torch.where(wide, torch.zeros(1, device=device), x[:, 2:4])
        seen = torch.where(hit & (seen == 1), torch.full_like(seen, 2), seen)
    return x.clamp(-CLIP, CLIP), seen
