"""Expected U of the job's lines by name, before any photo: from the same joint solution as the stations' (`plan`)."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from calibration.lens.model import Lens
from rigging.planning.plan import PART, PhotoSetup, cards_for, distance_of, lean_stated
from rigging.planning.scene import PlacedCard, PlannedLine, SetUp, Viewpoint, imagine
from rigging.printed.pack import card_kind
from shared.job.model import Job, Station
from shared.job.named import NamedLine, Place
from vision.cards.spec import SPECS
from vision.rib_scene import DEFAULT_U_LEAN_DEG
from vision.ribs import UNKNOWN_U_LEAN_DEG
from vision.solution.propagate import angles
from vision.solution.solve import solve

STAND = ((8.0, -4.0, 2.0), (-8.0, 4.0, -2.0), (3.0, 5.0, 1.0), (-3.0, -5.0, -1.0))
"""Yaw, pitch and roll of the camera, degrees, from which a face is looked at: what hands do."""
LEAST_VIEW_MM = 300.0
"""Least width of what a photo of a place shows: a card and a line beside it."""
UNKNOWN_LENGTH = 0.3
"""Length of a line that the job does not tell, as a part of what is shown."""


@dataclass(frozen=True)
class LinePlan:
    """What is to be expected of a named line. U : k = 2, degrees, the middle of what hands do; NaN where it does not fit into the
    picture. needed : U that would decide its tolerance. largest : the largest part of its budget."""

    line: NamedLine
    U: float
    needed: float
    largest: str

    @property
    def decides(self) -> bool:
        """Whether U decides the tolerance."""
        return self.needed >= self.U


def plan_lines(job: Job, lens: Lens, choice: PhotoSetup, part: float = PART) -> tuple[LinePlan, ...]:
    """The plan of every named line, in the job's order. choice : as for the stations; of it fill, string and lens count."""
    found: dict[tuple[str, str], tuple[float, str]] = {}
    for face in job.faces:
        lines = job.lines_at(face.name)
        if lines:
            found |= {(face.name, name): said for name, said in _expected(job, face, lines, lens, choice)}
    return tuple(LinePlan(line, *_of(found, line, part)) for line in job.lines)


def _of(found: dict[tuple[str, str], tuple[float, str]], line: NamedLine, part: float) -> tuple[float, float, str]:
    U, largest = found.get(line.key, (math.nan, ""))
    return U, part * line.tolerance_deg, largest


def _expected(
    job: Job, face: Station | Place, lines: tuple[NamedLine, ...], lens: Lens, choice: PhotoSetup
) -> Iterator[tuple[str, tuple[float, str]]]:
    got: dict[str, list[tuple[float, str]]] = {line.name: [] for line in lines}
    for yaw, pitch, roll in STAND:
        setup = _setup(job, face, lines, lens, choice, (yaw, pitch, roll))
        try:
            scene, state = imagine(setup)
        except ValueError:
            continue
        for name, q in angles(solve(scene, state, max_rounds=0)).named:
            got[name].append((q.U, next(iter(q.budget()), "")))
    for name, all_of in got.items():
        if all_of:
            yield name, sorted(all_of)[len(all_of) // 2]


def _setup(
    job: Job,
    face: Station | Place,
    lines: tuple[NamedLine, ...],
    lens: Lens,
    choice: PhotoSetup,
    stand: tuple[float, float, float],
) -> SetUp:
    """The face as it would be photographed: its cards, its lines where the job says, a string near the middle."""
    if isinstance(face, Station):
        width, distance = face.chord_mm, distance_of(face, lens, choice)
        cards, kind = cards_for(face, choice.cards), card_kind(face)
        lean, u_lean = lean_stated(job, face)
    else:
        kind = face.card
        width = max(LEAST_VIEW_MM, *(_reach(line, SPECS[kind].size_mm[0]) for line in lines))
        distance = float(lens.theta[0]) * width / (choice.fill * lens.size[0])
        cards = tuple(PlacedCard(kind, 0.3 + 0.4 * k, 3.0, 0.0) for k in range(min(len(face.cards), 2)))
        lean = face.lean_deg or 0.0
        u_lean = face.u_lean_deg or (DEFAULT_U_LEAN_DEG if face.lean_deg is not None else UNKNOWN_U_LEAN_DEG)
    height = SPECS[kind].size_mm[1]
    above = height / 2 + 20.0 if cards[0].above_mm is None else cards[0].above_mm
    origin = ((0.5 - cards[0].at) * width, above)
    named = tuple(_planned(line, origin, width) for line in lines)
    return SetUp(
        lens,
        width,
        cards,
        Viewpoint(distance, *stand),
        (0.05 * width,),
        lean_deg=lean,
        u_lean_deg=u_lean,
        u_level_deg=job.level.u_deg,
        spar_at=None,
        angle_deg=0.0,
        photo="planned",
        named=named,
    )


def _reach(line: NamedLine, card_mm: float) -> float:
    """Width of a picture that holds a card and a line where the job says, mm."""
    x = abs(line.from_card_mm[0]) if line.from_card_mm is not None else card_mm
    along = 0.0 if line.runs == "upright" else line.length_mm or 0.0
    return float(np.ceil(1.3 * (x + 0.5 * along + 0.5 * card_mm)))


def _planned(line: NamedLine, origin: tuple[float, float], width: float) -> PlannedLine:
    x, z = line.from_card_mm if line.from_card_mm is not None else (0.0, 0.0)
    length = line.length_mm or UNKNOWN_LENGTH * width
    return PlannedLine(
        line.name,
        (origin[0] + x, origin[1] + z),
        length,
        line.runs == "upright",
        line.marked == "two marks",
        line.marked == "two edges",
    )
