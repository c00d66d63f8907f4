"""Which photos a batch works on: files as named, folders as they lie, each once, in a fixed order."""

from __future__ import annotations

import os
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path

from shared.errors import UserError
from vision.image.photo_file import SUFFIXES, shown_name


@dataclass(frozen=True)
class Source:
    """One photo file. name : as shown. problem : why it is not even opened, or None.

    follow : whether a link is followed when it is opened. Not where a folder was searched and this was no link: one
    put in its place meanwhile is refused.
    """

    path: Path
    name: str
    problem: str | None = None
    follow: bool = True


def find_photos(places: Iterable[Path], *, follow_links: bool = False) -> list[Source]:
    """The photos among files and folders.

    A file counts whatever its ending; of a folder, the files directly in it whose ending is that of a
    photo, hidden ones (as the "._" files some systems leave) aside. A link in a folder that leads out of
    it becomes a source with a problem, unless `follow_links`. A file named twice counts once.
    Raises UserError for a place that is not there, cannot be listed, or when nothing is found.

    >>> from pathlib import Path
    >>> [source.path.name for source in find_photos([Path("samples/trainer/photos")])][:3]
    ['L1.jpg', 'L2.jpg', 'L3-two.jpg']
    """
    found: dict[str, Source] = {}
    for place in places:
        try:
            inside = _inside(place, follow_links) if place.is_dir() else iter([_named(place)])
            for source in inside:
                found.setdefault(os.path.abspath(source.path), source)  # noqa: PTH100 - links stay links
        except (OSError, ValueError) as error:
            reason = error.strerror if isinstance(error, OSError) and error.strerror else str(error)
            raise UserError(
                str(place), f"cannot be looked into ({reason})", "check the path and its permissions"
            ) from None
    if not found:
        raise UserError(
            " ".join(map(str, places)) or "no folder",
            "there is no photo in it",
            "give photos or a folder of photos (JPEG, PNG, TIFF, WebP, HEIC)",
        )
    return sorted(found.values(), key=lambda source: (source.name, str(source.path)))


def _named(place: Path) -> Source:
    if not place.exists() and not place.is_symlink():
        raise UserError(str(place), "there is no such file or folder", "check the path")
    return Source(place, shown_name(place))


def _inside(folder: Path, follow_links: bool) -> Iterator[Source]:
    home = folder.resolve()
    with os.scandir(folder) as entries:
        for entry in entries:
            path = folder / entry.name
            if entry.name.startswith(".") or path.suffix.lower() not in SUFFIXES:
                continue
            if path.is_dir():  # also a link to one: folders are given by name
                continue
            link = entry.is_symlink()
            problem = _leads_out(path, home) if link and not follow_links else None
            yield Source(path, shown_name(path), problem, follow=link or follow_links)


def _leads_out(link: Path, home: Path) -> str | None:
    try:
        target = link.resolve(strict=True)
    except (OSError, RuntimeError):
        return None  # opening it shows what is wrong
    if target.is_relative_to(home):
        return None
    return "a link that leads out of the folder; add --follow-links to read it, or give its target's folder"
