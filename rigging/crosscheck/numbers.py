"""En numbers and limits of agreement."""

from __future__ import annotations

import math
from collections.abc import Sequence

from rigging.crosscheck.types import Agreement, Interval
from shared.quantity import Quantity


def en_number(camera: Quantity, gauge: Quantity) -> float:
    """En = (camera - gauge) / sqrt(U_camera^2 + U_gauge^2), ISO/IEC 17043:2010 B.3.1.3, ISO 13528:2022 9.7.

    What the two share (nothing, as a rule) is taken out as the GUM asks. NaN without an uncertainty.
    """
    difference = camera - gauge
    return difference.value / difference.U if difference.U > 0 else math.nan


def limits_of_agreement(differences: Sequence[float]) -> Agreement | None:
    """Bias and bias +- 1.96 sd with 95 % confidence intervals; None with fewer than three differences.

    Bland and Altman, Lancet 1986, i: 307: standard error of the bias sd / sqrt(n), of a limit
    sqrt(3 sd^2 / n), both with Student's t of n - 1 degrees of freedom. Their example rounds 1.96 to 2.
    """
    from scipy.special import stdtrit

    n = len(differences)
    if n < 3:
        return None
    bias = math.fsum(differences) / n
    sd = math.sqrt(math.fsum((d - bias) ** 2 for d in differences) / (n - 1))
    t = float(stdtrit(n - 1, 0.975))
    half_bias, half_limit = t * sd / math.sqrt(n), t * sd * math.sqrt(3.0 / n)

    def interval(value: float, half: float) -> Interval:
        return Interval(value, value - half, value + half)

    return Agreement(
        n,
        interval(bias, half_bias),
        sd,
        interval(bias - 1.96 * sd, half_limit),
        interval(bias + 1.96 * sd, half_limit),
    )
