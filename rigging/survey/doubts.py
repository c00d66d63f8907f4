"""Which flags of a reading are already paid for in its uncertainty, and so do not set a photo aside."""

from __future__ import annotations

BENIGN: frozenset[str] = frozenset({"helped", "lean-not-stated", "lens-turn", "no-lens-profile", "photo-note"})
"""Flag codes whose doubt the budget carries in full; every other flag is a doubt about the value itself."""

TOLD: frozenset[str] = frozenset(
    {
        "card-residuals-grow",
        "card-residuals-grown",
        "card-residuals-large",
        "lens-profile-old",
        "level-profile-old",
        "print-profile-old",
    }
)
"""Flags of a whole batch that ask for a fresh calibration but set no photo aside: no photo is better than another,
and residuals widen U by themselves."""

BATCH: frozenset[str] = TOLD | {"cards-not-square", "lens-focal-moved"}
"""All flags of a whole batch (`calibration.drift`); those beside `TOLD` make every value doubtful."""
