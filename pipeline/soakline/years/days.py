"""What each day's rain sheds, by the rain of the days before."""

import numpy as np

from soakline.grid import BoolArray, FloatArray
from soakline.water.curve_number import AntecedentCondition, antecedent_curve_number, runoff_mm
from soakline.weather.generated import DayArray
from soakline.weather.series import Weather

# Rain of the five days before, mm: under the first the ground is dry (I), over the second wet
# (III). [NEH4]_ Table 4.2, from memory: 1.4 and 2.1 in while plants grow, 0.5 and 1.1 in at rest.
GROWING_MM = (35.56, 53.34)
DORMANT_MM = (12.7, 27.94)
_BEFORE = 5


def rain_before_mm(rain_mm: FloatArray) -> FloatArray:
    """Rain of the five days before each day, (days,) mm; before the first day none is known.

    Examples
    --------
    >>> rain_before_mm(np.array([1.0, 2, 3, 4, 5, 6, 7])).tolist()
    [0.0, 1.0, 3.0, 6.0, 10.0, 15.0, 20.0]
    """
    fallen = np.concatenate([[0.0], np.cumsum(rain_mm)])
    days = np.arange(rain_mm.size)
    return np.asarray(fallen[days] - fallen[np.maximum(days - _BEFORE, 0)])


def dormant_months(weather: Weather, limit_mm: float) -> BoolArray:
    """Months whose mean reference evapotranspiration is under a limit, (13,); the first is none."""
    days = np.bincount(weather.month, minlength=13)
    total = np.bincount(weather.month, weather.et0_mm, minlength=13)
    return np.asarray(total < limit_mm * days)


def antecedent_conditions(
    rain_mm: FloatArray, month: DayArray, dormant: BoolArray
) -> list[AntecedentCondition]:
    """Condition of the ground before each day's rain."""
    before = rain_before_mm(rain_mm)
    limits = np.where(dormant[month][:, None], DORMANT_MM, GROWING_MM)
    wetness = (before >= limits[:, 0]).astype(int) + (before > limits[:, 1])
    names: tuple[AntecedentCondition, ...] = ("I", "II", "III")
    return [names[own] for own in wetness.tolist()]


def shed_mm(
    weather: Weather, curve_number: FloatArray, hard: BoolArray, dormant_et0_mm: float
) -> FloatArray:
    """Runoff of each day from each class of ground.

    Parameters
    ----------
    weather : Weather
    curve_number, hard : (classes,) for condition II; roofs and paving, which no rain before wets
    dormant_et0_mm : plants rest in months under it, mm a day

    Returns
    -------
    (days, classes) mm
    """
    condition = np.array(
        antecedent_conditions(
            weather.rain_mm, weather.month, dormant_months(weather, dormant_et0_mm)
        )
    )
    shed = np.zeros((weather.rain_mm.size, curve_number.size))
    names: tuple[AntecedentCondition, ...] = ("I", "II", "III")
    for name in names:
        now = np.flatnonzero((condition == name) & (weather.rain_mm > 0.0))
        number = np.where(hard, curve_number, antecedent_curve_number(curve_number, name))
        shed[now] = runoff_mm(weather.rain_mm[now, None], number)
    return shed
