"""Infiltration by Green and Ampt: how much of a storm the soil's own texture lets in."""

from dataclasses import dataclass
from functools import cache
from math import log1p

import numba
import numpy as np
import numpy.typing as npt

from soakline import tables
from soakline.grid import FloatArray
from soakline.water.curve_number import AntecedentCondition

EFFECTIVE_SATURATION: dict[AntecedentCondition, float] = {"I": 0.1, "II": 0.3, "III": 0.6}
"""Share of the effective porosity that holds water before the storm. 0.3 is that of the examples
4.3.1, 5.4.1 and 5.4.2 of [Chow1988]_; dry and wet ground are common practice, without a source."""

ENTRAPPED_AIR = 0.5
"""Conductivity behind the wetting front over the saturated one, [Bouwer1966]_."""

_NO_SUCTION_MM = 1e-9  # less changes nothing that could be measured
_NEWTON_STEPS = 60  # ends in under ten; a bound, so that the loop is seen to end


@dataclass(frozen=True, slots=True)
class GreenAmpt:
    """What Green and Ampt need to know of the ground when a storm begins.

    Parameters
    ----------
    conductivity_mm_h : K, behind the wetting front
    suction_deficit_mm : ψ Δθ: suction at the front times the room for water, 0 or more

    Raises
    ------
    ValueError
        If either is negative.
    """

    conductivity_mm_h: float
    suction_deficit_mm: float

    def __post_init__(self) -> None:
        if not (self.conductivity_mm_h >= 0.0 and self.suction_deficit_mm >= 0.0):
            raise ValueError(f"neither may be negative: {self}")


@cache
def _rows() -> dict[str, tuple[float, float, float]]:
    """Effective porosity, suction in mm and conductivity in mm/h by texture."""
    return {
        row["texture"]: (
            float(row["effective_porosity"]),
            float(row["suction_mm"]),
            float(row["conductivity_mm_h"]),
        )
        for row in tables.rows("green_ampt.csv")
    }


def green_ampt_for(
    texture: str, condition: AntecedentCondition, ksat_mm_h: float = 0.0
) -> GreenAmpt:
    """Parameters of a texture.

    Parameters
    ----------
    texture : a row of `config/green_ampt.csv`, such as `sandy-loam`
    condition : "I" dry, "II" ordinary or "III" wet before the storm
    ksat_mm_h : measured saturated conductivity, of which half counts; 0 takes the table's

    Raises
    ------
    ValueError
        If the table has no such texture, or the conductivity is negative.

    Notes
    -----
    Δθ = (1 − Se) θe, [Chow1988]_ eq. 4.3.10, with Se by condition (`EFFECTIVE_SATURATION`). The
    figures are averages of many soils of a class, [Rawls1983]_.

    Examples
    --------
    >>> round(green_ampt_for("silt-loam", "II").suction_deficit_mm, 1)
    56.7
    """
    if texture not in _rows():
        raise ValueError(f"no soil texture {texture!r}; there are {', '.join(_rows())}")
    if not ksat_mm_h >= 0.0:
        raise ValueError(f"conductivity cannot be negative: {ksat_mm_h} mm/h")
    porosity, suction_mm, conductivity_mm_h = _rows()[texture]
    deficit = (1.0 - EFFECTIVE_SATURATION[condition]) * porosity
    own_mm_h = ENTRAPPED_AIR * ksat_mm_h
    return GreenAmpt(own_mm_h or conductivity_mm_h, suction_mm * deficit)


def shed_mm(times_min: npt.ArrayLike, rain_mm: npt.ArrayLike, ground: GreenAmpt) -> FloatArray:
    """Depth that has run off by given times of a storm.

    Parameters
    ----------
    times_min : (n,) rising, from the storm's begin; rain is steady between them
    rain_mm : (n,) fallen by then, from 0, never falling
    ground : GreenAmpt

    Returns
    -------
    (n,) mm, from 0, never falling

    Raises
    ------
    ValueError
        If times or rain fall, or rain does not begin at 0.

    Notes
    -----
    [MeinLarson1973]_ for steady rain, interval by interval as in [Chow1988]_ section 5.4: capacity
    is f = K (1 + ψΔθ / F); what the rain brings beyond it runs off at once. Ground that is not
    ponded takes all rain until F reaches Fp = K ψΔθ / (i − K), found exactly inside an interval;
    from then on F − F₀ − ψΔθ ln((ψΔθ + F) / (ψΔθ + F₀)) = K (t − t₀), eq. 5.4.4. Nothing depends on
    where an interval of steady rain is divided.

    Examples
    --------
    >>> shed_mm([0, 60], [0, 50], GreenAmpt(6.5, 56.8)).round(1)
    array([ 0. , 19.8])
    """
    times = np.ascontiguousarray(times_min, dtype=np.float64)
    rain = np.ascontiguousarray(rain_mm, dtype=np.float64)
    if np.any(np.diff(times) < 0.0) or np.any(np.diff(rain) < 0.0) or rain[0] != 0.0:
        raise ValueError("times and cumulative rain never fall, and rain begins at 0")
    return np.asarray(
        _shed(times / 60.0, rain, ground.conductivity_mm_h, ground.suction_deficit_mm)
    )


@numba.njit(cache=True, nogil=True)
def _shed(
    times_h: FloatArray, rain_mm: FloatArray, conductivity: float, suction_deficit: float
) -> FloatArray:
    """`shed_mm`, in hours."""
    shed = np.zeros(times_h.size)
    infiltrated = 0.0
    for k in range(1, times_h.size):
        shed[k] = shed[k - 1]
        hours = times_h[k] - times_h[k - 1]
        fallen = rain_mm[k] - rain_mm[k - 1]
        after = infiltrated + fallen
        rate = fallen / hours if hours > 0.0 else 0.0
        if rate > conductivity:  # slower rain is slower than any capacity
            ponds_at = conductivity * suction_deficit / (rate - conductivity)
            if ponds_at < after:
                start = max(infiltrated, ponds_at)
                ponded_h = hours - (start - infiltrated) / rate
                left = after - start
                taken = _taken_ponded(start, ponded_h, left, conductivity, suction_deficit)
                shed[k] += left - taken
                after = start + taken
        infiltrated = after
    return shed


@numba.njit(cache=True, nogil=True)
def _taken_ponded(
    start: float, hours: float, most: float, conductivity: float, suction_deficit: float
) -> float:
    """What ponded ground takes in a time, mm; at most the rain of that time.

    With x taken beyond the start, x − ψΔθ ln(1 + x / (ψΔθ + F₀)) − K t is convex in x and not
    negative where x is all the rain: Newton's steps from there come down to the root and never
    pass it.
    """
    if suction_deficit < _NO_SUCTION_MM:
        return min(most, conductivity * hours)
    wet = suction_deficit + start
    taken = most
    for _ in range(_NEWTON_STEPS):
        over = taken - suction_deficit * log1p(taken / wet) - conductivity * hours
        nearer = taken - over * (wet + taken) / (start + taken)
        if nearer <= 0.0:
            return 0.0
        if nearer >= taken:
            break
        taken = nearer
    return taken
