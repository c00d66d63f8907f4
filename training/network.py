"""The witness: a small network that says of a strip what line it shows, and where along it.

Two-dimensional layers turn the strip's rows into features, one-dimensional ones with growing reach look along it; a head
for each of PLACES stretches says absent, seen or hidden, another for the whole strip says what it is.
"""

from __future__ import annotations

import torch
from torch import Tensor, nn

from vision.evidence.kinds import KINDS, STATES
from vision.evidence.strips import CHANNELS

WIDTH = 48
"""Features a stretch."""


class Along(nn.Module):
    """A residual layer along the strip. reach : distance between the stretches it looks at."""

    def __init__(self, width: int, reach: int) -> None:
        super().__init__()
        self.conv = nn.Conv2d(width, width, (1, 5), padding=(0, 2 * reach), dilation=(1, reach), bias=False)
        self.norm = nn.BatchNorm2d(width)

    def forward(self, x: Tensor) -> Tensor:
        """(n, width, 1, places) to the same."""
        return torch.relu(x + self.norm(self.conv(x)))


class Witness(nn.Module):
    """(n, CHANNELS, ROWS, COLUMNS) to logits of KINDS (n, 12) and of STATES at each place (n, 3, places)."""

    def __init__(self, width: int = WIDTH) -> None:
        super().__init__()

        def layer(
            a: int, b: int, kernel: tuple[int, int], stride: tuple[int, int], pad: tuple[int, int]
        ) -> nn.Sequential:
            return nn.Sequential(nn.Conv2d(a, b, kernel, stride, pad, bias=False), nn.BatchNorm2d(b), nn.ReLU())

        self.across = nn.Sequential(
            layer(CHANNELS, 16, (3, 3), (2, 2), (1, 1)),
            layer(16, 24, (3, 3), (2, 2), (1, 1)),
            layer(24, 32, (3, 3), (2, 1), (1, 1)),
            layer(32, width, (3, 1), (1, 1), (0, 0)),
        )
        self.along = nn.Sequential(*[Along(width, reach) for reach in (1, 2, 4, 8)])
        self.states = nn.Conv2d(width, len(STATES), 1)
        self.kind = nn.Sequential(nn.Linear(3 * width, 64), nn.ReLU(), nn.Dropout(0.1), nn.Linear(64, len(KINDS)))

    def forward(self, x: Tensor) -> tuple[Tensor, Tensor]:
        """Logits of kinds and of states."""
        features = self.along(self.across(x))
        states = self.states(features)
        weight = torch.softmax(states, dim=1)[:, 1:2]
        total = weight.sum(dim=(2, 3)) + 0.5
        shown = (features * weight).sum(dim=(2, 3)) / total
        pooled = torch.cat([features.mean(dim=(2, 3)), features.amax(dim=(2, 3)), shown], dim=1)
        return self.kind(pooled), states[:, :, 0]
