"""Sample photos with job files: the demo's wing, and data with known truth for tests."""

from pathlib import Path

FOLDER = Path(__file__).resolve().parent
"""Where the samples are."""

TRAINER = FOLDER / "trainer"
"""The invented two-seat trainer: `trainer.toml`, `photos/`, `boards/`, `lens/`, `gauge.csv`, `truth.json`."""

LEAN = FOLDER / "lean"
"""Two ribs of the same wing that lean: `lean.toml`, `photos/`, `truth.json`."""

SETUP = FOLDER / "setup"
"""The set-up of a wing: a root's level line, a tip rib on its fitting, a spar's web: `setup.toml`, `photos/`, `lens/`,
`truth.json`."""
