"""How a value with its uncertainty is written: U to two significant digits, the value to match.

The rule of JCGM 100:2008 (GUM) 7.2.6: uncertainties to at most two significant digits, the value
rounded to the same decimal place. Rounding happens here, when printing, and nowhere else.
"""

from __future__ import annotations

import math

from shared.quantity import Quantity


def places(U: float, most: int = 4) -> int:
    """Decimal places that show U to two significant digits; 1 when U is unknown, never over `most`."""
    if not math.isfinite(U) or U <= 0:
        return 1
    exponent = math.floor(math.log10(U))
    if round(U, 1 - exponent) >= 10.0 ** (exponent + 1):  # 0.0996 rounds up to 0.10: one place fewer
        exponent += 1
    return min(max(1 - exponent, 0), most)


def number(value: float, decimals: int, sign: bool = False) -> str:
    """A number with a true minus sign, no negative zero, and a plus sign on request; "?" when not finite.

    value : in any unit. decimals : after the point. sign : whether to write a plus before a positive number.
    """
    if not math.isfinite(value):
        return "?"
    text = f"{value:+.{decimals}f}" if sign else f"{value:.{decimals}f}"
    if float(text) == 0.0:
        text = text.lstrip("+-")
    return text.replace("-", "\N{MINUS SIGN}")


def degrees(quantity: Quantity, sign: bool = False) -> str:
    """Value and U (k = 2) in degrees: "1.487° ± 0.031°"; "± ?" when the uncertainty is unknown.

    quantity : degrees. sign : whether to write a plus before a positive value. U is rounded to two digits, the value
    to match (GUM 7.2.6).

    >>> from shared.quantity import Component, Quantity
    >>> degrees(Quantity(1.48719, (Component("line", "photo:1", 0.01532),)))
    '1.487° ± 0.031°'
    """
    U = quantity.U
    n = places(U)
    return f"{number(quantity.value, n, sign)}° ± {number(U, n)}" + ("°" if math.isfinite(U) else "")
