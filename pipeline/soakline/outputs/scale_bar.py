"""Lengths that a scale bar may have."""

import math


def round_below(length_m: float) -> float:
    """The longest of 1, 2 or 5 times a power of ten that is no longer, m.

    Examples
    --------
    >>> round_below(37.0), round_below(0.7)
    (20.0, 0.5)
    """
    power = 10.0 ** math.floor(math.log10(length_m))
    return float(max(step * power for step in (1, 2, 5) if step * power <= length_m))
