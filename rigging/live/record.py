"""What a live run keeps: a CSV, a plot, the first photo, the photos of alarms, and what the page shows of it.

All lies in NAME-shop/live/STATION-TIME beside NAME.toml; `live.json` in NAME-shop is the newest word for the page.
"""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Sequence
from datetime import datetime
from pathlib import Path
from typing import Any

import msgspec

from rigging.batch.readings_csv import safe_cell
from rigging.live.cure_watch import Alarm
from rigging.live.setting import Moment
from rigging.live.source import Shot
from shared.cautions import SHORT
from shared.errors import UserError
from shared.files import write_whole
from shared.job.model import Station
from shared.quantity import Quantity
from shared.rounding import degrees, number

COLUMNS = (
    "photo",
    "name",
    "time",
    "state",
    "chord_deg",
    "U_deg",
    "change_deg",
    "U_change_deg",
    "along_mm",
    "U_along_mm",
    "up_mm",
    "U_up_mm",
    "standing",
    "background_px",
    "alarm",
    "reason",
)
SHOWN = 200
"""Changes that the page's curve holds."""
PENDING = 16
"""Photos that wait in memory for room on the disk, the first ones."""


class LiveRecord:
    """The folder of one run. Raises UserError where it cannot be made.

    fault : why what is told is not on the disk yet, else empty; a full disk ends no watch.
    """

    def __init__(self, job_file: Path, station: Station, begun: datetime, watching: bool, every_s: float) -> None:
        safe = re.sub(r"[^\w-]+", "_", station.name)
        shop = job_file.absolute().parent / f"{job_file.stem}-shop"
        self.folder = shop / "live" / f"{safe}-{begun:%Y%m%d-%H%M%S}"
        self.page = shop / "live.json"
        self.station, self.watching, self.every_s = station, watching, every_s
        self.moments: list[Moment] = []
        self.alarms: list[tuple[Moment, Alarm]] = []
        self.fault = ""
        self._pending: list[tuple[Path, bytes]] = []
        try:
            self.folder.mkdir(parents=True, exist_ok=True)
        except OSError as error:
            raise UserError(
                str(self.folder), f"cannot be made ({error.strerror})", "give the job a folder that can be written to"
            ) from None

    @property
    def photos(self) -> int:
        """How many photos have come."""
        return sum(m.state != "missing" for m in self.moments)

    def add(self, moment: Moment, shot: Shot, alarm: Alarm | None) -> None:
        """Keep one photo's word: the table anew, the photo where it began a comparison or raised an alarm."""
        self.moments.append(moment)
        if alarm is not None:
            self.alarms.append((moment, alarm))
        if shot.data is not None and (alarm is not None or moment.state in ("start", "camera moved")):
            kind = "alarm" if alarm is not None else "first"
            ending = Path(shot.name).suffix.lower() or ".png"
            if len(self._pending) < PENDING:
                self._pending.append((self.folder / f"{kind}-{moment.number:05d}{ending}", shot.data))
        self._write(ended=False)

    def close(self) -> None:
        """Draw the plot and tell the page that the run has ended."""
        from rigging.plots.live import live_plot

        self._write(ended=True)
        plot = live_plot(self.station.name, self.moments)
        if plot is None:
            return
        try:
            write_whole(self.folder / "live.svg", plot.svg())
            write_whole(self.folder / "live.png", plot.png())
        except OSError as error:
            self.fault = f"the plot is not kept: {error.strerror or error}"

    def _write(self, *, ended: bool) -> None:
        """Write all that is not on the disk yet; what cannot be written is tried again with the next photo."""
        try:
            if self.moments:
                write_whole(self.page, msgspec.json.encode(self.tree(ended)))
                write_whole(self.folder / "live.csv", self.table())
            while self._pending:
                write_whole(*self._pending[0])
                del self._pending[0]
            self.fault = ""
        except OSError as error:
            self.fault = f"not written to the disk: {error.strerror or error}; make room, it is tried again"

    def table(self) -> str:
        """All photos so far as CSV; degrees and mm, U with k = 2, empty where unknown."""
        out = io.StringIO()
        writer = csv.writer(out, lineterminator="\n")
        writer.writerow(COLUMNS)
        told = {id(m): a.words for m, a in self.alarms}
        for m in self.moments:
            c = m.change
            shift = "" if c is None or not c.camera.shift_px >= 0 else f"{c.camera.shift_px:.3f}"
            writer.writerow(
                (
                    m.number,
                    safe_cell(m.name),
                    m.at.isoformat(timespec="seconds"),
                    m.state,
                    *_pair(m.angle, 4),
                    *_pair(None if c is None else c.turn, 5),
                    *_pair(None if c is None else c.forward_mm, 4),
                    *_pair(None if c is None else c.up_mm, 4),
                    m.standing,
                    shift,
                    told.get(id(m), ""),
                    safe_cell(m.reason),
                )
            )
        return out.getvalue()

    def tree(self, ended: bool) -> dict[str, Any]:
        """What the page shows; every number that is read is already written as text."""
        m = self.moments[-1]
        turn = None if m.change is None else m.change.turn
        curve = [
            (x.at.timestamp(), x.change.turn.value, x.change.turn.U)
            for x in self.moments[-SHOWN:]
            if x.change is not None and x.change.turn is not None
        ]
        return {
            "station": self.station.name,
            "watching": self.watching,
            "ended": ended,
            "every_s": self.every_s,
            "at": m.at.isoformat(timespec="seconds"),
            "written": datetime.now().timestamp(),
            "fault": self.fault,
            "photo": m.number,
            "state": m.state,
            "reason": m.reason,
            "standing": m.standing,
            "turn": m.turn,
            "doubts": list(m.doubts),
            "angle": None if m.angle is None else degrees(m.angle, sign=True),
            "off": None if m.deviation is None else degrees(m.deviation, sign=True),
            "change": None if turn is None else degrees(turn, sign=True),
            "since": m.since,
            "design": f"{number(self.station.chord_deg, 2, sign=True)}°",
            "alarms": [f"{a.words} (photo {x.number}, {x.at:%H:%M:%S})" for x, a in self.alarms[-5:]],
            "curve": curve,
            "caution": SHORT,
        }


def _pair(q: Quantity | None, decimals: int) -> tuple[str, str]:
    return ("", "") if q is None else (f"{q.value:.{decimals}f}", f"{q.U:.{decimals}f}")


def summary(moments: Sequence[Moment]) -> str:
    """The run in one line."""
    seen = [m for m in moments if m.state == "seen"]
    moved = sum(m.state == "camera moved" for m in moments)
    lost = sum(m.state in ("not seen", "waiting") for m in moments)
    came = sum(m.state != "missing" for m in moments)
    more = (f", the camera moved {moved} times" if moved > 1 else ", the camera moved once" if moved else "") + (
        f", {lost} told nothing" if lost else ""
    )
    return f"{came} photos: {len(seen)} measured against the first{more}."
