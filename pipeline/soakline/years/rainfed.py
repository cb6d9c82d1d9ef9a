"""Trees between swales through the years: no trench feeds them, they have the rain that falls."""

from dataclasses import dataclass

import numba
import numpy as np

from soakline.grid import FloatArray
from soakline.runfile.sections import ClimateKeys
from soakline.weather.series import Weather
from soakline.years.day_steps import critical_m, root_zone_day
from soakline.years.growing import (
    Stand,
    coefficients,
    reached_share,
    root_area_m2,
    root_depth_m,
)


@dataclass(frozen=True, eq=False, slots=True)
class Rainfed:
    """What trees between swales have of the rain, by the swale that their ground drains to.

    Parameters
    ----------
    rooted_m2 : (swales,) ground under their crowns, full-grown
    rain_m3, trees_m3, cover_m3, drained_m3 : (years, swales) rain that soaks in where it falls;
        used by trees, used by what grows between young crowns, drained below full-grown roots
    stress_days : (years, swales) on which plants get less than they could use
    stored_m3 : (years + 1, swales) that plants can take, at the start and at each year's end
    """

    rooted_m2: FloatArray
    rain_m3: FloatArray
    trees_m3: FloatArray
    cover_m3: FloatArray
    drained_m3: FloatArray
    stress_days: FloatArray
    stored_m3: FloatArray


def rainfed_years(
    stand: Stand,
    plant_water: FloatArray,
    weather: Weather,
    shed_m: FloatArray,
    keys: ClimateKeys,
) -> Rainfed:
    """Follow the trees between swales through all days of the weather.

    Parameters
    ----------
    stand : of these trees; `place` is the swale
    plant_water : (swales,) between field capacity and wilting point, share of the soil
    weather : Weather
    shed_m : (days,) that runs off their ground, to the swale below
    keys : of the run file

    Returns
    -------
    Rainfed

    Notes
    -----
    The bucket, the crowns and the roots are those of the bands ([FAO56]_ eq. 84 to 88). Trees take
    nothing of what runs off: the ground sheds as the land cover of the run file says.
    """
    swales = plant_water.size
    area_m2 = root_area_m2(stand, np.zeros((swales, 1)))
    moist = keys.start_moisture_pct / 100.0 * plant_water
    root_m = moist * keys.root_depth_young_m
    deep_m = moist * (keys.root_depth_m - keys.root_depth_young_m)
    own_m2 = area_m2[:, 0]
    rain_m3, trees_m3, cover_m3, drained_m3, stress = np.zeros((5, weather.years, swales))
    stored_m3 = [own_m2 * (root_m + deep_m)]
    for year in range(1, weather.years + 1):
        days = slice(*np.searchsorted(weather.year, (year, year + 1)))
        in_m = weather.rain_mm[days] / 1000.0 - shed_m[days]
        depth = root_depth_m(year, keys)
        tree_kc, cover_kc = (own[:, 0] for own in coefficients(stand, area_m2, year, keys))
        used_m, below_m, stressed = _follow(
            in_m,
            weather.et0_mm[days] / 1000.0,
            tree_kc + cover_kc,
            plant_water * depth,
            plant_water * (keys.root_depth_m - depth),
            keys.depletion_share,
            root_m,
            deep_m,
        )
        by_trees = tree_kc / (tree_kc + cover_kc)
        rain_m3[year - 1] = own_m2 * in_m.sum()
        trees_m3[year - 1] = own_m2 * used_m * by_trees
        cover_m3[year - 1] = own_m2 * used_m * (1.0 - by_trees)
        drained_m3[year - 1] = own_m2 * below_m
        stress[year - 1] = np.where(own_m2 > 0.0, stressed, 0.0)
        stored_m3.append(own_m2 * (root_m + deep_m))
        reached = reached_share(year, keys) * deep_m
        root_m, deep_m = root_m + reached, deep_m - reached
    return Rainfed(own_m2, rain_m3, trees_m3, cover_m3, drained_m3, stress, np.array(stored_m3))


@numba.njit(cache=True, error_model="numpy")
def _follow(
    in_m: FloatArray,
    et0_m: FloatArray,
    wanted_kc: FloatArray,
    holds_m: FloatArray,
    below_m: FloatArray,
    depletion_share: float,
    root_m: FloatArray,
    deep_m: FloatArray,
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Root zones through some days; `root_m` and `deep_m` become those at the end.

    Returns
    -------
    (swales,) m used and drained, and days of stress
    """
    used, drained, stressed = np.zeros((3, root_m.size))
    for swale in range(root_m.size):
        for day in range(in_m.size):
            wanted_m = wanted_kc[swale] * et0_m[day]
            critical = critical_m(wanted_m, holds_m[swale], depletion_share)
            root_m[swale], deep_m[swale], by_plants, below, ks = root_zone_day(
                root_m[swale],
                deep_m[swale],
                in_m[day],
                wanted_m,
                1.0 / critical,
                holds_m[swale],
                below_m[swale],
            )
            used[swale] += by_plants
            drained[swale] += below
            stressed[swale] += ks < 1.0
    return used, drained, stressed
