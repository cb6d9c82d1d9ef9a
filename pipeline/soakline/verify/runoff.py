"""Runoff of each storm by the curve numbers on record (NEH 630, chapter 10; TR-55, eq. 2-3)."""

import re

import numpy as np

from soakline.verify.line import FloatArray, Line, within
from soakline.verify.reading import Plan

_GROUP = "water"
_WHAT = "runoff_m3 by the curve numbers on record"
_NUMBER = re.compile(r"CurveNumber\(number=([0-9.]+)\)")
_ABSTRACTED = 0.2
_OFF = 1e-6


def depth_mm(rain_mm: FloatArray, number: float) -> FloatArray:
    """Q = (P − 0.2 S)² / (P + 0.8 S), S = 25400 / CN − 254, mm.

    Examples
    --------
    >>> depth_mm(np.array([100.0, 5.0]), 75.0).round(1)
    array([41.1,  0. ])
    """
    held = 25400.0 / number - 254.0
    over = np.maximum(rain_mm - _ABSTRACTED * held, 0.0)
    return over**2 / (rain_mm + (1.0 - _ABSTRACTED) * held)


def check_runoff(plan: Plan) -> list[Line]:
    """A line about the volume that each storm sheds into each swale.

    Where all ground has one curve number the volume is exact. Where it has several, the plan does
    not tell how much of each lies in a catchment: the volume lies between the least and the most.
    """
    stated = [v for k, own in plan.record.items() if k.startswith("ground:") for v in own]
    numbers = [float(found[1]) for found in map(_NUMBER.search, stated) if found]
    if not numbers or len(numbers) < len(stated):
        return [within(_GROUP, _WHAT, "another way of losses", [], [], _OFF)]
    each = plan["swale_storms"]
    rain = plan["storms"].drop_duplicates("storm_id").set_index("storm_id")["depth_mm"]
    own = plan["swale_catchments"].drop_duplicates("swale_id").set_index("swale_id")
    dry = (own["area_m2"] - own["ponded_m2"]).reindex(each["swale_id"]).to_numpy(float)
    fallen = rain.reindex(each["storm_id"]).to_numpy(float)
    told = each["runoff_m3"].to_numpy(float)
    least, most = (depth_mm(fallen, k) * dry / 1000.0 for k in (min(numbers), max(numbers)))
    off = np.maximum(told - most, least - told) / np.maximum(most, 1e-3)
    allowed = f"1e-6 of it; curve number {min(numbers):g}"
    if max(numbers) > min(numbers):
        allowed = f"between curve numbers {min(numbers):g} and {max(numbers):g}"
    names = (each["swale_id"] + " in " + each["storm_id"]).to_numpy()
    return [within(_GROUP, _WHAT, allowed, np.maximum(off, 0.0), names, _OFF)]
