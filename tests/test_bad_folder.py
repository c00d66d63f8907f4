"""A folder as it comes from the shop: twelve good photos among files of every bad kind."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from PIL import Image, ImageOps

from rigging.batch.find import find_photos
from rigging.batch.readings_file import load_readings
from rigging.batch.run import BatchResult, Options, measure_batch
from samples import TRAINER
from shared.job.file import load_job
from shared.reading import Reading
from vision.image.pixels import upright

GOOD = ("L1", "L2", "L3", "L4", "L5", "L6", "R1", "R2", "R3", "R4", "R5", "R6")
MODEL = "R2"  # the photo that the odd kinds are made of


def fill(folder: Path) -> None:
    folder.mkdir()
    for name in GOOD:
        (folder / f"{name}.jpg").write_bytes((TRAINER / "photos" / f"{name}.jpg").read_bytes())
    whole = (TRAINER / "photos" / f"{MODEL}.jpg").read_bytes()
    (folder / "truncated.jpg").write_bytes(whole[: len(whole) * 2 // 3])
    (folder / "empty.jpg").touch()
    (folder / "text.jpg").write_text("The rib is at two degrees, trust me.\n" * 30)
    (folder / "empty.heic").touch()
    with Image.open(TRAINER / "photos" / f"{MODEL}.jpg") as photo:
        exif = photo.getexif()
        assert exif.get(274, 1) == 1
        photo.convert("L").save(folder / "grey.jpg", quality=92, exif=exif)
        photo.convert("CMYK").save(folder / "cmyk.jpg", quality=92, exif=exif)
        deep = np.asarray(ImageOps.grayscale(photo)).astype(np.uint16) * 257
        Image.fromarray(deep).save(folder / "deep.png", compress_level=1, exif=exif)
        exif[274] = 3  # stored upside down, the tag says so
        Image.fromarray(upright(np.asarray(photo), 3)).save(folder / "turned.jpg", quality=92, exif=exif)


@pytest.fixture(scope="module")
def batch(tmp_path_factory: pytest.TempPathFactory) -> tuple[BatchResult, dict[str, Reading]]:
    room = tmp_path_factory.mktemp("shop")
    fill(room / "photos")
    result = measure_batch(load_job(TRAINER / "trainer.toml"), find_photos([room / "photos"]), room / "out", Options())
    return result, {reading.photo.name: reading for reading in load_readings(result.json)}


def test_good_photos_are_read_beside_bad_ones(batch: tuple[BatchResult, dict[str, Reading]]) -> None:
    result, readings = batch
    assert len(readings) == len(GOOD) + 8
    for name in GOOD:
        reading = readings[f"{name}.jpg"]
        assert reading.station == name
        assert reading.chord.quantity is not None, reading.chord.reason
    assert result.exit_code == 1


@pytest.mark.parametrize(
    ("name", "words"),
    [
        ("truncated.jpg", "cut short or damaged"),
        ("empty.jpg", "empty"),
        ("text.jpg", "a text file"),
        ("empty.heic", "empty"),
    ],
)
def test_a_clear_line_for_each_bad_one(batch: tuple[BatchResult, dict[str, Reading]], name: str, words: str) -> None:
    reading = batch[1][name]
    assert reading.chord.quantity is None
    assert words in (reading.chord.reason or "")


@pytest.mark.parametrize("name", ["grey.jpg", "cmyk.jpg", "deep.png", "turned.jpg"])
def test_odd_kinds_of_a_good_photo_read_like_it_or_say_why_not(
    batch: tuple[BatchResult, dict[str, Reading]], name: str
) -> None:
    reading, model = batch[1][name], batch[1][f"{MODEL}.jpg"]
    if reading.chord.quantity is None:
        assert reading.chord.reason
        return
    assert reading.station == MODEL
    assert model.chord.quantity is not None
    difference = reading.chord.quantity - model.chord.quantity
    assert abs(difference.value) <= 0.5 * reading.chord.quantity.U
