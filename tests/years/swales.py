"""Swales, trees and weather of any size, made for the daily balance."""

import numpy as np

from soakline.planting.trees import BANDS
from soakline.water.network import Spill, chain_of
from soakline.water.pools import Pools, pools_of
from soakline.weather.series import Weather
from soakline.years.balance import SwaleGround
from soakline.years.growing import Stand


def pools(swales: int, soak_m_h: float = 0.0066, batter: float = 1.5) -> Pools:
    one = np.ones(swales)
    length = np.linspace(40.0, 90.0, swales)
    return pools_of(
        1.5 * one,
        0.5 * one,
        batter * one,
        length,
        0.5 * one,
        3.0 * length,
        soak_m_h * one,
        2.0 * one,
        1.45,
    )


def ground(
    swales: int = 3,
    spills: tuple[Spill, ...] = (Spill(0, 1, 0.75), Spill(0, 2, 0.25), Spill(1, 2, 1.0)),
    soak_m_h: float = 0.0066,
    dry_m2: float = 8000.0,
) -> SwaleGround:
    made = pools(swales, soak_m_h)
    one = np.ones(swales)
    return SwaleGround(
        pools=made,
        chain=chain_of(swales, list(spills)),
        dry_m2=np.stack([dry_m2 * one, 0.05 * dry_m2 * one], axis=1),
        curve_number=np.array([79.0, 98.0]),
        hard=np.array([False, True]),
        commonest=0,
        base_m2=1.5 * made.trough.base_length_m,
        strip_m2=np.stack([100.0 * one, 80.0 * one, 60.0 * one, 0.0 * one], axis=1),
        plant_water=np.linspace(0.08, 0.15, swales),
        shaded=np.zeros((1, swales)),
        led_m3=np.zeros((swales, 12)),
    )


def stand(swales: int, trees: float = 6.0) -> Stand:
    """Trees of year 1 on mounds and of year 3 uphill of every swale."""
    place = np.arange(swales) * len(BANDS)
    both = np.concatenate([place + BANDS.index("mound"), place + BANDS.index("uphill")])
    one = np.ones(both.size)
    return Stand(both, trees * one, 5.0 * one, 6.0 * one, 12.0 * one, np.repeat([1.0, 3.0], swales))


def no_trees() -> Stand:
    none = np.zeros(0)
    return Stand(np.zeros(0, dtype=np.int64), none, none, none, none, none)


def weather(rain_mm: np.ndarray, et0_mm: np.ndarray, years: int = 1) -> Weather:
    """Days shared out evenly over some years and all months."""
    days = rain_mm.size
    within = np.arange(days) % (days // years)
    return Weather(
        month=within * 12 // (days // years) + 1,
        year=np.minimum(np.arange(days) // (days // years), years - 1) + 1,
        rain_mm=rain_mm.astype(float),
        et0_mm=et0_mm.astype(float),
        first_day="2001-01-01",
        method="as given",
        repeated_years=0,
    )
