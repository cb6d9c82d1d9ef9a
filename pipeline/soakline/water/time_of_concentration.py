"""How long water takes to reach a swale, and to run from one swale to the next.

Formulas are computed in the units that they are published in; feet and inches are exact multiples
of SI units. None depends on the storm, so that more rain never shifts an arrival.
"""

from typing import Literal

import numpy as np
import numpy.typing as npt

from soakline.grid import FloatArray
from soakline.inputs.frequencies import choose_frequency
from soakline.inputs.types import RainTable
from soakline.problems import InputRefused
from soakline.water.curve_number import storage_mm
from soakline.water.storms import depth_mm

Method = Literal["lag", "velocity", "kirpich"]

FOOT_M, INCH_MM = 0.3048, 25.4
LEAST_H = 0.1  # TR-55, chapter 3: 6 minutes
LEAST_SLOPE = 0.001  # rise over run; flatter ground would take for ever. Ours, without a source
LAG_SHARE = 0.6  # lag over time of concentration, NEH 630 eq. 15-3
SHEET_M = 100.0 * FOOT_M  # sheet flow breaks up at the latest then, NEH 630 ch. 15
SHEET_MANNING_N = 0.15  # short-grass prairie, TR-55 Table 3-1
UNPAVED_FT_S = 16.1345  # TR-55 Figure 3-1; velocity over the root of the slope
DAY_MIN = 1440.0


def concentration_h(
    method: Method,
    flow_length_m: npt.ArrayLike,
    drop_m: npt.ArrayLike,
    mean_slope_pct: npt.ArrayLike,
    curve_number: npt.ArrayLike,
    two_year_24h_mm: float,
) -> FloatArray:
    """Time of concentration of each swale's catchment.

    Parameters
    ----------
    method : "lag", "velocity" or "kirpich"
    flow_length_m, drop_m : (n,) longest way of water to the swale, and its fall; m
    mean_slope_pct : (n,) of the catchment's ground, %; used by the lag only
    curve_number : (n,) or one for all, for antecedent condition II; used by the lag only
    two_year_24h_mm : see `two_year_24h_mm`; used by the velocity method only

    Returns
    -------
    (n,) h, at least 0.1

    Raises
    ------
    ValueError
        If the method is not known, a length or a slope is negative, or rain is not over 0.

    Examples
    --------
    >>> concentration_h("lag", [500.0], [40.0], [8.0], 74.0, 60.0).round(4)
    array([0.3324])
    """
    length, drop, slope_pct = (
        np.asarray(one, dtype=np.float64) for one in (flow_length_m, drop_m, mean_slope_pct)
    )
    if not (np.all(length >= 0.0) and np.all(slope_pct >= 0.0) and two_year_24h_mm > 0.0):
        raise ValueError("lengths and slopes are not negative, and it rains every other year")
    if method == "lag":
        hours = lag_h(length, slope_pct, curve_number) / LAG_SHARE
    elif method == "kirpich":
        hours = kirpich_h(length, slope_of(length, drop))
    elif method == "velocity":
        slope = slope_of(length, drop)
        sheet = sheet_flow_h(np.minimum(length, SHEET_M), slope, two_year_24h_mm)
        beyond_m = np.maximum(length - SHEET_M, 0.0)
        hours = sheet + beyond_m / (UNPAVED_FT_S * FOOT_M * np.sqrt(slope)) / 3600.0
    else:
        raise ValueError(f"no method {method!r} for the time of concentration")
    return np.asarray(np.maximum(hours, LEAST_H))


def slope_of(length_m: FloatArray, drop_m: FloatArray) -> FloatArray:
    """Rise over run of a way, at least `LEAST_SLOPE`, which stands for a way without length too."""
    slope = np.divide(drop_m, length_m, out=np.zeros_like(length_m + drop_m), where=length_m > 0.0)
    return np.asarray(np.maximum(slope, LEAST_SLOPE))


def lag_h(
    length_m: npt.ArrayLike, slope_pct: npt.ArrayLike, curve_number: npt.ArrayLike
) -> FloatArray:
    """Lag of a catchment, from the centre of the excess rain to the peak.

    Parameters
    ----------
    length_m : longest way of water, m
    slope_pct : mean of the land's, %
    curve_number : for antecedent condition II; the relation was found for 50 to 95

    Returns
    -------
    broadcast shape, h

    Notes
    -----
    L = l^0.8 (S + 1)^0.7 / (1900 Y^0.5) with l in feet, S in inches, Y in %, [NEH630]_ eq. 15-4a.
    """
    feet = np.asarray(length_m, dtype=np.float64) / FOOT_M
    storage_in = storage_mm(curve_number) / INCH_MM
    slope = np.maximum(slope_pct, 100.0 * LEAST_SLOPE)
    return np.asarray(feet**0.8 * (storage_in + 1.0) ** 0.7 / (1900.0 * np.sqrt(slope)))


def kirpich_h(length_m: npt.ArrayLike, slope: npt.ArrayLike) -> FloatArray:
    """Time of concentration by length and rise over run of the way, h, broadcast shape.

    Notes
    -----
    0.0078 L^0.77 S^−0.385 minutes with L in feet, [Kirpich1940]_ as in [Chow1988]_ Table 15.1.2.
    """
    feet = np.asarray(length_m, dtype=np.float64) / FOOT_M
    return np.asarray(0.0078 * feet**0.77 * np.asarray(slope) ** -0.385 / 60.0)


def sheet_flow_h(
    length_m: npt.ArrayLike,
    slope: npt.ArrayLike,
    two_year_24h_mm: float,
    manning_n: float = SHEET_MANNING_N,
) -> FloatArray:
    """Travel time of a thin sheet of water, h, broadcast shape.

    Notes
    -----
    0.007 (n L)^0.8 / (P₂^0.5 s^0.4) hours with L in feet, P₂ in inches, s rise over run, [TR55]_
    eq. 3-3.
    """
    feet = np.asarray(length_m, dtype=np.float64) / FOOT_M
    rain_in = two_year_24h_mm / INCH_MM
    return np.asarray(
        0.007 * (manning_n * feet) ** 0.8 / (np.sqrt(rain_in) * np.asarray(slope) ** 0.4)
    )


def two_year_24h_mm(table: RainTable) -> tuple[float, str]:
    """Rain that sheet flow is reckoned with, from the rain table as it is, without uplift.

    Parameters
    ----------
    table : RainTable

    Returns
    -------
    depth in mm, and a note for the run record. Where the table has no 2-year column its most
    frequent one is taken; where it ends before 24 hours its longest duration, where it begins after
    them its shortest. The note says which; it is empty where the table has both.
    """
    column, notes = 0, []
    try:
        column, matched = choose_frequency(table, "2", "", "two-year rain")
        notes += [matched] if matched else []
    except InputRefused:
        notes.append(f"two-year rain taken from the most frequent column, {table.frequency[0]}")
    duration_min = float(np.clip(DAY_MIN, table.duration_min[0], table.duration_min[-1]))
    if duration_min != DAY_MIN:
        notes.append(f"24-hour rain taken from the duration of {duration_min:g} min")
    return float(depth_mm(table, column, duration_min)), "; ".join(notes)
