"""Follows 2,000 swales through 30 years of days and prints the seconds that it took, code warm."""

import json
import time

import numpy as np

from soakline.inputs.weather_table import WeatherTable
from soakline.planting.trees import BANDS
from soakline.runfile.sections import ClimateKeys
from soakline.water.network import Spill, chain_of
from soakline.water.pools import pools_of
from soakline.weather.series import weather_of
from soakline.years.balance import SwaleGround, followed
from soakline.years.growing import Stand

SWALES = 2000
ROWS = 80  # chains side by side, each 25 swales long
KEYS = ClimateKeys(years=30)
RAIN_MM = np.array([95.0, 90, 80, 60, 45, 35, 30, 40, 55, 70, 85, 95])
MONTHS = {
    "rain_mm": RAIN_MM,
    "wet_days": RAIN_MM / 8.0,
    "et0_mm": np.array([5.5, 5.0, 4.0, 2.7, 1.7, 1.2, 1.3, 1.9, 2.8, 3.8, 4.7, 5.4]),
}


def main() -> None:
    """Make a random chain with trees, follow it twice, print the second time as JSON."""
    random = np.random.default_rng(11)
    one = np.ones(SWALES)
    length = random.uniform(40.0, 400.0, SWALES)
    ground = SwaleGround(
        pools=pools_of(
            1.5 * one, 0.5 * one, 1.5 * one, length, 0.5 * one, 3.0 * length, 0.0066 * one,
            random.uniform(1.0, 20.0, SWALES), 1.45,
        ),
        chain=chain_of(SWALES, [Spill(i, i + ROWS, 1.0) for i in range(SWALES - ROWS)]),
        dry_m2=(length * random.uniform(60.0, 120.0, SWALES))[:, None],
        curve_number=np.array([79.0]),
        hard=np.array([False]),
        commonest=0,
        base_m2=1.5 * length,
        strip_m2=length[:, None] * np.array([2.5, 2.0, 2.0, 0.0]),
        plant_water=0.13 * one,
        shaded=np.full((KEYS.years, SWALES), 0.5),
        led_m3=np.zeros((SWALES, 12)),
    )  # fmt: skip
    bands = len(BANDS) - 1  # none in the trench
    place = (np.arange(SWALES)[:, None] * len(BANDS) + np.arange(bands)).ravel()
    each = np.ones(place.size)
    stand = Stand(place, np.repeat(length / 5.0, bands), 5.0 * each, 6.0 * each, 12.0 * each, each)
    weather = weather_of(WeatherTable(None, MONTHS), KEYS, -35.0, 300.0)

    def follow() -> float:
        began = time.perf_counter()
        followed(ground, stand, weather, KEYS, 72.0)
        return time.perf_counter() - began

    follow()
    print(json.dumps({"seconds": follow(), "days": weather.rain_mm.size}))


if __name__ == "__main__":
    main()
