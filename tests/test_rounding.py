import math

import pytest

from shared.quantity import Component, Quantity
from shared.rounding import degrees, number, places


def quantity(value: float, U: float) -> Quantity:
    return Quantity(value, (Component("line", "photo:1 line", U / 2),))


@pytest.mark.parametrize(
    ("U", "expected"),
    [
        # JCGM 100:2008 (GUM) 7.2.6: u(R) = 10.47 written as 10, u(X) = 28 kHz as 0.028 MHz: two digits
        (10.47, 0),
        (0.028, 3),
        (0.0996, 2),
        (0.31, 2),
        (2.5, 1),
        (0.000012, 4),
        (math.nan, 1),
        (0.0, 1),
    ],
)
def test_u_keeps_two_digits(U: float, expected: int) -> None:
    assert places(U) == expected


def test_value_matches_its_u() -> None:
    assert degrees(quantity(1.48691, 0.0314)) == "1.487° ± 0.031°"
    assert degrees(quantity(-0.5, 0.2), sign=True) == "−0.50° ± 0.20°"
    assert degrees(quantity(89.89, math.nan)) == "89.9° ± ?"


def test_no_negative_zero() -> None:
    assert number(-0.0004, 2) == "0.00"
    assert number(-0.0004, 2, sign=True) == "0.00"
    assert number(0.25, 2, sign=True) == "+0.25"
