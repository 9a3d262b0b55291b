"""How numbers leave: rounded for machines, and by their uncertainty for people."""

from __future__ import annotations

import math
from decimal import ROUND_HALF_UP, Decimal

#: Decimals kept in machine output: a microsecond and a micrometre a second, far below any uncertainty here.
JSON_DECIMALS = 6


def number(value: float | None) -> float | None:
    """Return a number for JSON: None for NaN and infinities, rounded to `JSON_DECIMALS`."""
    if value is None or not math.isfinite(value):
        return None
    return round(float(value), JSON_DECIMALS)


def round_half_up(value: float, decimals: int) -> str:
    """Return a number as text with `decimals` decimals, exact halves rounded away from zero.

    The rule of Directive 2006/27/EC Annex III ('exact half rounds up') for what is shown to people.
    """
    return str(Decimal(repr(float(value))).quantize(Decimal(1).scaleb(-decimals), rounding=ROUND_HALF_UP))


def uncertainty_decimals(stderr: float) -> int:
    """Return how many decimals a value with this standard uncertainty deserves.

    The rounding rule of the Particle Data Group (Review of Particle Physics, Introduction, 'Rounding'): by the three
    leading digits of the uncertainty, 100-354 keeps two digits, 355-949 one, 950-999 counts as 1000 and keeps two.
    """
    if not math.isfinite(stderr) or stderr <= 0:
        return 3
    exponent = math.floor(math.log10(stderr))
    leading = int(round(stderr / 10.0**exponent * 100, 9))
    digits = 2 if leading <= 354 else 1  # 950-999 rounds up to 1000, whose second digit this keeps
    return min(6, max(0, digits - 1 - exponent))
