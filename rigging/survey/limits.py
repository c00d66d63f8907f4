"""What limits U most over many readings, and the advice that would make most of it go: one sentence."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterable, Mapping, Sequence

from shared.reading import Advice
from shared.rounding import number, places

Budget = Mapping[str, float | None]

HALF = 0.5
"""Advice that leaves this part of U, or less, halves it."""


def limit_words(found: Iterable[tuple[Budget, Sequence[Advice]]]) -> str | None:
    """The largest part of all budgets together, and what the readings' own advice says would halve U.

    found : for each reading its budget (standard uncertainty by name) and its advice. None where no reading has a
    known budget. Of advice that halves U the one given most often is told, else the one that leaves least.
    """
    shares: Counter[str] = Counter()
    count = 0
    gains: dict[str, list[tuple[float, float]]] = {}
    for budget, advice in found:
        parts = {name: u * u for name, u in budget.items() if u is not None and math.isfinite(u)}
        whole = math.fsum(parts.values())
        if not whole or len(parts) < len(budget):
            continue
        count += 1
        shares.update({name: v / whole for name, v in parts.items()})
        for a in advice:
            if a.u_now and a.u_then is not None and a.u_then < a.u_now:
                gains.setdefault(a.text, []).append((a.u_now, a.u_then))
    if not count:
        return None
    name, total = shares.most_common(1)[0]
    said = f"What limits U most: {name}, {100 * total / count:.0f} % of the variance"
    return f"{said}. {_helps(gains)}" if gains else f"{said}."


def _helps(gains: Mapping[str, list[tuple[float, float]]]) -> str:
    ratio = {text: sorted(then / now for now, then in pairs)[len(pairs) // 2] for text, pairs in gains.items()}
    halving = [text for text in gains if ratio[text] <= HALF]
    best = max(halving, key=lambda t: len(gains[t])) if halving else min(ratio, key=lambda t: ratio[t])
    now, then = max(gains[best])
    n = places(then)
    what = "What would halve it" if halving else "What would help most"
    where = f" at {len(gains[best])} of the photos" if len(gains[best]) > 1 else ""
    return f"{what}{where}: {best} (U {number(now, n)}° to {number(then, n)}°)."
