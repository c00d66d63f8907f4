"""The loop of `ribangle live`: photos in, one word each out, until the run ends."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path

from rigging.live.cure_watch import Alarm, CureWatch
from rigging.live.presence import Presence
from rigging.live.record import LiveRecord, summary
from rigging.live.setting import Moment, Run
from rigging.live.show import line, panel, warning
from rigging.live.source import Shot, from_camera, from_folder
from shared.cautions import SHORT
from shared.errors import UserError
from shared.job.model import Job
from shared.rounding import number


@dataclass(frozen=True)
class Asked:
    """What was asked for. source : a folder, or a camera's number. every_s : of a camera. idle_s : None waits for ever."""

    station: str
    source: str
    cure: bool = False
    every_s: float = 2.0
    hours: float = 12.0
    photos: int | None = None
    idle_s: float | None = None


def follow(job_file: Path, job: Job, asked: Asked) -> int:
    """Follow a rib until the run ends; the exit code. Raises UserError."""
    from rich.console import Console

    if all(s.name != asked.station for s in job.stations):
        raise UserError(
            f"station {asked.station}", "is not in the job", "name one of " + ", ".join(s.name for s in job.stations)
        )
    job = replace(job, folder=job.folder.resolve())
    console = Console(highlight=False)
    run = Run(job, asked.station)
    watch = CureWatch(asked.photos or max(1, int(asked.hours * 3600 / asked.every_s))) if asked.cure else None
    record = LiveRecord(job_file, run.station, datetime.now(), asked.cure, asked.every_s)
    design = f"{number(run.station.chord_deg, 2, sign=True)}°"
    console.print(
        f"Photos from {asked.source}; kept in {record.folder}. Stop with Ctrl-C.", soft_wrap=True, markup=False
    )
    if watch is not None:
        console.print(
            f"Watching for {watch.photos} photos at most: a warning when something is {number(watch.h, 1)} standard "
            "uncertainties from where it was in two photos running.",
            soft_wrap=True,
            markup=False,
        )

    presence = Presence(asked.every_s, time.monotonic()) if asked.cure else None

    def tell(moment: Moment, alarm: Alarm | None) -> None:
        if console.is_terminal:
            console.clear()
            console.print(panel(moment, asked.station, design), markup=False)
        else:
            console.print(line(moment), markup=False, soft_wrap=True)
        for _, old in record.alarms[-4:-1] if alarm else record.alarms[-4:]:
            console.print(f"earlier: {old.words}", markup=False, soft_wrap=True)
        if alarm is not None:
            console.print(warning(alarm), markup=False, soft_wrap=True, style="bold red")
        if record.fault:
            console.print(record.fault, markup=False, soft_wrap=True, style="bold red")

    def look_for_missing() -> None:
        alarm = presence.missing(time.monotonic()) if presence is not None else None
        if alarm is not None:
            at = datetime.now()
            moment = Moment(record.photos, "", at, "missing", alarm.words)
            record.add(moment, Shot("", at, None), alarm)
            tell(moment, alarm)

    watching = Watching(run, watch, presence, record)
    try:
        _loop(_shots(asked, look_for_missing), watching, asked.photos, tell)
    except KeyboardInterrupt:
        console.print()
    finally:
        record.close()
    console.print(summary(record.moments), markup=False)
    if presence is not None:
        console.print(presence.words(time.monotonic()), markup=False)
    if record.fault:
        console.print(record.fault, markup=False, soft_wrap=True, style="bold red")
    console.print(f"Kept: {record.folder}", soft_wrap=True, markup=False)
    console.print(SHORT, markup=False)
    if not any(m.angle is not None for m in record.moments):
        return 3
    return 1 if record.alarms else 0


@dataclass(frozen=True)
class Watching:
    """What a loop feeds: the run, and of a watch through the cure the test and the account of the time."""

    run: Run
    watch: CureWatch | None
    presence: Presence | None
    record: LiveRecord

    def moment(self, shot: Shot) -> Moment:
        """What a photo tells."""
        number = self.record.photos + 1
        if shot.picture is None:
            return Moment(number, shot.name, shot.at, "not seen" if self.run.start else "waiting", shot.reason)
        return replace(self.run.feed(shot.picture, shot.at), number=number)

    def alarm(self, moment: Moment) -> Alarm | None:
        """The warning that a photo gives rise to."""
        if self.watch is None or self.presence is None:
            return None
        seen = moment.state == "seen" or (moment.state in ("start", "camera moved") and moment.angle is not None)
        self.presence.came(time.monotonic(), moment.at, seen)
        return None if moment.state == "start" else self.watch.look(moment.change, moment.reason)


def _loop(
    shots: Iterator[Shot], watching: Watching, most: int | None, tell: Callable[[Moment, Alarm | None], None]
) -> None:
    for shot in shots:
        moment = watching.moment(shot)
        alarm = watching.alarm(moment)
        watching.record.add(moment, shot, alarm)
        tell(moment, alarm)
        if most is not None and watching.record.photos >= most:
            return


def _shots(asked: Asked, look_for_missing: Callable[[], None]) -> Iterator[Shot]:
    begun = last = time.monotonic()

    def on_time() -> bool:
        look_for_missing()
        return not asked.cure or time.monotonic() - begun < asked.hours * 3600

    def idle() -> bool:
        return on_time() and (asked.idle_s is None or time.monotonic() - last < asked.idle_s)

    if asked.source.isdecimal():
        yield from from_camera(int(asked.source), asked.every_s, on_time)
        return
    for shot in from_folder(Path(asked.source), idle):
        yield shot
        last = time.monotonic()
        if not on_time():
            return
