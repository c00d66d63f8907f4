"""The loop of `ribangle live`: photos in, one word each out, until the run ends."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path

from rigging.live.cure_watch import Alarm, CureWatch
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

    try:
        _loop(_shots(asked), run, watch, record, asked.photos, tell)
    except KeyboardInterrupt:
        console.print()
    finally:
        record.close()
    console.print(summary(record.moments), markup=False)
    console.print(f"Kept: {record.folder}", soft_wrap=True, markup=False)
    console.print(SHORT, markup=False)
    if not any(m.angle is not None for m in record.moments):
        return 3
    return 1 if record.alarms else 0


def _loop(
    shots: Iterator[Shot],
    run: Run,
    watch: CureWatch | None,
    record: LiveRecord,
    most: int | None,
    tell: Callable[[Moment, Alarm | None], None],
) -> None:
    for shot in shots:
        if shot.picture is None:
            moment = Moment(
                len(record.moments) + 1, shot.name, shot.at, "not seen" if run.start else "waiting", shot.reason
            )
        else:
            moment = replace(run.feed(shot.picture, shot.at), number=len(record.moments) + 1)
        alarm = watch.look(moment.change) if watch is not None and moment.change is not None else None
        record.add(moment, shot, alarm)
        tell(moment, alarm)
        if most is not None and len(record.moments) >= most:
            return


def _shots(asked: Asked) -> Iterator[Shot]:
    begun = last = time.monotonic()

    def on_time() -> bool:
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
