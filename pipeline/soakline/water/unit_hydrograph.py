"""The SCS unit hydrograph: in which shares a burst of excess rain arrives, step by step."""

from dataclasses import dataclass
from functools import cache
from typing import Literal

import numpy as np
import numpy.typing as npt

from soakline import tables
from soakline.grid import FloatArray
from soakline.inputs.types import IndexArray

Shape = Literal["curvilinear", "triangular"]

LAG_SHARE = 0.6  # from the centre of the burst to the peak, over the time of concentration
_WHOLE = 2.0**50  # shares are whole multiples of 1 / _WHOLE: any sum of them is exact


@dataclass(frozen=True, eq=False, slots=True)
class UnitHydrographs:
    """How a burst of one step arrives at each swale.

    Parameters
    ----------
    shares : (swales, most) of the burst's volume that arrive in its own step and in each step
        after it; every row sums to exactly 1, and is 0 beyond its own number of steps
    steps : (swales,) number of steps in which something arrives
    """

    shares: FloatArray
    steps: IndexArray


@cache
def ratios(shape: Shape) -> tuple[FloatArray, FloatArray]:
    """Flow over peak flow by time over time to peak, straight between the given places.

    Parameters
    ----------
    shape : "curvilinear", of `config/unit_hydrograph.csv`, or "triangular", which ends at 8/3

    Returns
    -------
    time ratios from 0, rising, and flow ratios, 0 at both ends; (n,) each

    Raises
    ------
    ValueError
        If the shape is not known.

    Notes
    -----
    [NEH630]_ ch. 16: Table 16-1, and the triangle of 3/8 of the volume before the peak.
    """
    if shape == "curvilinear":
        rows = tables.rows("unit_hydrograph.csv")
        return (
            np.array([float(row["time_ratio"]) for row in rows]),
            np.array([float(row["flow_ratio"]) for row in rows]),
        )
    if shape == "triangular":
        return np.array([0.0, 1.0, 8.0 / 3.0]), np.array([0.0, 1.0, 0.0])
    raise ValueError(f"no unit hydrograph {shape!r}")


def time_to_peak_h(tc_h: npt.ArrayLike, step_s: float) -> FloatArray:
    """Time from the begin of a burst to the peak, h, any shape.

    Notes
    -----
    Tp = Δt / 2 + 0.6 Tc, [NEH630]_ ch. 16, [Chow1988]_ eq. 7.7.3.

    Examples
    --------
    >>> round(float(time_to_peak_h(1.25, 600.0)), 3)
    0.833
    """
    return np.asarray(step_s / 7200.0 + LAG_SHARE * np.asarray(tc_h, dtype=np.float64))


def arrived_share(time_ratio: npt.ArrayLike, shape: Shape) -> FloatArray:
    """Share of a burst that has arrived by given times.

    Parameters
    ----------
    time_ratio : any shape, time since the burst began over the time to peak; not negative
    shape : "curvilinear" or "triangular"

    Returns
    -------
    same shape, 0 to 1; 1 from the end of the ratios on

    Notes
    -----
    The area below the straight lines between the ratios, over that of all of them.
    """
    asked = np.asarray(time_ratio, dtype=np.float64)
    times, flows = ratios(shape)
    widths = np.diff(times)
    slopes = np.diff(flows) / widths
    areas = np.concatenate([[0.0], np.cumsum(widths * (flows[:-1] + flows[1:]) / 2.0)])
    at = np.minimum(np.searchsorted(times, asked, side="right") - 1, widths.size - 1)
    beyond = np.minimum(asked, times[-1]) - times[at]
    area = areas[at] + beyond * (flows[at] + beyond * slopes[at] / 2.0)
    return np.asarray(np.where(asked >= times[-1], 1.0, area / areas[-1]))


def unit_hydrographs(tc_h: npt.ArrayLike, step_s: float, shape: Shape) -> UnitHydrographs:
    """Unit hydrographs of many swales.

    Parameters
    ----------
    tc_h : (swales,) times of concentration, h, over 0
    step_s : length of burst and step, s, over 0
    shape : "curvilinear" or "triangular"

    Returns
    -------
    UnitHydrographs

    Raises
    ------
    ValueError
        If a time of concentration or the step is not positive.

    Notes
    -----
    Integrated over each step, not sampled at its ends: what arrives is the burst, whatever the
    step.
    """
    tc = np.asarray(tc_h, dtype=np.float64)
    if not (np.all(tc > 0.0) and step_s > 0.0):
        raise ValueError("time of concentration and step are positive")
    steps_to_peak = time_to_peak_h(tc, step_s) * 3600.0 / step_s
    steps = np.ceil(ratios(shape)[0][-1] * steps_to_peak).astype(np.int64)
    ends = np.arange(int(steps.max(initial=0)) + 1, dtype=np.float64)
    arrived = arrived_share(ends[None, :] / steps_to_peak[:, None], shape)
    return UnitHydrographs(np.diff(np.rint(arrived * _WHOLE) / _WHOLE, axis=1), steps)


def unit_hydrograph(tc_h: float, step_s: float, shape: Shape) -> FloatArray:
    """Shares of a burst's volume by step, of one swale.

    Parameters
    ----------
    tc_h, step_s, shape : as for `unit_hydrographs`

    Returns
    -------
    (n,) that sum to exactly 1, the first one for the burst's own step

    Examples
    --------
    >>> unit_hydrograph(0.1, 72.0, "triangular").round(3)
    array([0.031, 0.092, 0.153, 0.202, 0.178, 0.141, 0.104, 0.067, 0.031,
           0.002])
    """
    shares: FloatArray = unit_hydrographs([tc_h], step_s, shape).shares[0]
    return shares
