"""Puts two practice photos of a gauge's display into the current folder: `python -m samples.practice`."""

from __future__ import annotations

from pathlib import Path

from samples import FOLDER
from shared.files import write_whole


def main() -> None:
    """Copy them; a file of the same name is kept."""
    for source in sorted((FOLDER / "gauge").glob("*.jpg")):
        target = Path(f"gauge-{source.name}")
        if target.exists():
            print(f"{target} is there already: kept")
        else:
            write_whole(target, source.read_bytes())
            print(f"wrote {target}")


if __name__ == "__main__":
    main()
