"""Photos that arrive in a folder, by cable or sync, go on the bench as those of the page do."""

from __future__ import annotations

import os
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from pathlib import Path

from rigging.page.bench import MOST_BYTES, Refused
from rigging.page.desk import Desk
from rigging.page.worker import Died, TooLong, broken_off, call_within
from shared.errors import UserError
from vision.image.photo_file import SUFFIXES, PhotoError, read_bytes, shown_name

Stamp = tuple[int, int, int]
SIDE_FILES = frozenset({".hints", ".xmp", ".thm", ".aae", ".ini", ".db", ".toml", ".json", ".csv", ".txt", ".md"})
"""Endings of what commonly lies beside photos and is no photo: not worth a word."""
STALLED_S = 30.0
"""How long a file that ends in its middle must have stood still before that is told: a copy that stalls, seconds."""


@dataclass
class Watcher:
    """Takes each photo of a folder once it is whole. clock : seconds, for how long a copy has stalled."""

    desk: Desk
    folder: Path
    clock: Callable[[], float] = time.monotonic
    stamps: dict[str, tuple[Stamp, float]] = field(default_factory=dict)
    done: dict[str, Stamp] = field(default_factory=dict)
    told: dict[str, Stamp] = field(default_factory=dict)
    broken: dict[str, Stamp] = field(default_factory=dict)

    def look(self) -> Iterator[tuple[str, str]]:
        """One look at the folder: (file name as it can be shown, what became of it) of each file taken, refused, ignored
        or stalled; each is told of once.

        A file is taken when it is the same as at the look before and does not break off in its middle; one that does is
        waited for, however long: a copy that stalls is no damaged photo. A file written anew is a new one. Raises UserError.
        """
        try:
            entries = sorted(os.scandir(self.folder), key=lambda e: e.name)
        except OSError as error:
            raise UserError(str(self.folder), f"cannot be looked into ({error.strerror})", "check the path") from None
        for entry in entries:
            what = self._one(entry)
            if what is not None:
                yield shown_name(Path(entry.path)), what

    def _one(self, entry: os.DirEntry[str]) -> str | None:
        try:
            stat = entry.stat(follow_symlinks=False)
            regular = entry.is_file(follow_symlinks=False)
        except OSError:
            return None
        stamp = (stat.st_size, stat.st_mtime_ns, stat.st_ino)
        if self.done.get(entry.name) == stamp or entry.name.startswith("."):
            return None
        if not regular or Path(entry.name).suffix.lower() not in SUFFIXES:
            self.done[entry.name] = stamp
            return self._ignored(entry)
        before, since = self.stamps.get(entry.name, (None, 0.0))
        if before != stamp:
            self.stamps[entry.name] = stamp, self.clock()
            return None
        return self._take(entry, stamp, self.clock() - since)

    def _ignored(self, entry: os.DirEntry[str]) -> str | None:
        if entry.is_symlink():
            return "ignored: a link; put the photo itself here"
        if entry.is_dir():
            return "ignored: a folder; watch it by itself"
        ending = Path(entry.name).suffix.lower()
        if ending in SIDE_FILES:
            return None
        return f"ignored: {ending or 'no ending'} is no ending of a photo (JPEG, PNG, TIFF, WebP, HEIC, AVIF)"

    def _take(self, entry: os.DirEntry[str], stamp: Stamp, stood_s: float) -> str | None:
        try:
            if stamp[0] > MOST_BYTES:
                raise Refused(f"the file is over {MOST_BYTES // 1_000_000} MB")
            data = read_bytes(Path(entry.path), follow=False)
            if self.broken.get(entry.name) == stamp or self._broken_off(data):
                self.broken[entry.name] = stamp
                return self._stalled(entry.name, stamp, stood_s)
            ident, new = self.desk.bench.add(data)
            found = self.desk.bench.entry(ident)
            if found is not None:
                self.desk.read(found)
        except (Refused, PhotoError) as error:
            self.done[entry.name] = stamp
            return f"not taken: {error}"
        except OSError as error:  # a full disk: tried again at every look, told once
            if self.told.get(entry.name) == stamp:
                return None
            self.told[entry.name] = stamp
            return f"not taken yet: {error.strerror or error}; tried again"
        self.done[entry.name] = stamp
        return f"photo {ident}" if new else f"photo {ident}, on the bench already"

    def _broken_off(self, data: bytes) -> bool:
        try:
            return call_within(self.desk.limit_s, self.desk.context, broken_off, data)
        except (TooLong, Died):
            return False  # the bench reads it with the same care, and says what is wrong

    def _stalled(self, name: str, stamp: Stamp, stood_s: float) -> str | None:
        if stood_s < STALLED_S or self.told.get(name) == stamp:
            return None
        self.told[name] = stamp
        return (
            f"waited for: its {stamp[0]} bytes are no whole photo, and no more came for {stood_s:.0f} s; copy it again"
        )


def watch(desk: Desk, folder: Path, tell: Callable[[str], None], every_s: float = 1.0) -> None:
    """Watch until Ctrl-C, telling what came and what was read from it. Raises UserError."""
    watcher = Watcher(desk, folder)
    done = {s.entry.ident for s in desk.seen() if s.tree is not None}
    while True:
        desk.start()  # also what a person put on the bench or pointed at meanwhile
        for name, what in watcher.look():
            tell(f"{name}: {what}")
        for line in news(desk, done):
            tell(line)
        time.sleep(every_s)


def news(desk: Desk, done: set[str]) -> list[str]:
    """A line for each photo read since `done`, which is brought up to date: the reading, the station's standing; and
    for each row of the inclinometer's file that is not used, once."""
    from rigging.page.view import standing, tree_of

    fresh = [s for s in desk.seen() if s.tree is not None and s.entry.ident not in done]
    if not fresh:
        return []
    tree = tree_of(standing(desk))
    stations = {s["name"]: s for s in tree["stations"]}
    lines = [tree["problem"]] if tree["problem"] else []
    unused = [row for row in tree["gauge_unused"] if row not in done]
    lines += unused
    done.update(unused)
    for photo in tree["photos"][::-1]:
        if photo["status"] == "waiting" or photo["id"] in done:
            continue
        done.add(photo["id"])
        if photo["refused"] is not None:
            lines += [f"photo {photo['id']}: no value: {photo['refused']['why']}", f"  {photo['refused']['cure']}"]
            continue
        lines.append(f"photo {photo['id']}: {photo['status']}: chord {photo['chord']}")
        station = stations.get(photo["station"])
        if station is not None:
            lines += [
                f"  {station['headline']}",
                f"  {station['todo']['words']}" + (f" ({station['todo']['more']})" if station["todo"]["more"] else ""),
                *(f"  {t}" for t in (*station["doubts"], *station["gauge"])),
            ]
    return lines
