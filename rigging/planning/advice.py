"""What would decide an undecided station at least cost, computed from its budget.

Each step shrinks named parts of the budget; the U after it follows by the same sum as the budget
itself. Costs are an order of effort (common practice, no source), not money. The factors are what the
method's own simulations show (docs/decisions.md) and are stated as estimates.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from itertools import combinations

from rigging.survey.decision import Decision
from shared.quantity import Component, K, Quantity
from shared.reading import Advice
from shared.rounding import number, places

NEARER = "set it nearer its design angle"
"""What is left to do where no measurement would decide."""

Share = Callable[[Component], float]


@dataclass(frozen=True)
class Remedy:
    """One thing to do. effort : order of cost. share : what is left of a component's u after it, 0 to 1."""

    text: str
    effort: float
    share: Share

    def after(self, quantity: Quantity) -> Quantity:
        """The quantity as it would be known after this step, its value unchanged."""
        left = tuple(Component(c.name, c.source, c.u * self.share(c)) for c in quantity.components)
        return Quantity(quantity.value, left)


def named(factors: dict[str, float]) -> Share:
    """Components whose name holds one of these words keep that factor of their u; the rest stay."""
    return lambda c: next((f for word, f in factors.items() if word in c.name), 1.0)


def of_one_photo(component: Component) -> bool:
    """Whether further photos average this component out: it belongs to one photo, or to repeats at odds."""
    return component.source.startswith(("photo:", "repeats "))


def more_photos(now: int, more: int) -> Remedy:
    """`more` further photos from other places beside `now`; what all share stays as it is."""
    left = math.sqrt(now / (now + more))
    what = "one more photo from another place" if more == 1 else f"{more} more photos from other places"
    return Remedy(what, 1.0 + 0.3 * (more - 1), lambda c: left if of_one_photo(c) else 1.0)


_TILT = {"rib plane tilt": 0.25, "which way the card tilts": 0.25, "card seating": 0.25, "card print": 0.25}
"""What two cards far apart leave of a single one's parts (design figures of the joint solution)."""

OTHER_STEPS = (
    Remedy("a second card on the rib, far from the first", 1.5, named(_TILT)),
    Remedy(
        "the string hung nearer the middle of the picture",
        1.2,
        named(dict.fromkeys((*_TILT, "lean of the rib plane"), 0.5)),
    ),
    Remedy(
        "a second plumb line well apart from the first",
        2.0,
        named({"rib plane tilt": 0.3, "which way": 0.3, "lean of the rib plane": 0.2, "string": 0.71}),
    ),
    Remedy("the lean of the rib plane measured and put into the job", 2.5, named({"lean of the rib plane": 0.3})),
    Remedy(
        "a better level reference: a heavier bob out of the draught, or a calibration by reversal",
        3.0,
        named({"own error": 0.5}),
    ),
    Remedy("more lens photos that fill the frame, and a new lens profile", 3.5, named({"lens": 0.4})),
    Remedy(
        "the line drawn afresh with a hard pencil along a steel rule between two set marks",
        4.0,
        named({"pen waviness": 0.5, "marking": 0.5}),
    ),
)
"""Beside further photos; each is offered only where it touches the budget."""


NOTICEABLE = 0.95
"""What is left of U at most after a step worth naming: less than 5 % does not show in the figures given. By judgement."""


def steps(photos: int) -> tuple[Remedy, ...]:
    """All steps on offer for a value that `photos` photos make."""
    return (*(more_photos(max(photos, 1), k) for k in (1, 2, 3)), *OTHER_STEPS)


def advise(
    decision: Decision, deviation: Quantity, photos: int, from_reader: Iterable[Advice] = ()
) -> tuple[Advice, ...]:
    """Steps that would decide an undecided station if its value stayed as it is, at most three.

    Cheapest first. Pairs of steps are tried when no single one suffices; then the step that helps most
    is named with how far it goes. Nothing for a decided station. `from_reader` : advice of the reading,
    with its own U.
    """
    if decision.outcome != "undecided":
        return ()
    if decision.why is not None:
        return (Advice(f"take a sound photo: {decision.why}"),)
    needed = abs(abs(decision.deviation_deg) - decision.tolerance_deg)
    now = deviation.U
    if needed < 0.1 * now:
        return (Advice(f"it stands on the limit itself, where no measurement decides: {NEARER}", now, None),)
    offers = [(s.effort, s.text, s.after(deviation).U) for s in steps(photos)]
    offers += [o for a in from_reader if (o := _from_reader(a, now)) is not None]
    enough = sorted(o for o in offers if o[2] <= min(needed, NOTICEABLE * now))
    if not enough:
        enough = sorted(_pairs(deviation, photos, needed))
    if enough:
        return tuple(Advice(_text(text, now, then), now, then) for _, text, then in _unlike(enough)[:3])
    _, text, then = min(offers, key=lambda o: o[2])
    if then > NOTICEABLE * now:
        return (Advice(f"no step on offer lowers U noticeably: {NEARER}", now, None),)
    return (
        Advice(_text(text, now, then) + f", which alone does not decide it (U {_deg(needed)} is needed)", now, then),
    )


def _from_reader(advice: Advice, now: float) -> tuple[float, str, float] | None:
    """The reader's advice, its U (of the camera alone) brought to the U that decides."""
    if advice.u_now is None or advice.u_then is None or not advice.u_then < advice.u_now <= now:
        return None
    then = math.sqrt(now**2 - advice.u_now**2 + advice.u_then**2)
    return 1.1, advice.text.partition(": U would")[0], then


def _pairs(deviation: Quantity, photos: int, needed: float) -> Iterable[tuple[float, str, float]]:
    for a, b in combinations(steps(photos), 2):
        both = b.after(a.after(deviation))
        touched = a.after(deviation).u < 0.98 * deviation.u and both.u < 0.98 * a.after(deviation).u
        if touched and "more photo" not in b.text and K * both.u <= needed:
            yield a.effort + b.effort, f"{a.text}, and {b.text}", both.U


def _unlike(offers: list[tuple[float, str, float]]) -> list[tuple[float, str, float]]:
    """Offers without the dearer ones of the same kind (3 photos where 2 suffice)."""
    kept: list[tuple[float, str, float]] = []
    for offer in offers:
        if not any("more photo" in offer[1] and "more photo" in k[1] for k in kept):
            kept.append(offer)
    return kept


def _deg(value: float) -> str:
    return f"{number(value, places(value))}°"


def _text(step: str, now: float, then: float) -> str:
    return f"{step}: U would fall from {_deg(now)} to about {_deg(then)}"
