"""Runoff by the curve number: how much of a storm the ground sheds."""

from typing import Literal

import numpy as np
import numpy.typing as npt

from soakline import tables
from soakline.grid import FloatArray

AntecedentCondition = Literal["I", "II", "III"]

LEAST_CURVE_NUMBER = 30.0  # TR-55's own floor: lower values are not used to compute runoff
INITIAL_SHARE = 0.2  # initial abstraction over storage, the value all published tables assume


def storage_mm(curve_number: npt.ArrayLike) -> FloatArray:
    """Potential maximum retention of the ground.

    Parameters
    ----------
    curve_number : any shape, over 0, at most 100; under 30 is taken as 30

    Returns
    -------
    same shape, mm; 0 for a curve number of 100

    Raises
    ------
    ValueError
        If a curve number is not over 0 and at most 100.

    Notes
    -----
    S = 25400 / CN − 254, [TR55]_ eq. 2-4; the floor of 30 is that of its Table 2-2 footnotes.

    Examples
    --------
    >>> storage_mm([74, 100]).round(2)
    array([89.24,  0.  ])
    """
    number = np.asarray(curve_number, dtype=np.float64)
    if not np.all((number > 0.0) & (number <= 100.0)):
        raise ValueError(f"a curve number lies over 0 and up to 100, not {number}")
    return np.asarray(25400.0 / np.maximum(number, LEAST_CURVE_NUMBER) - 254.0)


def initial_abstraction_mm(curve_number: npt.ArrayLike) -> FloatArray:
    """Rain that falls before any runs off: 0.2 S, [TR55]_ eq. 2-2, mm, any shape."""
    return np.asarray(INITIAL_SHARE * storage_mm(curve_number))


def runoff_mm(rain_mm: npt.ArrayLike, curve_number: npt.ArrayLike) -> FloatArray:
    """Depth of runoff from a depth of rain since the storm began.

    Runoff is convex in the curve number: add runoff of the parts of a catchment by area, do not
    average their curve numbers.

    Parameters
    ----------
    rain_mm : any shape, mm, not negative
    curve_number : broadcast against it; see `storage_mm`

    Returns
    -------
    broadcast shape, mm; 0 until rain passes 0.2 S, all the rain for a curve number of 100

    Raises
    ------
    ValueError
        If rain is negative or a curve number out of range.

    Notes
    -----
    Q = (P − 0.2 S)² / (P + 0.8 S), [TR55]_ eq. 2-3, [NEH630]_ ch. 10.

    Examples
    --------
    >>> runoff_mm([50, 10], 74).round(2)
    array([8.52, 0.  ])
    """
    rain = np.asarray(rain_mm, dtype=np.float64)
    if np.any(rain < 0.0):
        raise ValueError(f"rain cannot be negative: {rain.min():g} mm")
    storage = storage_mm(curve_number)
    excess = np.maximum(rain - INITIAL_SHARE * storage, 0.0)
    # P + 0.8 S written as excess + S: never 0 where excess is over 0
    below = excess + storage
    runoff = np.zeros_like(below)
    np.divide(excess, below, out=runoff, where=excess > 0.0)
    return runoff * excess  # a share of 1 first: exactly P where S is 0


def antecedent_curve_number(
    curve_number: npt.ArrayLike, condition: AntecedentCondition
) -> FloatArray:
    """Curve number for dry (I), ordinary (II) or wet (III) ground before the storm.

    Parameters
    ----------
    curve_number : any shape, for condition II
    condition : "I", "II" or "III"

    Returns
    -------
    same shape

    Notes
    -----
    [Chow1988]_ eq. 5.5.8 and 5.5.9; within 2 of the table in [NEH630]_ ch. 10 from 40 to 95.

    Examples
    --------
    >>> antecedent_curve_number([70, 80], "III").round(1)
    array([84.3, 90.2])
    """
    number = np.asarray(curve_number, dtype=np.float64)
    if condition == "I":
        return np.asarray(4.2 * number / (10.0 - 0.058 * number))
    if condition == "III":
        return np.asarray(23.0 * number / (10.0 + 0.13 * number))
    if condition == "II":
        return number
    raise ValueError(f"antecedent condition is I, II or III, not {condition!r}")


def curve_number_for(cover: str, group: str) -> float:
    """Curve number of a cover on a hydrologic soil group, antecedent condition II.

    Parameters
    ----------
    cover : a row of `config/curve_numbers.csv`, such as `pasture-fair`
    group : "A", "B", "C" or "D"

    Raises
    ------
    ValueError
        If the table has no such cover or group, or no figure for the two together.

    Examples
    --------
    >>> curve_number_for("pasture-good", "C")
    74.0
    """
    numbers = tables.curve_numbers()
    if cover not in numbers:
        raise ValueError(f"no cover {cover!r}; there are {', '.join(numbers)}")
    if group not in "ABCD" or len(group) != 1:
        raise ValueError(f"hydrologic group is A, B, C or D, not {group!r}")
    if group not in numbers[cover]:
        raise ValueError(f"no curve number is published for {cover} on group {group}")
    return numbers[cover][group]
