"""Expected uncertainty per station before any photo, and the cheapest set-up that would decide its tolerance.

Every figure comes from the joint solution itself (`vision.solution.solve`), run on the scene that a set-up would
show: its covariance does not need the photo, only the geometry (JCGM 100:2008, 5.1.2: u depends on the
sensitivities and the inputs' u). Hands differ, so each set-up is looked at from several places.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from functools import cache
from itertools import combinations, product

import numpy as np
from scipy.stats import qmc

from calibration.lens.model import Lens
from rigging.planning.scene import PlacedCard, SeeingNoise, SetUp, Viewpoint, imagine
from rigging.printed.boards import kind_for
from shared.errors import UserError
from shared.job.model import Job, Station
from shared.numerics.arrays import F64
from shared.quantity import Quantity, combine
from vision.rib_scene import DEFAULT_U_LEAN_DEG
from vision.ribs import UNKNOWN_U_LEAN_DEG
from vision.solution.propagate import Angles, angles
from vision.solution.solve import solve

PART = 1.0 / 3.0
"""U that counts as deciding, as a part of the tolerance: a rib off by two thirds is still told apart."""
FILL = 0.66
"""Chord as a part of the picture's width where no distance is given."""
HANDS = 8
"""From how many places a set-up is looked at."""
_MOST_PHOTOS = 9
_AT_ONCE = 4


@dataclass(frozen=True)
class PhotoSetup:
    """What is chosen for all stations before the photos.

    fill : chord as a part of the picture's width; distance_mm overrides it. string_at : how far the plumb
        line hangs from the middle of the picture, as a part of the chord.
    aside : how far along the chord the lens stands from the string, in chords; 0: right opposite, square to
        the rib. None: wherever a hand takes it, looking up to askew_deg from square.
    cards, strings : 1 or 2. photos : of each station, each from another place. level_line : on the rib, in
        place of a string. u_lean_deg : how well the lean is known; None as the job says.
    """

    fill: float = FILL
    distance_mm: float | None = None
    string_at: float = 0.2
    aside: float | None = None
    cards: int = 1
    photos: int = 1
    strings: int = 1
    level_line: bool = False
    askew_deg: float = 10.0
    u_lean_deg: float | None = None


@dataclass(frozen=True)
class Improvement:
    """Something that makes U smaller: what it is, what it costs in trouble, what it changes."""

    text: str
    cost: float
    change: tuple[tuple[str, object], ...]

    def applied(self, choice: PhotoSetup) -> PhotoSetup:
        """The choice with this step taken."""
        return replace(choice, **dict(self.change))  # type: ignore[arg-type]


STEPS: tuple[Improvement, ...] = (
    Improvement(
        "stand square to the rib, right opposite the string, so close that the rib fills four fifths of the picture",
        1.0,
        (("aside", 0.0), ("string_at", 0.0), ("fill", 0.8), ("distance_mm", None)),
    ),
    Improvement("take three photos, each from another place", 2.0, (("photos", 3),)),
    Improvement("measure the rib's lean with a level on its face, to 0.2°", 2.5, (("u_lean_deg", 0.2),)),
    Improvement("put a second card on the rib, far from the first", 3.0, (("cards", 2),)),
    Improvement("hang a second string, half a chord from the first", 4.0, (("strings", 2),)),
    Improvement("throw a level laser line on the rib", 6.0, (("level_line", True),)),
)


@dataclass(frozen=True)
class Expected:
    """What a set-up is expected to give.

    chord, spar : U (k = 2), degrees, the median over places to stand; chord_range : nine in ten of them.
    budget : standard uncertainty by name, of the median place."""

    chord: float
    chord_range: tuple[float, float]
    spar: float | None
    budget: tuple[tuple[str, float], ...]


@dataclass(frozen=True)
class StationPlan:
    """The plan for one station.

    needed : U that would decide. steps : the cheapest that reaches it, empty where the choice does; None
    where none does. then : what it gives (the best of all steps where none does).
    """

    station: Station
    choice: PhotoSetup
    distance_mm: float
    now: Expected
    needed: float
    steps: tuple[Improvement, ...] | None
    then: Expected

    @property
    def decides(self) -> bool:
        """Whether the set-up decides as it is."""
        return self.steps == ()


def plan_job(
    job: Job, lens: Lens, choices: Sequence[PhotoSetup], part: float = PART, noise: SeeingNoise | None = None
) -> tuple[StationPlan, ...]:
    """The plan for every station of the job; choices : one for each, in the job's order.

    Raises UserError where a rib does not fit into the picture.
    """
    memory: dict[tuple[object, ...], Expected] = {}
    return tuple(
        _plan(job, s, lens, c, part, noise or SeeingNoise(), memory) for s, c in zip(job.stations, choices, strict=True)
    )


@dataclass(frozen=True)
class Limit:
    """What makes U largest over all stations, and the one step that does most about it for its trouble.

    part : component of the worst station's budget; share : its part of the variance there. stations : where the
    same part is the largest. step : the cheapest that halves U at the worst station, else the one that leaves
    least; None where none helps. now, then : U of the chord there, before and after it.
    """

    part: str
    share: float
    worst: str
    stations: tuple[str, ...]
    step: Improvement | None
    now: float
    then: float

    @property
    def halves(self) -> bool:
        """Whether the step halves U."""
        return self.step is not None and self.then <= self.now / 2


def limit_of(job: Job, lens: Lens, plans: Sequence[StationPlan], noise: SeeingNoise | None = None) -> Limit:
    """What limits U most in a plan, and what would halve it."""
    worst = max(plans, key=lambda p: p.now.chord / p.needed)
    part, u = worst.now.budget[0]
    whole = math.fsum(v * v for _, v in worst.now.budget)
    tried = [
        (s, expect(job, worst.station, lens, s.applied(worst.choice), noise or SeeingNoise()).chord)
        for s in STEPS
        if s.applied(worst.choice) != worst.choice
    ]
    halving = [pair for pair in tried if pair[1] <= worst.now.chord / 2]
    better = (
        halving[:1] or sorted((pair for pair in tried if pair[1] < 0.9 * worst.now.chord), key=lambda pair: pair[1])[:1]
    )
    step, then = better[0] if better else (None, worst.now.chord)
    alike = tuple(p.station.name for p in plans if p.now.budget[0][0] == part)
    return Limit(part, u * u / whole if whole else 1.0, worst.station.name, alike, step, worst.now.chord, then)


def _plan(
    job: Job,
    station: Station,
    lens: Lens,
    mine: PhotoSetup,
    part: float,
    noise: SeeingNoise,
    memory: dict[tuple[object, ...], Expected],
) -> StationPlan:
    needed = part * station.chord_tolerance_deg

    def look(c: PhotoSetup) -> Expected:
        key = (c, station.chord_mm, station.card, lean_stated(job, station), station.spar_at, station.chord_deg)
        if key not in memory:
            memory[key] = expect(job, station, lens, c, noise)
        return memory[key]

    now = look(mine)
    distance = distance_of(station, lens, mine)
    if now.chord <= needed:
        return StationPlan(station, mine, distance, now, needed, (), now)
    steps, then = _cheapest(mine, needed, look)
    return StationPlan(station, mine, distance, now, needed, steps, then)


def _cheapest(
    mine: PhotoSetup,
    needed: float,
    look: Callable[[PhotoSetup], Expected],
) -> tuple[tuple[Improvement, ...] | None, Expected]:
    """The cheapest steps that reach U `needed`, and what they give; None and the best there is.

    The first few are tried as they come. Then: more steps hardly ever make U larger, so a step whose loss
    spoils the whole ladder is in every set that reaches.
    """
    sets = ladders(mine)
    for c in sets[:_AT_ONCE]:
        if look(_climb(mine, c)).chord <= needed:
            return c, look(_climb(mine, c))
    whole = [c for c in sets if not any(set(c) < set(d) for d in sets)]
    reach = {c: look(_climb(mine, c)) for c in whole}
    can = [c for c in whole if reach[c].chord <= needed]
    if not can:
        return None, min(reach.values(), key=lambda e: e.chord, default=look(mine))
    must = {c: {s for s in c if look(_climb(mine, [t for t in c if t != s])).chord > needed} for c in can}
    for c in sets:
        if any(must[d] <= set(c) <= set(d) for d in can):
            then = look(_climb(mine, c))
            if then.chord <= needed:
                return c, then
    return can[0], reach[can[0]]


def ladders(choice: PhotoSetup) -> list[tuple[Improvement, ...]]:
    """Sets of steps that would change this choice, the cheapest first; a laser line replaces the strings."""
    useful = [s for s in STEPS if s.applied(choice) != choice]
    sets = [
        c
        for n in range(1, len(useful) + 1)
        for c in combinations(useful, n)
        if not ({"strings", "level_line"} <= {key for s in c for key, _ in s.change})
    ]
    return sorted(sets, key=lambda c: sum(s.cost for s in c))


def _climb(choice: PhotoSetup, steps: Iterable[Improvement]) -> PhotoSetup:
    for s in steps:
        choice = s.applied(choice)
    return choice


def distance_of(station: Station, lens: Lens, choice: PhotoSetup) -> float:
    """Distance from camera to rib, mm."""
    if choice.distance_mm is not None:
        return choice.distance_mm
    return float(lens.theta[0]) * station.chord_mm / (choice.fill * lens.size[0])


def expect(
    job: Job, station: Station, lens: Lens, choice: PhotoSetup, noise: SeeingNoise, hands: int = HANDS
) -> Expected:
    """What a choice is expected to give at a station. Raises UserError where the job's numbers leave no finite U.

    >>> from rigging.planning.lens import planned_lens
    >>> from shared.job.file import load_job
    >>> job = load_job("samples/trainer/trainer.toml")
    >>> expected = expect(job, job.stations[0], planned_lens("27mm"), PhotoSetup(), SeeingNoise(), hands=4)
    >>> expected.budget[0][0], 0.1 < expected.chord < 0.3  # U, degrees
    ('lean of the rib plane', True)
    """
    draws = _draws(hands, choice.photos)
    got: list[tuple[Quantity, Quantity | None]] = []
    # where the lens stands decides most, and on which side of it the string hangs: every hand with either side
    sides = (-1.0, 1.0) if choice.aside is None and not choice.level_line else (0.0,)
    for hand, side in product(draws, sides):
        photos = [
            _photo(job, station, lens, choice, noise, draw, side or math.copysign(1.0, hand[0, 5]), k)
            for k, draw in enumerate(hand)
        ]
        chord = _mean([a.chord for a in photos if a.chord])
        spar = _mean([a.spar for a in photos if a.spar]) if photos[0].spar else None
        got.append((chord, spar))
    if not all(chord.components and math.isfinite(chord.U) for chord, _ in got):
        raise UserError(
            f"station {station.name}",
            "its lengths and stated uncertainties leave no finite U",
            "look at its numbers, the jig's and the camera's for one that is many times too large",
        )
    order = sorted(got, key=lambda pair: pair[0].U)
    middle = order[len(order) // 2][0]
    size = [q.U for q, _ in order]
    spars = [s.U for _, s in got if s is not None]
    return Expected(
        float(np.median(size)),
        (float(np.quantile(size, 0.05)), float(np.quantile(size, 0.95))),
        float(np.median(spars)) if spars else None,
        tuple(middle.budget().items()),
    )


def _mean(quantities: Sequence[Quantity]) -> Quantity:
    return combine([1.0 / len(quantities)] * len(quantities), quantities)


@cache
def _draws(hands: int, photos: int) -> F64:
    """(hands, photos, 6) even numbers between -1 and 1, the same for every choice: Sobol's sequence."""
    points = qmc.Sobol(6 * _MOST_PHOTOS, seed=9).random(hands)
    return np.asarray(2 * points - 1).reshape(hands, _MOST_PHOTOS, 6)[:, :photos]


def _photo(
    job: Job, station: Station, lens: Lens, choice: PhotoSetup, noise: SeeingNoise, draw: F64, side: float, number: int
) -> Angles:
    """One imagined photo from a place a hand would choose: some degrees askew, some centimetres aside.

    side : +1 where the string hangs towards the leading edge.
    """
    chord, distance = station.chord_mm, distance_of(station, lens, choice)
    strings = _strings(choice, chord, side)
    for patience in range(40):
        calm = 0.9**patience
        middle = calm * 0.06 * draw[3] * chord
        yaw, pitch, roll = calm * choice.askew_deg * draw[:3] * [1.0, 0.6, 0.4]
        if choice.aside is not None and strings:  # towards mid chord from the string, give or take a hand
            foot = strings[0] - (side * choice.aside + 0.03 * draw[0]) * chord
            yaw = math.degrees(math.asin(max(-0.8, min(0.8, (foot - middle) / distance))))
        view = Viewpoint(distance, yaw, pitch, roll, (middle, calm * (0.015 + 0.065 * draw[4]) * chord))
        setup = SetUp(
            lens,
            chord,
            cards_for(station, choice.cards),
            view,
            strings,
            noise=noise,
            level_at=-0.03 * chord if choice.level_line else None,
            photo=f"planned {number}",
            lean_deg=lean_stated(job, station)[0],
            u_lean_deg=choice.u_lean_deg or lean_stated(job, station)[1],
            u_level_deg=job.level.u_deg,
            spar_at=station.spar_at,
            angle_deg=station.chord_deg,
        )
        try:
            scene, state = imagine(setup)
        except ValueError:  # a card out of the picture: nobody would have released the shutter
            continue
        return angles(solve(scene, state, max_rounds=0))
    raise UserError(
        f"distance {distance:.0f} mm",
        f"the rib of {station.name} does not fit into the picture",
        "stand further away, or take a wider camera",
    )


def _strings(choice: PhotoSetup, chord: float, side: float) -> tuple[float, ...]:
    """Where the strings hang, mm from mid chord: the same in all photos of a station."""
    if choice.level_line:
        return ()
    first = side * choice.string_at * chord
    return (first,) if choice.strings == 1 else (first, first - side * 0.5 * chord)


def cards_for(station: Station, count: int) -> tuple[PlacedCard, ...]:
    """Where cards usually go: one near mid chord; two fore and aft."""
    kind = station.card or kind_for(station.chord_mm)
    if count == 1:
        return (PlacedCard(kind, 0.47, 3.0),)
    return (PlacedCard(kind, 0.17, 3.0), PlacedCard(kind, 0.68, -3.0))


def lean_stated(job: Job, station: Station) -> tuple[float, float]:
    """Lean of the rib plane and its standard uncertainty, degrees, as the reader takes them from the job."""
    stated = (
        station.lean_deg
        if station.lean_deg is not None
        else -job.wing.dihedral_deg
        if job.wing.dihedral_deg is not None
        else None
    )
    u = station.u_lean_deg if station.u_lean_deg is not None else job.wing.u_lean_deg
    if u is None:
        u = DEFAULT_U_LEAN_DEG if stated is not None else UNKNOWN_U_LEAN_DEG
    return stated or 0.0, u
