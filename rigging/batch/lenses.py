"""A lens for cameras without a profile, solved from the batch's own station cards before the photos are shared out."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import numpy as np
from PIL import Image

from calibration.lens.from_cards import FEWEST_PHOTOS, CardPhoto, CardSeen, lens_from_cards, one_setting
from calibration.lens.model import turned_size
from calibration.lens.profiles import LensProfile, find_lens, save_lens
from rigging.batch.find import Source
from rigging.batch.pool import available_cores
from shared.job.model import Job
from vision.cards.detect import find_cards
from vision.cards.print_choice import print_of
from vision.image.exif import Exif, read_exif
from vision.image.photo import open_photo
from vision.image.photo_file import PhotoError

MOST_PHOTOS = 24
"""Photos of one camera that are solved together, spread over the batch: more tell little more and cost time."""
GROWN = 2
"""A lens from cards is solved again when there are this many times the photos that it came from."""

MOST_HEADERS = 240
"""Photos whose headers are looked at for their camera, spread over the batch."""

Header = tuple[Path, Exif, tuple[int, int]]


def keep_lenses(job: Job, sources: Sequence[Source]) -> tuple[Path, ...]:
    """Solve and keep a lens profile for every camera of the photos that has none; the files written.

    The profiles lie in the job's lens folder, where readings of this and later batches find them. A job that
    names its lens is left alone, and so is a camera whose cards show no more than its EXIF does. Raises
    UserError for a broken profile in that folder or of the print.
    """
    if job.lens != "auto":
        return ()
    folder, written = job.folder / job.lens_folder, []
    for group in _settings(sources):
        _, exif, size = group[0]
        kept = find_lens(folder, exif.make, exif.model, exif.lens_model, size, exif.focal_mm)
        if len(group) < FEWEST_PHOTOS or (kept is not None and not _outgrown(kept, len(group))):
            continue
        profile = _solved(job, group)
        if profile is None:
            continue
        path = folder / f"{profile.ident}.json"
        try:
            folder.mkdir(parents=True, exist_ok=True)
            save_lens(path, profile)
        except OSError:
            continue  # a job on a disk that cannot be written to: the readings say that their lens is guessed
        written.append(path)
    return tuple(written)


def _outgrown(kept: LensProfile, photos: int) -> bool:
    return kept.from_cards and min(photos, MOST_PHOTOS) >= GROWN * len(kept.photos)


def _settings(sources: Sequence[Source]) -> list[list[Header]]:
    """The photos' headers by camera, lens, zoom and picture size."""
    groups: list[list[Header]] = []
    for source in sources[:: max(1, len(sources) // MOST_HEADERS)]:
        header = _header(source.path) if source.problem is None else None
        if header is None:
            continue
        home = next((g for g in groups if one_setting(g[0][1], g[0][2], header[1], header[2])), None)
        if home is None:
            groups.append([header])
        else:
            home.append(header)
    return groups


def _header(path: Path) -> Header | None:
    """What a photo's header tells; None where it cannot be read, of which its own reading will tell."""
    try:
        if path.suffix.casefold() in (".heic", ".heif"):
            import pillow_heif

            pillow_heif.register_heif_opener()
        with Image.open(path) as image:
            exif, _ = read_exif(image)
            return path, exif, turned_size(image.size, exif.orientation)
    except Exception:  # decoders raise many kinds on damaged bytes
        return None


def _solved(job: Job, group: Sequence[Header]) -> LensProfile | None:
    some = np.unique(np.linspace(0, len(group) - 1, MOST_PHOTOS).round().astype(int))
    with ThreadPoolExecutor(min(available_cores(), len(some))) as threads:
        seen = threads.map(lambda k: _seen(job, group[k][0]), some.tolist())
        photos = {p.sha256: p for p in seen if p is not None}  # the same photo twice is no second witness
    return lens_from_cards(list(photos.values()), print_of(job))


def _seen(job: Job, path: Path) -> CardPhoto | None:
    """The cards of one photo, each on the rib that the job puts it on."""
    try:
        picture = open_photo(path)
    except PhotoError:
        return None
    cards = find_cards(picture.gray)
    times = Counter(c.number for c in cards)
    seen = []
    for c in cards:
        station = job.station_of_card(c.number)
        if times[c.number] == 1 and len(c.board) >= 8:
            rib = station.name if station is not None else f"card {c.number}"
            seen.append(CardSeen(rib, c.board - np.array(c.spec.size_mm) / 2, c.pixels))
    return CardPhoto(path.name, picture.sha256, picture.exif, (picture.width, picture.height), tuple(seen))
