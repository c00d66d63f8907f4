"""How often what happens to inclinometer readings: judgements of this project (common practice, no source).

They matter only where the data hardly speak; `benchmarks/diagnosis.py` shows the false alarms they lead to.
"""

PRIOR_NONE = 0.6
PRIOR = {
    "offset": 0.10,
    "opposed": 0.02,
    "line offset": 0.03,
    "side offset": 0.02,
    "scale": 0.02,
    "station": 0.12,
    "digits": 0.03,
    "swap": 0.05,
    "lines": 0.01,
    "slip": 0.005,
    "sign": 0.04,
    "complement": 0.03,
    "sense": 0.02,
    "sides": 0.02,
    "drift": 0.03,
    "step": 0.03,
    "sticking": 0.02,
    "rounding": 0.02,
    "scatter": 0.03,
}
SIZES = ((0.6, 0.85), (15.0, 0.15))
"""Prior spread of an unknown size in degrees, and its share: slips of a degree, and rarely wild ones."""
