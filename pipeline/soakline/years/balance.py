"""The water of every swale through the years: weather, pools, roots and silt together."""

from dataclasses import dataclass

import numpy as np

from soakline.cores import cores
from soakline.grid import BoolArray, FloatArray
from soakline.inputs.types import IndexArray
from soakline.planting.trees import BANDS
from soakline.runfile.sections import ClimateKeys
from soakline.water.network import Chain
from soakline.water.pools import NODES, Pools, surface_at_nodes
from soakline.weather.series import Weather
from soakline.years.arrays import BandArrays, DayArrays, PoolArrays, State, Sum
from soakline.years.days import shed_mm
from soakline.years.growing import (
    Stand,
    coefficients,
    effect,
    reached_share,
    root_area_m2,
    root_depth_m,
)
from soakline.years.kernel import DRY_DAY_M
from soakline.years.rainfed import Rainfed
from soakline.years.side_by_side import followed_days, parts_of

SILT_SHARE = 0.2
"""Of the capacity: once silt has taken it, a swale is dug out; common practice, no source."""
# Bands that soaked water reaches: all but the one uphill.
FED = np.array([band != "uphill" for band in BANDS])
_MOST_SILT = 0.95


@dataclass(frozen=True, eq=False, slots=True)
class SwaleGround:
    """What swales are, and what lies beside them; all (swales, …).

    Parameters
    ----------
    pools : Pools as dug
    chain : Chain
    dry_m2 : (swales, classes) catchment by class of ground, its own water left out
    curve_number, hard : (classes,) of the classes
    commonest : class that most of the land has
    base_m2 : (swales,) of the trench
    strip_m2 : (swales, bands) ground of the bands
    plant_water : (swales,) between field capacity and wilting point, share of the soil
    shaded : (years, swales) share of the trench under crowns, year by year
    led_m3 : (swales, 12) released to each on a day of each month
    """

    pools: Pools
    chain: Chain
    dry_m2: FloatArray
    curve_number: FloatArray
    hard: BoolArray
    commonest: int
    base_m2: FloatArray
    strip_m2: FloatArray
    plant_water: FloatArray
    shaded: FloatArray
    led_m3: FloatArray


@dataclass(frozen=True, eq=False, slots=True)
class Years:
    """What the years bring; the first axis is the year.

    Parameters
    ----------
    sums : (years, swales, columns of `Sum`)
    shed_without_m3 : (years, swales) runoff of the whole catchment, were there no swale
    held_m3 : (years + 1, swales) in the trench at the start and at each year's end
    stored_m3 : (years + 1, swales, 2) that plants can take from the ground of the bands, down to
        the depth of full-grown roots; with swales and without
    rooted_m2 : (swales,) ground of the bands
    silt_share : (years, swales) of the capacity taken by silt and leaves at each year's end
    desilted : (years, swales) dug out and reshaped after that year
    rain_mm, et0_mm : (years,)
    dry_days : (years,) with under 1 mm of rain
    rain_of_month_mm, et0_of_month_mm : (12,) means: rain of the month, evaporation of a day
    first_day, method, repeated_years : of the weather
    between : trees between swales; None where none were followed
    """

    sums: FloatArray
    shed_without_m3: FloatArray
    held_m3: FloatArray
    stored_m3: FloatArray
    rooted_m2: FloatArray
    silt_share: FloatArray
    desilted: BoolArray
    rain_mm: FloatArray
    et0_mm: FloatArray
    dry_days: IndexArray
    rain_of_month_mm: FloatArray
    et0_of_month_mm: FloatArray
    first_day: str
    method: str
    repeated_years: int
    between: Rainfed | None = None

    def sum_of(self, *columns: Sum) -> FloatArray:
        """Columns added up, (years, swales)."""
        return np.asarray(self.sums[:, :, list(columns)].sum(axis=2))


def followed(
    ground: SwaleGround, stand: Stand, weather: Weather, keys: ClimateKeys, longest_h: float
) -> Years:
    """Follow swales through all days of the weather.

    Parameters
    ----------
    ground : SwaleGround
    stand : the trees
    weather : Weather
    keys : of the run file
    longest_h : water may stand, h

    Returns
    -------
    Years

    Notes
    -----
    Within a year crowns, roots, soaking and room stay as they are; between two years crowns and
    roots grow, and silt and leaves take room or are dug out. What deeper roots come to reach was
    held below them before: nothing is made or lost.
    """
    swales, years = ground.base_m2.size, weather.years
    area_m2 = root_area_m2(stand, ground.strip_m2)
    parts = parts_of(ground.chain, cores())
    shed_m = shed_mm(weather, ground.curve_number, ground.hard, keys.dormant_et0_mm) / 1000.0
    state = _at_start(ground, area_m2, keys)
    sums, held, stored, silt = [], [state.held_m3.copy()], [_stored_m3(state, area_m2)], []
    desilted = np.zeros((years, swales), dtype=bool)
    taken_m3 = np.zeros(swales)
    surface_m2 = surface_at_nodes(ground.pools)
    for year in range(1, years + 1):
        days = _days(weather, shed_m, ground.commonest, year)
        silted = np.minimum(taken_m3 / ground.pools.full_m3, _MOST_SILT)
        pools = _pools(ground, surface_m2, silted, year, keys)
        bands = _bands(ground, stand, area_m2, year, keys)
        total = followed_days(days, pools, bands, parts, state, keys.storm_h, longest_h)
        sums.append(total)
        held.append(state.held_m3.copy())
        stored.append(_stored_m3(state, area_m2))
        taken_m3 = taken_m3 + total[:, Sum.SHED] * keys.silt_kg_m3 / (1000.0 * keys.silt_t_m3)
        shade = ground.shaded[min(year, len(ground.shaded)) - 1]
        taken_m3 = taken_m3 + ground.base_m2 * keys.litter_mm / 1000.0 * shade
        share = np.minimum(taken_m3 / ground.pools.full_m3, 1.0)
        silt.append(share)
        if keys.desilt_years:
            desilted[year - 1] = year % keys.desilt_years == 0
        else:
            desilted[year - 1] = share >= SILT_SHARE
        taken_m3 = np.where(desilted[year - 1], 0.0, taken_m3)
        _deepen(state, year, keys)
    return Years(
        sums=np.array(sums),
        shed_without_m3=_shed_without_m3(ground, weather, shed_m),
        held_m3=np.array(held),
        stored_m3=np.array(stored),
        rooted_m2=area_m2.sum(axis=1),
        silt_share=np.array(silt),
        desilted=desilted,
        rain_mm=np.bincount(weather.year, weather.rain_mm)[1:].astype(float),
        et0_mm=np.bincount(weather.year, weather.et0_mm)[1:].astype(float),
        dry_days=np.bincount(weather.year, weather.rain_mm < 1000.0 * DRY_DAY_M)[1:].astype(int),
        rain_of_month_mm=np.bincount(weather.month, weather.rain_mm, 13)[1:] / years,
        et0_of_month_mm=np.bincount(weather.month, weather.et0_mm, 13)[1:]
        / np.bincount(weather.month, minlength=13)[1:],
        first_day=weather.first_day,
        method=weather.method,
        repeated_years=weather.repeated_years,
    )


def _at_start(ground: SwaleGround, area_m2: FloatArray, keys: ClimateKeys) -> State:
    """Trenches empty, root zones as moist as the run file has it."""
    moist = keys.start_moisture_pct / 100.0 * ground.plant_water
    depths = (keys.root_depth_young_m, keys.root_depth_m - keys.root_depth_young_m)
    swales = area_m2.shape[0]
    root, deep = (
        np.ascontiguousarray(
            np.broadcast_to((moist * depth)[:, None, None], (*area_m2.shape, 2))
        ).astype(float, copy=True)
        for depth in depths
    )
    return State(np.zeros(swales), np.zeros(swales), root, deep)


def _stored_m3(state: State, area_m2: FloatArray) -> FloatArray:
    """Water that plants can take from the ground of all bands, (swales, 2) m³."""
    return np.asarray(np.einsum("sbc,sb->sc", state.root_m + state.deep_m, area_m2))


def _days(weather: Weather, shed_m: FloatArray, commonest: int, year: int) -> DayArrays:
    own = slice(*np.searchsorted(weather.year, (year, year + 1)))
    rain_m = weather.rain_mm[own] / 1000.0
    return DayArrays(
        rain_m=rain_m,
        et0_m=weather.et0_mm[own] / 1000.0,
        shed_m=shed_m[own],
        in_bands_m=rain_m - shed_m[own, commonest],
        month=weather.month[own] - 1,
    )


def _pools(
    ground: SwaleGround,
    surface_m2: FloatArray,
    silted: FloatArray,
    year: int,
    keys: ClimateKeys,
) -> PoolArrays:
    """Trenches with less room by silt, soaking more by roots and humus.

    Silt takes the same share of the volume at every height: it lies on the base and the sides.
    """
    pools = ground.pools
    gain = 1.0 + (keys.soak_gain - 1.0) * effect(year, keys)
    soaking = gain * pools.soak_m_s[:, None] * pools.wetted_m2
    full_m3 = pools.full_m3 * (1.0 - silted)
    unit_m3 = full_m3 / (NODES - 1) ** 2
    apart_m3 = unit_m3[:, None] * np.diff(np.arange(NODES) ** 2)
    return PoolArrays(
        dry_m2=ground.dry_m2,
        ponded_m2=pools.ponded_m2,
        led_m3=ground.led_m3,
        unit_m3=unit_m3,
        soaking_m3s=soaking,
        rise_s=np.diff(soaking, axis=1) / apart_m3,
        surface_m2=surface_m2,
    )


def _bands(
    ground: SwaleGround, stand: Stand, area_m2: FloatArray, year: int, keys: ClimateKeys
) -> BandArrays:
    tree_kc, cover_kc = coefficients(stand, area_m2, year, keys)
    depth = root_depth_m(year, keys)
    reach = keys.roots_reach_pct / 100.0 * depth / keys.root_depth_m
    return BandArrays(
        area_m2=area_m2,
        fed_m2=np.where(FED, area_m2, 0.0),
        holds_m=ground.plant_water * depth,
        below_m=ground.plant_water * (keys.root_depth_m - depth),
        reach=np.full(area_m2.shape[0], reach),
        tree_kc=tree_kc,
        cover_kc=cover_kc,
        depletion_share=keys.depletion_share,
    )


def _deepen(state: State, year: int, keys: ClimateKeys) -> None:
    """Give the root zone what the ground that roots grow into holds."""
    reached = reached_share(year, keys) * state.deep_m
    state.root_m[:] += reached
    state.deep_m[:] -= reached


def _shed_without_m3(ground: SwaleGround, weather: Weather, shed_m: FloatArray) -> FloatArray:
    """Runoff of whole catchments in each year, the swale's own water surface as the rest is."""
    by_year = np.array([np.bincount(weather.year, own)[1:] for own in shed_m.T]).T
    whole = by_year @ ground.dry_m2.T
    return whole + by_year[:, [ground.commonest]] * ground.pools.ponded_m2
