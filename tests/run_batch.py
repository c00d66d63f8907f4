"""A batch in a process of its own, to be killed: PHOTOS OUT WORKERS; a line on stdout for each photo done."""

from __future__ import annotations

import signal
import sys
from dataclasses import replace
from pathlib import Path

from rigging.batch import store as batch_store
from rigging.batch.find import find_photos
from rigging.batch.run import measure_batch
from tests.batch_help import FAKE, job


def main() -> None:
    batch_store.code_digest = lambda: "code"  # type: ignore[assignment] # an edit meanwhile is another matter
    signal.signal(signal.SIGINT, signal.default_int_handler)  # a shell starts what it runs behind with Ctrl-C ignored
    photos, out, workers = Path(sys.argv[1]), Path(sys.argv[2]), int(sys.argv[3])
    try:
        measure_batch(
            job(photos),
            find_photos([photos]),
            out,
            replace(FAKE, workers=workers),
            lambda done, total: print(done, total, flush=True),
        )
    except KeyboardInterrupt:
        sys.exit(130)


if __name__ == "__main__":
    main()
