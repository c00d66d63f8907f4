"""Camera against inclinometer over all stations: do they agree, and if not, what does the pattern mean?"""

from __future__ import annotations

from rigging.crosscheck_numbers import en_number, limits_of_agreement
from rigging.crosscheck_types import (
    Agreement,
    CrossCheck,
    Diagnosis,
    Fault,
    Hypothesis,
    Interval,
    Pair,
)

__all__ = [
    "Agreement", "CrossCheck", "Diagnosis", "Fault", "Hypothesis", "Interval", "Pair",
    "en_number", "limits_of_agreement",
]
