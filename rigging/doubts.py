"""Which flags of a reading are already paid for in its uncertainty, and so do not set a photo aside."""

from __future__ import annotations

BENIGN: frozenset[str] = frozenset(
    {"helped", "lean-not-stated", "lens-turn", "no-lens-profile", "photo-note"}
)
"""Flag codes whose doubt the budget carries in full; every other flag is a doubt about the value itself."""
