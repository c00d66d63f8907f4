"""Measure a batch of photos: what is known is taken over, the rest is shared out, each result kept at once.

The end result depends on the photos, the job, the profiles and the code only: not on the number of
workers, the order in which they finish, or how often the batch was stopped and taken up again.
"""

from __future__ import annotations

import contextlib
from collections import Counter
from collections.abc import Callable, Generator, Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import msgspec

from rigging.batch.cluster import run_cluster
from rigging.batch.drift import BatchDrift, BatchWatch
from rigging.batch.find import Source
from rigging.batch.hints_file import hints_of
from rigging.batch.lenses import keep_lenses
from rigging.batch.lines_csv import write_lines
from rigging.batch.pool import available_cores, run_pool
from rigging.batch.readings_csv import write_csv
from rigging.batch.readings_file import every_rib, is_measured, to_tree, write_readings
from rigging.batch.store import Store, cannot_write, fingerprint, reading_key
from rigging.batch.worker import DETAILED, DRAWER, READER, Outcome, Plan, Task, measure_one, refused
from shared.errors import UserError
from shared.files import writing_whole
from shared.flags import FlagCode
from shared.job.model import Job
from shared.reading import Reading
from vision.image.photo_file import PhotoError, sha256_of_photo

Tell = Callable[[int, int], None]
"""Told how many photos are done, of how many."""

LINES = "lines.csv"
"""File of the named lines, where the job names any."""
TIME_LIMIT = 300.0
"""Seconds after which a photo is given up: some five hundred times what one takes."""
MONTE_CARLO_SECONDS = 0.05
"""What each draw may add to that."""


@dataclass(frozen=True)
class Options:
    """How to work. Only hints and monte_carlo change a result (and seconds that of a photo that takes too long).

    workers : processes; None takes every core, 0 works in this process. cluster : address of a Dask
    scheduler in place of processes. again : measure what is known already, too. hints : (photo name, hint) from
    the command line; those beside a photo count as well. monte_carlo : draws a photo. earlier : readings of a
    former batch, which the cards' residuals are compared with. seconds : a worker may take for one photo,
    MONTE_CARLO_SECONDS more for each draw; 0: as long as it likes, as always where workers is 0.
    """

    workers: int | None = None
    cluster: str | None = None
    again: bool = False
    overlays: bool = True
    reader: str = READER
    drawer: str = DRAWER
    hints: tuple[tuple[str, str], ...] = ()
    monte_carlo: int = 0
    earlier: tuple[Reading, ...] = ()
    seconds: float = TIME_LIMIT


@dataclass(frozen=True)
class Line:
    """One reading's place in the result. key : "" where the photo could not even be read. part : 0 for the foremost rib of a
    photo, 1 and on for those behind it."""

    rank: int
    name: str
    path: str
    key: str
    sha256: str
    measured: bool
    part: int = 0


@dataclass(frozen=True)
class BatchResult:
    """What a batch left.

    known : photos taken over from an earlier run. lines : one a reading, in order; a photo has one for each of its ribs.
    lenses : profiles solved from the batch's own station cards and kept.
    """

    folder: Path
    lines: tuple[Line, ...]
    known: int
    lenses: tuple[Path, ...] = ()

    @property
    def measured(self) -> int:
        """Photos with a chord angle of their foremost rib; of a place that is no rib, with a dimension."""
        return sum(line.measured for line in self.lines if not line.part)

    @property
    def photos(self) -> int:
        """Photos, measured or not."""
        return sum(not line.part for line in self.lines)

    @property
    def json(self) -> Path:
        """The readings file."""
        return self.folder / "readings.json"

    @property
    def csv(self) -> Path:
        """The same for a spreadsheet."""
        return self.folder / "readings.csv"

    @property
    def exit_code(self) -> int:
        """0 all photos measured, 1 some not, 3 none."""
        return 0 if self.measured == self.photos else 1 if self.measured else 3


def measure_batch(
    job: Job, sources: Sequence[Source], folder: Path, options: Options | None = None, tell: Tell | None = None
) -> BatchResult:
    """Measure photos into a folder: `readings.json`, `readings.csv`, `overlays/`.

    sources : from `rigging.batch.find.find_photos`. folder : made where it is missing. tell : progress.
    Raises UserError for a folder that cannot be written to or is in use, and for what is wrong with the
    job; a bad photo raises nothing: its line in the result has no value and a reason.
    """
    options = options or Options()
    job = replace(job, folder=job.folder.resolve())
    lenses = keep_lenses(job, sources) if options.reader == READER else ()
    extras = (
        *(("overlays",) if options.overlays else ()),
        *((f"monte carlo {options.monte_carlo}",) if options.monte_carlo else ()),
        *(("details",) if options.drawer == DETAILED else ()),
    )
    plan = Plan(
        job,
        fingerprint(job, extras),
        options.reader,
        options.drawer,
        options.overlays,
        options.monte_carlo,
        _seconds(options),
    )
    store = Store(folder, plan.made_from)
    with store.locked():
        batch = _Batch(store, plan, options, tell, len(sources))
        batch.run(sources)
        return replace(batch.finish(), lenses=lenses)


def _seconds(options: Options) -> float:
    return options.seconds + MONTE_CARLO_SECONDS * options.monte_carlo if options.seconds else 0.0


class _Batch:
    """The state of one run: a line for each photo done; only what cannot be kept on disk stays in memory."""

    def __init__(self, store: Store, plan: Plan, options: Options, tell: Tell | None, total: int) -> None:
        self.store, self.plan, self.options, self.tell, self.total = store, plan, options, tell, total
        self.ranks = {face.name: rank for rank, face in enumerate(plan.job.faces)}
        self.lines: list[Line] = []
        self.loose: dict[str, dict[str, Any]] = {}
        self.known = self.done = 0
        self.watch = BatchWatch()

    def run(self, sources: Sequence[Source]) -> None:
        """Take over what is known, measure the rest."""
        self._report()
        tasks: list[Task] = []
        for source, sha256, problem in _hashed(sources):
            path = str(source.path.absolute())
            if problem is not None:
                self._loose(path, to_tree(refused(source.name, problem, sha256)))
                continue
            try:
                hints = hints_of(source.path, source.name, self.options.hints)
            except UserError as error:  # of the file beside this photo; it must not cost the others theirs
                self._loose(path, to_tree(refused(source.name, str(error), sha256)))
                continue
            task = Task(path, source.name, hints, source.follow)
            key = reading_key(sha256, task.keyed, self.plan.made_from)
            tree = None if self.options.again else self.store.get(key)
            if tree is not None:
                self.known += 1
                self._add(path, key, tree)
            else:
                tasks.append(task)
        with contextlib.closing(self._outcomes(tasks)) as outcomes:
            for outcome in outcomes:
                self._take(outcome)

    def _outcomes(self, tasks: list[Task]) -> Generator[Outcome, None, None]:
        if not tasks:
            return _nothing()
        if self.options.cluster is not None:
            return run_cluster(tasks, self.plan, self.options.cluster)
        workers = available_cores() if self.options.workers is None else self.options.workers
        if workers == 0:
            return (measure_one(task, self.plan) for task in tasks)
        return run_pool(tasks, self.plan, min(workers, len(tasks)))

    def _take(self, outcome: Outcome) -> None:
        if outcome.mistake is not None:
            raise UserError(*outcome.mistake)
        tree = msgspec.json.decode(outcome.body, type=dict[str, Any])
        if outcome.keep:
            self.store.put(outcome.key, outcome.body, outcome.overlay, outcome.overlay_path)
            self._add(outcome.path, outcome.key, tree)
        else:
            self._loose(outcome.path, without_overlay(tree))

    def _loose(self, path: str, tree: dict[str, Any]) -> None:
        """A reading that is not kept for the next run: the photo could not be read, or the tool failed."""
        self.loose[path] = tree
        self._add(path, "", tree)

    def _add(self, path: str, key: str, tree: dict[str, Any]) -> None:
        self.watch.see(tree)
        photo = tree["photo"]
        for part, each in enumerate(every_rib([tree])):
            rank = self.ranks.get(each["station"] or "", len(self.ranks))
            measured = is_measured(each)
            self.lines.append(Line(rank, photo["name"], path, key, photo["sha256"], measured, part))
        self.done += 1
        self._report()

    def _report(self) -> None:
        if self.tell is not None:
            self.tell(self.done, self.total)

    def finish(self) -> BatchResult:
        """Write the results, whole, in the order of the job's stations and the photos' names."""
        self.lines.sort(key=lambda line: (line.rank, line.name, line.path, line.part))
        folder = self.store.folder
        result = BatchResult(folder, tuple(self.lines), self.known)
        job, overlays = self.plan.job, set[str]()
        drift = self.watch.check(job, self.options.earlier)
        try:
            with writing_whole(result.json) as stream:
                write_readings(stream, job, self._trees(overlays, drift), drift.told)
            with writing_whole(result.csv) as stream:
                write_csv(stream, job, self._trees(overlays, drift))
            if job.lines:
                with writing_whole(folder / LINES) as stream:
                    write_lines(stream, job, self._trees(overlays, drift))
            else:
                (folder / LINES).unlink(missing_ok=True)
            self.store.prune(overlays)
        except OSError as error:
            raise cannot_write(folder, error) from None
        return result

    def _tree(self, line: Line) -> dict[str, Any]:
        tree = self.store.get(line.key) if line.key else self.loose[line.path]
        if tree is None:
            raise UserError(
                str(self.store.folder), "a finished reading was changed or taken away", "run the same command again"
            )
        tree = list(every_rib([tree]))[line.part]
        return {key: value for key, value in tree.items() if key != "further"}

    def _trees(self, overlays: set[str], drift: BatchDrift) -> Iterator[dict[str, Any]]:
        first: dict[str, tuple[str, str]] = {}
        copies = Counter(line.sha256 for line in self.lines if not line.part)
        for line in self.lines:
            tree = self._tree(line)
            doubts = msgspec.to_builtins(drift.flags_of(tree["made"]["lens"]))
            tree = {**tree, "flags": [*tree["flags"], *doubts]}
            if line.sha256 and copies[line.sha256] > 1:
                name, path = first.setdefault(line.sha256, (line.name, line.path))
                if path != line.path:
                    flag = FlagCode.SAME_PHOTO.flag(f"the same photo as {name}, no second witness")
                    tree["flags"] = [*tree["flags"], msgspec.to_builtins(flag)]
            if tree["overlay"]:
                overlays.add(tree["overlay"])
            yield tree


def without_overlay(tree: dict[str, Any]) -> dict[str, Any]:
    """A photo's tree, of all its ribs, without the annotated picture."""
    bare = {**tree, "overlay": None}
    return {**bare, "further": [{**t, "overlay": None} for t in tree["further"]]} if "further" in tree else bare


def _nothing() -> Generator[Outcome, None, None]:
    yield from ()


def _hashed(sources: Sequence[Source]) -> Iterator[tuple[Source, str, str | None]]:
    """Each source with its SHA-256, or with what keeps it from being read; hashed on every core."""

    def facts(source: Source) -> tuple[Source, str, str | None]:
        if source.problem is not None:
            return source, "", source.problem
        try:
            return source, sha256_of_photo(source.path, follow=source.follow), None
        except PhotoError as error:
            return source, "", error.reason

    with ThreadPoolExecutor(available_cores()) as threads:
        yield from threads.map(facts, sources)
