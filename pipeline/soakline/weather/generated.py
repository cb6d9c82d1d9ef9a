"""Days of rain made of the means of months: wet or dry by the day before, depths at random."""

import numpy as np
import numpy.typing as npt

from soakline.grid import BoolArray, FloatArray

DayArray = npt.NDArray[np.int64]
"""A whole number for each day."""

# A wet day more likely follows a wet day: by so much, [Geng1986]_, from memory.
_PERSISTENCE = 0.25
# Shape of the gamma distribution of depths lies within these; common practice, no source.
_SHAPES = (0.3, 1.0)
# Days of a mean month, to go from days a month to a share of days.
MONTH_DAYS = np.array([31.0, 28.25, 31.0, 30.0, 31.0, 30.0, 31.0, 31.0, 30.0, 31.0, 30.0, 31.0])


def generated_rain_mm(
    month: DayArray, rain_mm: FloatArray, wet_days: FloatArray, seed: int
) -> FloatArray:
    """Rain of days whose means, over many years, are those of the months.

    Parameters
    ----------
    month : (days,) of each day, 0 to 11
    rain_mm, wet_days : (12,) mean rain of each month, and mean number of its wet days
    seed : the same gives the same days

    Returns
    -------
    (days,) mm

    Notes
    -----
    A Markov chain of two states, [Richardson1981]_: with a share f of wet days, a day is wet with
    probability 0.75 f after a dry one and 0.25 + 0.75 f after a wet one ([Geng1986]_), which keeps
    f. Depths of wet days follow the gamma distribution with scale −2.16 + 1.83 × their mean
    ([Geng1986]_), its shape held between 0.3 and 1 (the exponential distribution).
    """
    random = np.random.Generator(np.random.PCG64(seed))
    share = np.minimum(wet_days / MONTH_DAYS, 1.0)
    wet = _wet_days(share[month], random.random(month.size), random.random())
    # Months with more wet days than days keep their rain.
    days = np.minimum(wet_days, MONTH_DAYS)
    mean = np.divide(rain_mm, days, out=np.zeros(12), where=days > 0.0)
    scale = np.maximum(-2.16 + 1.83 * mean, 1e-9)
    shape = np.clip(mean / scale, *_SHAPES)
    depth = random.gamma(shape[month]) * (mean / shape)[month]
    return np.where(wet, depth, 0.0)


def _wet_days(share: FloatArray, drawn: FloatArray, first: float) -> BoolArray:
    """Which days are wet, (days,): each by its month's share and the day before."""
    after_dry = ((1.0 - _PERSISTENCE) * share).tolist()
    wet = bool(first < share[0]) if share.size else False
    found = np.zeros(share.size, dtype=bool)
    for day, (chance, number) in enumerate(zip(after_dry, drawn.tolist(), strict=True)):
        wet = number < chance + _PERSISTENCE * wet
        found[day] = wet
    return found
