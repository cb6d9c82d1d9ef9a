"""The compiled loop that takes swales and their root zones through some days, down the chain."""

import numba
import numpy as np

from soakline.grid import FloatArray
from soakline.years.arrays import BandArrays, ChainArrays, DayArrays, PoolArrays, State, Sum
from soakline.years.day_steps import critical_m, pool_day, root_zone_day

OPEN_WATER_KC = 1.05
"""Crop coefficient of shallow open water, [FAO56]_ Table 12; from memory."""
DRY_DAY_M = 0.001
"""Of rain; a day with less is dry, as climatologists count (WMO)."""
WET_DAY_H = 1.0
"""From so long on, water that stands in a trench makes a wet day of it."""


@numba.njit(cache=True, nogil=True, error_model="numpy")
def _trench_days(
    swale: int,
    days: DayArrays,
    pools: PoolArrays,
    chain: ChainArrays,
    state: State,
    spilled_m3: FloatArray,
    soaked_m3: FloatArray,
    storm_s: float,
    longest_h: float,
    total: FloatArray,
) -> None:
    """One trench through all days: fills `soaked_m3` and its row of `spilled_m3`, adds to totals.

    What spills into it has been followed before.
    """
    for day in range(days.rain_m.size):
        rain_m = days.rain_m[day]
        shed = 0.0
        if rain_m > 0.0:
            for kind in range(days.shed_m.shape[1]):
                shed += days.shed_m[day, kind] * pools.dry_m2[swale, kind]
        on_water = rain_m * pools.ponded_m2[swale]
        led = pools.led_m3[swale, days.month[day]]
        received = 0.0
        for spill in range(chain.first[swale], chain.first[swale + 1]):
            received += chain.share[spill] * spilled_m3[chain.sender[spill], day]
        inflow = shed + on_water + led + received
        wet_h = 0.0
        soaked_m3[day] = 0.0
        if inflow > 0.0 or state.held_m3[swale] > 0.0:
            evaporation_m = OPEN_WATER_KC * days.et0_m[day]
            held, soaked, evaporated, spilled, wet_h = pool_day(
                state.held_m3[swale], inflow, storm_s, evaporation_m, pools, swale
            )
            state.held_m3[swale] = held
            spilled_m3[swale, day] = spilled
            soaked_m3[day] = soaked
            total[Sum.SHED] += shed
            total[Sum.ON_WATER] += on_water
            total[Sum.LED] += led
            total[Sum.RECEIVED] += received
            total[Sum.SOAKED] += soaked
            total[Sum.EVAPORATED] += evaporated
            total[Sum.SPILLED] += spilled
        total[Sum.WET_DAYS] += wet_h >= WET_DAY_H
        total[Sum.DRY_DAYS] += wet_h < WET_DAY_H and rain_m < DRY_DAY_M
        before_h = state.wet_h[swale]
        since_h = before_h + wet_h
        total[Sum.LONGEST_WET_H] = max(total[Sum.LONGEST_WET_H], since_h)
        total[Sum.LONG_SPELLS] += before_h <= longest_h < since_h
        state.wet_h[swale] = since_h if state.held_m3[swale] > 0.0 else 0.0


@numba.njit(cache=True, nogil=True, error_model="numpy")
def _band_days(
    swale: int,
    band: int,
    days: DayArrays,
    bands: BandArrays,
    fed_per_m2: float,
    soaked_m3: FloatArray,
    state: State,
    total: FloatArray,
) -> None:
    """One band's root zone through all days, with swales and without beside each other."""
    tree_kc, cover_kc = bands.tree_kc[swale, band], bands.cover_kc[swale, band]
    wanted_kc = tree_kc + cover_kc
    holds_m, below_m = bands.holds_m[swale], bands.below_m[swale]
    root, bare_root = state.root_m[swale, band]
    deep, bare_deep = state.deep_m[swale, band]
    used, drained, stressed = 0.0, 0.0, 0
    bare_used, bare_drained, bare_stressed = 0.0, 0.0, 0
    for day in range(days.et0_m.size):
        wanted_m = wanted_kc * days.et0_m[day]
        per_critical_m = 1.0 / critical_m(wanted_m, holds_m, bands.depletion_share)
        rain_m = days.in_bands_m[day]
        root, deep, by_plants, below, ks = root_zone_day(
            root,
            deep,
            rain_m + fed_per_m2 * soaked_m3[day],
            wanted_m,
            per_critical_m,
            holds_m,
            below_m,
        )
        used += by_plants
        drained += below
        stressed += ks < 1.0
        bare_root, bare_deep, by_plants, below, ks = root_zone_day(
            bare_root, bare_deep, rain_m, wanted_m, per_critical_m, holds_m, below_m
        )
        bare_used += by_plants
        bare_drained += below
        bare_stressed += ks < 1.0
    state.root_m[swale, band] = (root, bare_root)
    state.deep_m[swale, band] = (deep, bare_deep)
    own_m2 = bands.area_m2[swale, band]
    by_trees = tree_kc / wanted_kc if wanted_kc > 0.0 else 0.0
    total[Sum.TREES] += used * own_m2 * by_trees
    total[Sum.COVER] += used * own_m2 * (1.0 - by_trees)
    total[Sum.DRAINED] += drained * own_m2
    total[Sum.TREES_WITHOUT] += bare_used * own_m2 * by_trees
    total[Sum.COVER_WITHOUT] += bare_used * own_m2 * (1.0 - by_trees)
    total[Sum.DRAINED_WITHOUT] += bare_drained * own_m2
    share = own_m2 / bands.area_m2[swale].sum()
    total[Sum.STRESS_DAYS] += stressed * share
    total[Sum.STRESS_DAYS_WITHOUT] += bare_stressed * share


@numba.njit(cache=True, nogil=True, error_model="numpy")
def _swale_days(
    swale: int,
    days: DayArrays,
    pools: PoolArrays,
    bands: BandArrays,
    chain: ChainArrays,
    state: State,
    spilled_m3: FloatArray,
    storm_s: float,
    longest_h: float,
    total: FloatArray,
) -> None:
    """One swale through all days: its trench, then the root zones beside it."""
    soaked_m3 = np.empty(days.rain_m.size)
    _trench_days(swale, days, pools, chain, state, spilled_m3, soaked_m3, storm_s, longest_h, total)
    fed_m2 = bands.fed_m2[swale].sum()
    # All of it goes straight down where there is no root zone beside the trench.
    reach = bands.reach[swale] if fed_m2 > 0.0 else 0.0
    total[Sum.DRAINED] += (1.0 - reach) * total[Sum.SOAKED]
    for band in range(bands.area_m2.shape[1]):
        own_m2 = bands.area_m2[swale, band]
        if own_m2 == 0.0:
            continue
        share = bands.fed_m2[swale, band] / fed_m2 if fed_m2 > 0.0 else 0.0
        total[Sum.BAND_RAIN] += own_m2 * days.in_bands_m.sum()
        _band_days(swale, band, days, bands, reach * share / own_m2, soaked_m3, state, total)


@numba.njit(cache=True, nogil=True, error_model="numpy")
def follow(
    days: DayArrays,
    pools: PoolArrays,
    bands: BandArrays,
    chain: ChainArrays,
    state: State,
    storm_s: float,
    longest_h: float,
    spilled_m3: FloatArray,
    sums: FloatArray,
) -> None:
    """Swales of one part of the chain through some days; parts may be followed side by side.

    Parameters
    ----------
    days, pools, bands, chain : what does not change in these days
    state : at the start; changed to that at the end
    storm_s : in which a day's water comes, s
    longest_h : a spell of standing water over it counts as long, h
    spilled_m3 : (swales, days) zeros; filled
    sums : (swales, columns of `Sum`) zeros; filled with totals, of `LONGEST_WET_H` the greatest
    """
    for swale in chain.order:
        _swale_days(
            swale,
            days,
            pools,
            bands,
            chain,
            state,
            spilled_m3,
            storm_s,
            longest_h,
            sums[swale],
        )
