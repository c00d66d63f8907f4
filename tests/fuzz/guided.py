"""Coverage-guided fuzzing of one loader: python -m tests.fuzz.guided TARGET [libFuzzer options].

Needs the package atheris (Linux). Starts from the seeds in tests/data/fuzz/TARGET; what it finds on the way
goes to a scratch folder, a crash to ./crash-*. As in: python -m tests.fuzz.guided job -max_total_time=60
"""

from __future__ import annotations

import sys
import tempfile
from pathlib import Path

import atheris

with atheris.instrument_imports(include=["shared", "calibration", "vision", "rigging", "tomllib", "PIL"]):
    from tests.fuzz.targets import TARGETS

SEEDS = Path(__file__).parent.parent / "data" / "fuzz"


def main() -> None:
    """Run until told to stop, or until a loader raises what it must not."""
    if len(sys.argv) < 2 or sys.argv[1] not in TARGETS:
        sys.exit(f"usage: python -m tests.fuzz.guided {{{','.join(TARGETS)}}} [libFuzzer options]")
    name = sys.argv.pop(1)
    scratch = Path(tempfile.mkdtemp(prefix=f"ribangle-fuzz-{name}-"))
    seeds = [str(SEEDS / name)] if (SEEDS / name).is_dir() else []
    atheris.Setup([sys.argv[0], *sys.argv[1:], str(scratch), *seeds], TARGETS[name])
    atheris.Fuzz()


if __name__ == "__main__":
    main()
