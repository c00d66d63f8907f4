"""Photo loading: every format gives the same upright picture; what is not whole is refused with a reason."""

from __future__ import annotations

import io
import os
import pickle
import struct
import zlib
from pathlib import Path

import cv2
import numpy as np
import pillow_heif
import pytest
from PIL import Image

from calibration.lens.match import layouts
from vision.image.exif import Exif
from vision.image.photo import MAX_PIXELS, Picture, decode_photo, open_photo
from vision.image.photo_file import PhotoError, shown_name
from vision.image.pixels import upright

WIDTH, HEIGHT = 162, 118  # neither a multiple of 4 nor square


@pytest.fixture(scope="module")
def scene() -> np.ndarray:
    """RGB: smooth, asymmetric in every way, so that a turned or mirrored copy is far off."""
    y, x = np.mgrid[0:HEIGHT, 0:WIDTH].astype(float)
    red = 40 + 180 * x / WIDTH
    green = 30 + 150 * y / HEIGHT + 40 * np.exp(-((x - 50) ** 2 + (y - 30) ** 2) / 400)
    blue = 120 + 60 * np.sin(x / 17) * np.cos(y / 23)
    return np.rint(np.dstack([red, green, blue])).astype(np.uint8)


@pytest.fixture(scope="module")
def luma(scene: np.ndarray) -> np.ndarray:
    """ITU-R BT.601 luma, the weights of JPEG (JFIF) and of PNG viewers."""
    return scene @ np.array([0.299, 0.587, 0.114])


def saved(image: Image.Image, kind: str, **options: object) -> bytes:
    out = io.BytesIO()
    image.save(out, kind, **options)
    return out.getvalue()


@pytest.mark.parametrize(
    ("kind", "options", "atol"),
    [
        ("JPEG", {"quality": 98}, 3),
        ("JPEG", {"quality": 98, "progressive": True}, 3),
        ("JPEG", {"quality": 98, "subsampling": 0}, 3),
        ("PNG", {}, 1),
        ("TIFF", {}, 1),
        ("TIFF", {"compression": "tiff_lzw"}, 1),
        ("WEBP", {"quality": 98}, 6),
        ("WEBP", {"lossless": True}, 1),
        ("AVIF", {"quality": 98}, 4),
    ],
)
def test_every_format_gives_the_same_picture(
    scene: np.ndarray, luma: np.ndarray, kind: str, options: dict[str, object], atol: float
) -> None:
    picture = decode_photo(saved(Image.fromarray(scene), kind, **options), "x")
    np.testing.assert_allclose(picture.gray, luma, rtol=0, atol=atol)
    assert picture.gray.dtype == np.uint8
    assert (picture.width, picture.height) == (WIDTH, HEIGHT)
    small = picture.small_colour()
    assert small.shape == (30, 41, 3)
    np.testing.assert_allclose(
        small[:29, :40, ::-1], scene[:116, :160].reshape(29, 4, 40, 4, 3).mean(axis=(1, 3)), rtol=0, atol=25
    )
    assert picture.small_colour() is small


@pytest.mark.parametrize("kind", ["JPEG", "PNG", "TIFF", "WEBP", "HEIF", "AVIF"])
@pytest.mark.parametrize("orientation", [1, 6])
def test_colour_at_full_size(scene: np.ndarray, kind: str, orientation: int) -> None:
    pillow_heif.register_heif_opener()
    exif = Image.Exif()
    exif[274] = orientation
    picture = decode_photo(saved(Image.fromarray(scene), kind, quality=97, exif=exif), "x")
    full = picture.full_colour()
    assert full is not None
    assert full.shape == (picture.height, picture.width, 3)
    np.testing.assert_allclose(full.astype(float) @ [0.114, 0.587, 0.299], picture.gray, rtol=0, atol=4)
    np.testing.assert_allclose(full[:4, :4].mean((0, 1)), picture.small_colour()[0, 0], rtol=0, atol=4)
    grey = decode_photo(saved(Image.fromarray(scene[..., 0]), "PNG"), "x")
    assert grey.full_colour() is None


def test_heic(scene: np.ndarray, luma: np.ndarray) -> None:
    out = io.BytesIO()
    pillow_heif.from_pillow(Image.fromarray(scene)).save(out, quality=95)
    picture = decode_photo(out.getvalue(), "x.heic")
    np.testing.assert_allclose(picture.gray, luma, rtol=0, atol=6)


@pytest.mark.parametrize(("tag", "turned"), [(1, False), (3, False), (6, True), (8, True)])
def test_a_heic_tells_how_the_camera_was_held(scene: np.ndarray, tag: int, turned: bool) -> None:
    """A phone writes the turn into the file's own box and the tag beside it: the pixels come out upright, and the lens
    needs the tag to know the sensor's way up."""
    pillow_heif.register_heif_opener()
    exif = Image.Exif()
    exif[274] = tag
    shown = np.rot90(scene, {6: 3, 8: 1}[tag]) if turned else scene  # as libheif gives it: turned already
    picture = decode_photo(saved(Image.fromarray(np.ascontiguousarray(shown)), "HEIF", quality=97, exif=exif), "x.heic")
    assert (picture.width, picture.height) == ((HEIGHT, WIDTH) if turned else (WIDTH, HEIGHT))
    assert picture.exif.orientation == tag
    full = picture.full_colour()
    assert full is not None and full.shape[:2] == picture.gray.shape
    ways = layouts((WIDTH, HEIGHT), (picture.width, picture.height), tag)
    assert ways == {1: (1,), 3: (3, 1), 6: (6,), 8: (8,)}[tag]


def test_grey_cmyk_palette_alpha_and_bilevel(scene: np.ndarray, luma: np.ndarray) -> None:
    image = Image.fromarray(scene)
    grey = decode_photo(saved(image.convert("L"), "JPEG", quality=98), "grey")
    np.testing.assert_allclose(grey.gray, luma, rtol=0, atol=3)
    assert np.ptp(grey.small_colour(), axis=2).max() == 0
    cmyk = decode_photo(saved(image.convert("CMYK"), "JPEG", quality=98), "cmyk")
    np.testing.assert_allclose(cmyk.gray, luma, rtol=0, atol=4)
    alpha = image.copy()
    alpha.putalpha(128)
    np.testing.assert_allclose(decode_photo(saved(alpha, "PNG"), "alpha").gray, luma, rtol=0, atol=1)
    palette = image.quantize(256)
    np.testing.assert_allclose(
        decode_photo(saved(palette, "PNG"), "palette").gray, np.asarray(palette.convert("L"), float), rtol=0, atol=1
    )
    bilevel = image.convert("1")
    assert set(np.unique(decode_photo(saved(bilevel, "PNG"), "bilevel").gray)) == {0, 255}


def test_sixteen_bit_png_and_tiff(luma: np.ndarray) -> None:
    deep = np.rint(luma * 257).astype(np.uint16)
    for kind in ("PNG", "TIFF"):
        picture = decode_photo(saved(Image.fromarray(deep), kind), kind)
        np.testing.assert_allclose(picture.gray, luma, rtol=0, atol=1)
        assert picture.notes == ()
    colour = np.dstack([deep, deep, deep])
    done, encoded = cv2.imencode(".png", colour)
    assert done
    np.testing.assert_allclose(decode_photo(encoded.tobytes(), "colour").gray, luma, rtol=0, atol=1)


def test_twelve_bits_in_sixteen_are_stretched_and_told(luma: np.ndarray) -> None:
    picture = decode_photo(saved(Image.fromarray(np.rint(luma / 255 * 4095).astype(np.uint16)), "PNG"), "x")
    np.testing.assert_allclose(picture.gray, luma, rtol=0, atol=1)
    assert "12 bits" in picture.notes[0]


# CIPA DC-008 (Exif), tag Orientation: which side of the seen picture the stored row 0 and column 0 are.
DC008 = {
    1: ("top", "left"),
    2: ("top", "right"),
    3: ("bottom", "right"),
    4: ("bottom", "left"),
    5: ("left", "top"),
    6: ("right", "top"),
    7: ("right", "bottom"),
    8: ("left", "bottom"),
}


@pytest.mark.parametrize("orientation", DC008)
def test_orientation_as_the_exif_standard_words_it(orientation: int) -> None:
    stored = np.arange(6, dtype=np.uint8).reshape(2, 3)
    seen = upright(stored, orientation)
    side = {"top": seen[0], "bottom": seen[-1], "left": seen[:, 0], "right": seen[:, -1]}
    row0, column0 = DC008[orientation]
    assert set(side[row0].tolist()) == set(stored[0].tolist())
    assert set(side[column0].tolist()) == set(stored[:, 0].tolist())


@pytest.mark.parametrize("orientation", DC008)
@pytest.mark.parametrize("kind", ["JPEG", "PNG", "TIFF", "WEBP"])
def test_turned_files_come_out_upright_as_in_opencv(scene: np.ndarray, kind: str, orientation: int) -> None:
    exif = Image.Exif()
    exif[274] = orientation
    fine = {"quality": 98} if kind in ("JPEG", "WEBP") else {}
    data = saved(Image.fromarray(scene), kind, exif=exif, **fine)
    picture = decode_photo(data, "x")
    plain = decode_photo(saved(Image.fromarray(scene), "PNG"), "x").gray
    np.testing.assert_allclose(picture.gray.astype(int), upright(plain, orientation), rtol=0, atol=6)
    assert picture.exif.orientation == orientation
    assert picture.small_colour().shape[:2] == ((30, 41) if orientation < 5 else (41, 30))
    if kind == "JPEG":  # the reference library turns JPEG by itself
        np.testing.assert_array_equal(picture.gray, cv2.imdecode(np.frombuffer(data, np.uint8), cv2.IMREAD_GRAYSCALE))
        small = cv2.imdecode(np.frombuffer(data, np.uint8), cv2.IMREAD_REDUCED_COLOR_4)
        np.testing.assert_array_equal(picture.small_colour(), small)


def test_an_impossible_orientation_is_told(scene: np.ndarray) -> None:
    exif = Image.Exif()
    exif[274] = 9
    picture = decode_photo(saved(Image.fromarray(scene), "JPEG", exif=exif), "x")
    assert picture.exif.orientation == 1
    assert "orientation" in picture.notes[0]


def test_exif_of_the_camera(scene: np.ndarray) -> None:
    exif = Image.Exif()
    exif[271], exif[272] = "Field\0cam ", "F1"
    inner = exif.get_ifd(0x8769)
    inner.update({37386: 4.6, 41989: 27, 41988: 1.0, 36867: "2026:05:16 09:15:00", 42036: "F1 wide"})
    picture = decode_photo(saved(Image.fromarray(scene), "JPEG", exif=exif), "x")
    assert picture.exif == Exif("Field cam", "F1", "F1 wide", pytest.approx(4.6), 27.0, None, "2026-05-16T09:15:00", 1)
    assert picture.exif.camera == "Field cam F1"


def test_damaged_exif_does_not_lose_the_picture(scene: np.ndarray) -> None:
    body = b"Exif\0\0MM\0*\0\0\0\x08\xff\xff" + bytes(range(40))
    whole = saved(Image.fromarray(scene), "JPEG")
    data = whole[:2] + b"\xff\xe1" + struct.pack(">H", len(body) + 2) + body + whole[2:]
    assert decode_photo(data, "x").gray.shape == (HEIGHT, WIDTH)


@pytest.mark.parametrize("kind", ["JPEG", "PNG", "TIFF", "WEBP", "HEIF", "AVIF"])
@pytest.mark.parametrize("part", [0.02, 0.3, 0.6, 0.9, 0.98])
def test_a_truncated_file_of_any_kind_is_refused(scene: np.ndarray, kind: str, part: float) -> None:
    grain = np.random.default_rng(5).integers(0, 40, scene.shape, dtype=np.uint8)
    image = Image.fromarray((scene // 2 + grain).astype(np.uint8))
    pillow_heif.register_heif_opener()
    data = saved(image, kind)
    with pytest.raises(PhotoError):
        decode_photo(data[: int(len(data) * part)], "x")


def test_damage_in_the_middle_of_a_jpeg_is_refused(scene: np.ndarray) -> None:
    data = bytearray(saved(Image.fromarray(scene), "JPEG", quality=98))
    middle = len(data) // 2
    data[middle : middle + 600] = bytes(600)
    with pytest.raises(PhotoError, match="damaged"):
        decode_photo(bytes(data), "x")


def test_padding_after_the_last_block_is_harmless(scene: np.ndarray) -> None:
    data = saved(Image.fromarray(scene), "JPEG")
    picture = decode_photo(data[:-2] + b"\0\0" + data[-2:], "x")
    np.testing.assert_array_equal(picture.gray, decode_photo(data, "x").gray)
    np.testing.assert_array_equal(decode_photo(data + b"tail" * 50, "x").gray, picture.gray)


def test_a_wrong_scan_header_is_mended(scene: np.ndarray) -> None:
    data = bytearray(saved(Image.fromarray(scene), "JPEG"))
    at = data.index(b"\xff\xda")
    end = at + 2 + struct.unpack_from(">H", data, at + 2)[0]
    assert bytes(data[end - 3 : end]) == bytes((0, 63, 0))
    data[end - 2] = 0
    good = decode_photo(saved(Image.fromarray(scene), "JPEG"), "x").gray
    np.testing.assert_array_equal(decode_photo(bytes(data), "x").gray, good)


@pytest.mark.parametrize(
    ("data", "words"),
    [
        (b"", "empty"),
        (b"\0" * 4096, "zeros"),
        (b"Dear builder,\r\nthe rib is fine.\n" * 9, "text file"),
        (b"\x93\xff\x00junk" * 20, "not a photo"),
        (b"\xff\xd8\xff\xe0", "not a photo"),
        (b"\0\0\0\x18ftypheic\0\0\0\0mif1heic", "."),
    ],
)
def test_what_is_no_photo_is_told(data: bytes, words: str) -> None:
    with pytest.raises(PhotoError, match=words) as caught:
        decode_photo(data, "x")
    assert len(caught.value.sha256) == 64


def test_bombs_are_refused_by_their_header() -> None:
    def png(width: int, height: int) -> bytes:
        def chunk(kind: bytes, body: bytes) -> bytes:
            return struct.pack(">I", len(body)) + kind + body + struct.pack(">I", zlib.crc32(kind + body))

        return (
            b"\x89PNG\r\n\x1a\n"
            + chunk(b"IHDR", struct.pack(">IIBBBBB", width, height, 8, 2, 0, 0, 0))
            + chunk(b"IDAT", zlib.compress(b"\0" * 1000))
            + chunk(b"IEND", b"")
        )

    for width, height in ((12_001, 10_000), (60_000, 60_000), (2_000_000_000, 2)):
        assert width * height > MAX_PIXELS
        with pytest.raises(PhotoError, match="120 megapixels"):
            decode_photo(png(width, height), "bomb")
    with pytest.raises(PhotoError, match="too small"):
        decode_photo(png(20, 4000), "sliver")


def test_float_pixels_and_raw_files_are_refused(scene: np.ndarray) -> None:
    with pytest.raises(PhotoError, match="floating"):
        decode_photo(saved(Image.fromarray(scene[..., 0].astype(np.float32)), "TIFF"), "x")
    with pytest.raises(PhotoError, match="raw"):
        decode_photo(saved(Image.fromarray(scene), "TIFF", tiffinfo={50706: b"\1\4\0\0"}), "x")


def test_what_else_may_stand_in_a_folder(tmp_path: Path) -> None:
    (tmp_path / "folder.jpg").mkdir()
    with pytest.raises(PhotoError, match="a folder"):
        open_photo(tmp_path / "folder.jpg")
    with pytest.raises(PhotoError, match="no such file"):
        open_photo(tmp_path / "missing.jpg")
    with pytest.raises(PhotoError, match="cannot be opened"):
        open_photo(tmp_path / "nul\0.jpg")
    if hasattr(os, "mkfifo"):
        os.mkfifo(tmp_path / "pipe.jpg")
        with pytest.raises(PhotoError, match="not a regular file"):
            open_photo(tmp_path / "pipe.jpg")
        (tmp_path / "lost.jpg").symlink_to("nowhere")
        with pytest.raises(PhotoError, match="points to nothing"):
            open_photo(tmp_path / "lost.jpg")
        (tmp_path / "loop.jpg").symlink_to("loop.jpg")
        with pytest.raises(PhotoError, match="cannot be opened"):
            open_photo(tmp_path / "loop.jpg")


def test_names_fit_for_a_table() -> None:
    assert shown_name(Path("a/R1 Übung 肋.jpg")) == "R1 Übung 肋.jpg"
    assert shown_name(Path("a\nb\x1b[31m.jpg")) == "a\\nb\\x1b[31m.jpg"
    assert shown_name(Path("x\u202egpj.exe")) == "x\\u202egpj.exe"
    assert shown_name(Path("می\u200cخواهم.jpg")) == "می\u200cخواهم.jpg"
    if os.name == "posix":
        shown = shown_name(Path(os.fsdecode(b"\xff.jpg")))
        assert shown == "\\xff.jpg"


def test_from_array(scene: np.ndarray, luma: np.ndarray) -> None:
    bgr = scene[..., ::-1].copy()
    before = bgr.copy()
    picture = Picture.from_array(bgr, "notebook")
    np.testing.assert_allclose(picture.gray, luma, rtol=0, atol=1)
    np.testing.assert_array_equal(bgr, before)
    bgr[:] = 0
    assert picture.gray.max() > 0
    assert picture.small_colour().shape == (30, 41, 3)
    full = picture.full_colour()
    assert full is not None
    np.testing.assert_array_equal(full, before)
    grey = Picture.from_array(np.rint(luma).astype(np.uint8))
    np.testing.assert_array_equal(grey.gray, np.rint(luma))
    assert grey.small_colour().shape == (30, 41, 3)
    deep = Picture.from_array(np.rint(luma * 257).astype(np.uint16)[..., None])
    np.testing.assert_allclose(deep.gray, luma, rtol=0, atol=1)
    with pytest.raises(PhotoError, match="uint8"):
        Picture.from_array(luma)
    with pytest.raises(ValueError, match="read-only"):
        picture.gray[0, 0] = 1


def test_pictures_and_errors_cross_processes(scene: np.ndarray) -> None:
    picture = decode_photo(saved(Image.fromarray(scene), "JPEG"), "x")
    again = pickle.loads(pickle.dumps(picture))
    np.testing.assert_array_equal(again.gray, picture.gray)
    error = pickle.loads(pickle.dumps(PhotoError("why", sha256="ab", width=3, height=4)))
    assert (error.reason, error.sha256, error.width, error.height) == ("why", "ab", 3, 4)
