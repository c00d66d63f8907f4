"""What is fuzzed: a function of bytes for each loader. It returns, whatever the bytes, or there is a fault.

The only exceptions a loader may raise are its own: `UserError`, one line, or `PhotoError`.
"""

from __future__ import annotations

import tempfile
from collections.abc import Callable
from pathlib import Path

from calibration.gauge.file import load_gauge
from calibration.gauge.log import load_log
from calibration.lens.exchange import read_foreign
from calibration.lens.profiles import load_lens
from calibration.level.reversal import load_level
from calibration.print.profile import load_print
from rigging.batch.readings_file import load_readings
from rigging.record.chain import load_record
from shared.errors import UserError
from shared.gauge.csv_file import load_gauge_readings
from shared.job.file import load_job
from vision.image.photo import decode_photo
from vision.image.photo_file import PhotoError

Target = Callable[[bytes], None]


def image(data: bytes) -> None:
    """Any picture file; small ones only, so that a run gets through many."""
    try:
        picture = decode_photo(data, "fuzz")
    except PhotoError as error:
        _one_line(str(error))
    else:
        assert picture.gray.shape == (picture.height, picture.width)
        small = picture.small_colour()
        assert small.shape == (-(-picture.height // 4), -(-picture.width // 4), 3)


def _from_file(load: Callable[[Path], object], suffix: str) -> Target:
    folder = Path(tempfile.gettempdir())

    def target(data: bytes) -> None:
        with tempfile.NamedTemporaryFile(dir=folder, suffix=suffix, delete=False) as stream:
            stream.write(data)
        path = Path(stream.name)
        try:
            load(path)
        except UserError as error:
            _one_line(str(error))
        finally:
            path.unlink()

    return target


def _one_line(text: str) -> None:
    assert text
    assert "\n" not in text


STATIONS = ("R1", "R2", "L1", "L2")

TARGETS: dict[str, Target] = {
    "image": image,
    "job": _from_file(load_job, ".toml"),
    "gauge_csv": _from_file(lambda path: load_gauge_readings(path, STATIONS), ".csv"),
    "gauge_log": _from_file(load_log, ".csv"),
    "lens": _from_file(load_lens, ".json"),
    "level": _from_file(load_level, ".json"),
    "gauge": _from_file(load_gauge, ".json"),
    "print": _from_file(load_print, ".json"),
    "record": _from_file(load_record, ".json"),
    "camera_yaml": _from_file(read_foreign, ".yaml"),
    "readings": _from_file(load_readings, ".json"),
}
"""Name of a target, and of its folder of seeds under tests/data/fuzz, -> the function."""
