"""Years worked out again in plain steps, by what docs/years.md says: an obvious slow twin.

It shares no code with the balance. The trenches soak all that comes, so that no step is rounded.
"""

import numpy as np
import pytest

from soakline.planting.trees import BANDS
from soakline.runfile.sections import ClimateKeys
from soakline.years.arrays import Sum
from soakline.years.balance import SwaleGround, followed
from soakline.years.growing import Stand
from tests.years.swales import ground, stand, weather

YEARS, DAYS = 4, 120
KEYS = ClimateKeys(full_effect_years=3)


def runoff_mm(rain_mm: np.ndarray, day: int, number: float, dormant: bool) -> float:
    """TR-55 eq. 2-3; numbers for dry and wet ground by Chow, Maidment & Mays eq. 5.5.8, 5.5.9."""
    before = rain_mm[max(0, day - 5) : day].sum()
    dry, wet = (12.7, 27.94) if dormant else (35.56, 53.34)
    if number < 98.0:  # no rain before wets a roof
        if before < dry:
            number = 4.2 * number / (10.0 - 0.058 * number)
        elif before > wet:
            number = 23.0 * number / (10.0 + 0.13 * number)
    store = 25400.0 / number - 254.0
    rain = rain_mm[day]
    return (rain - 0.2 * store) ** 2 / (rain + 0.8 * store) if rain > 0.2 * store else 0.0


def by_hand(
    made: SwaleGround, trees: Stand, swale: int, rain_mm: np.ndarray, et0_mm: np.ndarray
) -> np.ndarray:
    """(years, 8): used by trees, by cover, drained, days of stress, with the swale and without."""
    crown, tall = 5.0, 6.0
    rate = -np.log(1.0 - 0.9 ** (1.0 / 1.5)) / 12.0
    count = dict.fromkeys(("mound", "uphill"), trees.count[0])
    first = {"mound": 1, "uphill": 3}
    strips = dict(zip(BANDS, made.strip_m2[swale], strict=True))
    bands = ("mound", "below", "uphill")
    area = {
        name: max(strips[name], count.get(name, 0.0) * np.pi / 4.0 * crown**2) for name in bands
    }
    water = made.plant_water[swale]
    root = {(name, how): 0.5 * water * 0.5 for name in bands for how in ("with", "without")}
    deep = dict.fromkeys(root, 0.5 * water * 0.7)
    month = np.arange(rain_mm.size) % DAYS * 12 // DAYS
    rests = [et0_mm[month == own].mean() < 1.5 for own in range(12)]
    told = np.zeros((YEARS, 8))
    for day in range(rain_mm.size):
        year = day // DAYS + 1
        effect = min((year - 1) / 2.0, 1.0)
        depth, whole = 0.5 + 0.7 * effect, 1.2
        shed, roof = (runoff_mm(rain_mm, day, n, rests[month[day]]) / 1000.0 for n in (79.0, 98.0))
        inflow = shed * made.dry_m2[swale, 0] + roof * made.dry_m2[swale, 1]
        inflow += rain_mm[day] / 1000.0 * made.pools.ponded_m2[swale]
        passes = 0.7 * depth / whole
        told[year - 1, 2] += (1.0 - passes) * inflow
        for name in bands:
            age = max(year + 0.5 - first.get(name, 99), 0.0)
            width = crown * (1.0 - np.exp(-rate * age)) ** 1.5
            share = min(count.get(name, 0.0) * np.pi / 4.0 * width**2 / area[name], 1.0)
            height = tall * width / crown
            of_trees = 0.9 * min(1.0, 2.0 * share, share ** (1.0 / (1.0 + height)))
            of_cover = 0.85 * (1.0 - share)
            wanted = (of_trees + of_cover) * et0_mm[day] / 1000.0
            p = min(max(0.5 + 0.04 * (5.0 - 1000.0 * wanted), 0.1), 0.8)
            for at, how in ((0, "with"), (4, "without")):
                held = root[name, how] + rain_mm[day] / 1000.0 - shed
                if how == "with" and name != "uphill":
                    held += passes * inflow / (area["mound"] + area["below"])
                full = water * depth
                stress = min(min(held, full) / ((1.0 - p) * full), 1.0)
                used = min(stress * wanted, held)
                root[name, how] = min(held - used, full)
                below = deep[name, how] + held - used - root[name, how]
                deep[name, how] = min(below, water * (whole - depth))
                part = of_trees / (of_trees + of_cover)
                told[year - 1, at] += part * used * area[name]
                told[year - 1, at + 1] += (1.0 - part) * used * area[name]
                told[year - 1, at + 2] += (below - deep[name, how]) * area[name]
                told[year - 1, at + 3] += (stress < 1.0) * area[name] / sum(area.values())
        if (day + 1) % DAYS == 0 and effect < 1.0:
            reached = 0.35 / (whole - depth)
            for key, held in deep.items():
                root[key] += reached * held
                deep[key] = (1.0 - reached) * held
    return told


def test_years_are_those_that_plain_steps_give() -> None:
    random = np.random.default_rng(8)
    days = YEARS * DAYS
    rain = np.where(random.random(days) < 0.3, random.gamma(0.7, 22.0, days), 0.0)
    et0 = 2.6 + 2.0 * np.cos(2.0 * np.pi * np.arange(days) / DAYS)
    made = ground(spills=(), soak_m_h=50.0)
    trees = stand(3)
    years = followed(made, trees, weather(rain, et0, YEARS), KEYS, longest_h=72.0)
    assert years.sum_of(Sum.SPILLED).max() == 0.0
    columns = (
        Sum.TREES, Sum.COVER, Sum.DRAINED, Sum.STRESS_DAYS,
        Sum.TREES_WITHOUT, Sum.COVER_WITHOUT, Sum.DRAINED_WITHOUT, Sum.STRESS_DAYS_WITHOUT,
    )  # fmt: skip
    for swale in range(3):
        told = by_hand(made, trees, swale, rain, et0)
        assert (told.sum(axis=0) > 0.0).all()
        assert years.sums[:, swale, columns] == pytest.approx(told, rel=1e-9)
