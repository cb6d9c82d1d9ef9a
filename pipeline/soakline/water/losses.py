"""Losses: how much of a storm's rain each class of ground sheds, and when."""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import partial

import numpy as np
import numpy.typing as npt

from soakline.grid import FloatArray
from soakline.water import storms as of_storms
from soakline.water.curve_number import (
    AntecedentCondition,
    antecedent_curve_number,
    runoff_mm,
    storage_mm,
)
from soakline.water.green_ampt import GreenAmpt, shed_mm
from soakline.water.storms import RISE_STEP_S, Storm


@dataclass(frozen=True, slots=True)
class CurveNumber:
    """Ground that sheds by the curve number.

    Parameters
    ----------
    number : over 0, at most 100, for the condition before the storm; see `curve_number_loss`

    Raises
    ------
    ValueError
        If the number is out of range.
    """

    number: float

    def __post_init__(self) -> None:
        storage_mm(self.number)


Loss = CurveNumber | GreenAmpt
"""One class of ground. Equal losses are equal values, so that classes can be told apart."""

HARD_SURFACE = CurveNumber(98.0)
"""Roofs and paving, [TR55]_ Table 2-2a; what fell before wets them no more."""


def curve_number_loss(number: float, condition: AntecedentCondition) -> CurveNumber:
    """Ground of a curve number for condition II, as dry or wet as it is before the storm.

    Parameters
    ----------
    number : for condition II
    condition : "I" dry, "II" ordinary or "III" wet

    Examples
    --------
    >>> curve_number_loss(74.0, "II"), round(curve_number_loss(74.0, "III").number, 1)
    (CurveNumber(number=74.0), 86.7)
    """
    return CurveNumber(float(antecedent_curve_number(number, condition)))


def excess_mm(storm: Storm, losses: Sequence[Loss], edges_min: npt.ArrayLike) -> FloatArray:
    """Depth that each class of ground has shed by given times.

    Excess of several classes is added by area: a mean of curve numbers or of conductivities would
    understate it.

    Parameters
    ----------
    storm : rain in time
    losses : a class each
    edges_min : (edges,) times from the storm's begin, in any order; minutes

    Returns
    -------
    (classes, edges) mm: 0 before the storm, all that the storm sheds from its end on

    Notes
    -----
    More rain up to any moment, falling no slower after it, never sheds less: with the curve number
    excess is convex in rain, with Green and Ampt its rate rises with the rain's and with what has
    infiltrated.
    """
    edges = np.asarray(edges_min, dtype=np.float64)
    return np.stack(
        [_excess_of(storm, loss, edges) for loss in losses] or [np.zeros((0, edges.size))]
    ).reshape(len(losses), edges.size)


def _excess_of(storm: Storm, loss: Loss, edges_min: FloatArray) -> FloatArray:
    if isinstance(loss, CurveNumber):
        return runoff_mm(storm.cumulative_depth_mm(edges_min), loss.number)
    asked_min = np.clip(edges_min, 0.0, storm.duration_min)
    # The state of the soil is carried from breakpoint to breakpoint.
    times_min = np.union1d(np.asarray(storm.times_min), asked_min)
    excess = shed_mm(times_min, storm.cumulative_depth_mm(times_min), loss)
    return np.asarray(excess[np.searchsorted(times_min, asked_min)])


def largest_rises_mm(
    storm: Storm, losses: Sequence[Loss], step_s: float = RISE_STEP_S
) -> FloatArray:
    """Most that each class sheds in any window of a given length; see `storms.largest_rise_mm`.

    Parameters
    ----------
    storm : rain in time
    losses : a class each
    step_s : length of the window, which may start anywhere, s

    Returns
    -------
    (classes,) mm
    """
    return np.array(
        [
            of_storms.largest_rise_of(storm, partial(_excess_of, storm, loss), step_s)
            for loss in losses
        ],
        dtype=np.float64,
    )
