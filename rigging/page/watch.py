"""Photos that arrive in a folder, by cable or sync, go on the bench as those of the page do."""

from __future__ import annotations

import os
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from pathlib import Path

from rigging.page.bench import MOST_BYTES, Refused
from rigging.page.desk import Desk
from shared.errors import UserError
from vision.image.photo_file import SUFFIXES

Stamp = tuple[int, int]


@dataclass
class Watcher:
    """Takes each photo of a folder once it has stopped growing. told : how the last tries of a file went."""

    desk: Desk
    folder: Path
    sizes: dict[str, Stamp] = field(default_factory=dict)
    taken: dict[str, Stamp] = field(default_factory=dict)

    def look(self) -> Iterator[tuple[str, str]]:
        """One look at the folder: (file name, what became of it) of each file taken or refused.

        A file counts as whole when size and time are the same as at the look before. Raises UserError.
        """
        try:
            entries = sorted(os.scandir(self.folder), key=lambda e: e.name)
        except OSError as error:
            raise UserError(str(self.folder), f"cannot be looked into ({error.strerror})", "check the path") from None
        for entry in entries:
            if entry.name.startswith(".") or Path(entry.name).suffix.lower() not in SUFFIXES:
                continue
            try:
                if not entry.is_file(follow_symlinks=False):
                    continue
                stat = entry.stat(follow_symlinks=False)
            except OSError:
                continue
            stamp = (stat.st_size, stat.st_mtime_ns)
            if self.taken.get(entry.name) == stamp:
                continue
            if self.sizes.get(entry.name) != stamp:
                self.sizes[entry.name] = stamp
                continue
            self.taken[entry.name] = stamp
            yield entry.name, self._take(Path(entry.path), stat.st_size)

    def _take(self, path: Path, size: int) -> str:
        try:
            if size > MOST_BYTES:
                raise Refused(f"the file is over {MOST_BYTES // 1_000_000} MB")
            ident, new = self.desk.bench.add(path.read_bytes())
            found = self.desk.bench.entry(ident)
            if found is not None:
                self.desk.read(found)
            return f"photo {ident}" if new else f"photo {ident}, on the bench already"
        except (Refused, OSError) as error:
            return f"not taken: {error}"


def watch(desk: Desk, folder: Path, tell: Callable[[str], None], every_s: float = 1.0) -> None:
    """Watch until Ctrl-C, telling what came and what was read from it. Raises UserError."""
    watcher = Watcher(desk, folder)
    done = {s.entry.ident for s in desk.seen() if s.tree is not None}
    desk.start()
    while True:
        for name, what in watcher.look():
            tell(f"{name}: {what}")
        for line in news(desk, done):
            tell(line)
        time.sleep(every_s)


def news(desk: Desk, done: set[str]) -> list[str]:
    """A line for each photo read since `done`, which is brought up to date: the reading, the station's standing."""
    from rigging.page.view import standing, tree_of

    fresh = [s for s in desk.seen() if s.tree is not None and s.entry.ident not in done]
    if not fresh:
        return []
    tree = tree_of(standing(desk))
    stations = {s["name"]: s for s in tree["stations"]}
    lines = []
    for photo in tree["photos"][::-1]:
        if photo["status"] == "waiting" or photo["id"] in done:
            continue
        done.add(photo["id"])
        station = stations.get(photo["station"])
        lines.append(f"photo {photo['id']}: {photo['status']}: chord {photo['chord']}")
        if station is not None:
            lines += [
                f"  {station['headline']}",
                *(f"  {t}" for t in (*station["turn"], *station["doubts"], *station["gauge"])),
            ]
    return lines
