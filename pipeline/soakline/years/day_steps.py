"""One day of a trench, and one of a root zone; compiled into the loop that calls them."""

import numba
import numpy as np

from soakline.water.level_pool import fill
from soakline.years.arrays import PoolArrays

DAY_S = 86_400.0


@numba.njit(cache=True, nogil=True, error_model="numpy")
def critical_m(wanted_m: float, holds_m: float, share: float) -> float:
    """Water in the root zone under which plants are short: (1 − p) × what it holds.

    p follows the evaporation of the day, [FAO56]_ Table 22, note: p + 0.04 (5 − mm), 0.1 to 0.8.
    """
    by_day = min(max(share + 0.04 * (5.0 - 1000.0 * wanted_m), 0.1), 0.8)
    return (1.0 - by_day) * holds_m


@numba.njit(cache=True, nogil=True, error_model="numpy")
def root_zone_day(
    root_m: float,
    deep_m: float,
    comes_m: float,
    wanted_m: float,
    per_critical_m: float,
    holds_m: float,
    below_m: float,
) -> tuple[float, float, float, float, float]:
    """One root zone through a day.

    Parameters
    ----------
    root_m, deep_m : held at the start, in the root zone and below it
    comes_m : rain and soaked water that enter
    wanted_m : crop evapotranspiration without stress
    per_critical_m : 1 / `critical_m`
    holds_m, below_m : most that each holds

    Returns
    -------
    m held in the root zone and below it at the end; used; drained below both; Ks

    Notes
    -----
    [FAO56]_ eq. 84 to 88 with depletion = holds − held: water enters, plants take Ks × what they
    want, what is over field capacity then drains.
    """
    there_m = root_m + comes_m
    ks = min(min(there_m, holds_m) * per_critical_m, 1.0)
    used = min(ks * wanted_m, there_m)
    left_m = there_m - used
    root_m = min(left_m, holds_m)
    deep_m += left_m - root_m
    kept_m = min(deep_m, below_m)
    return root_m, kept_m, used, deep_m - kept_m, ks


@numba.njit(cache=True, nogil=True, error_model="numpy")
def pool_day(
    held_m3: float,
    inflow_m3: float,
    storm_s: float,
    evaporation_m: float,
    pools: PoolArrays,
    swale: int,
) -> tuple[float, float, float, float, float]:
    """One trench through a day whose water comes in its first hours.

    Parameters
    ----------
    held_m3 : at the start
    inflow_m3 : of the day, steady over `storm_s`
    storm_s : s
    evaporation_m : of open water in a whole day
    pools, swale : which

    Returns
    -------
    m³ held at the end, soaked, evaporated, spilled; hours that water stood

    Notes
    -----
    Filling, soaking and drying out are solved exactly from node to node of the swale's curve.
    What comes while it is full and does not soak spills. Evaporation goes by the surface after the
    inflow and the hours that water stands.
    """
    unit_m3 = pools.unit_m3[swale]
    nodes = pools.rise_s.shape[1]
    full_m3 = nodes * nodes * unit_m3
    # Where silt has taken room since yesterday.
    spilled = max(held_m3 - full_m3, 0.0)
    held_m3 -= spilled
    rate_m3s = inflow_m3 / storm_s
    if held_m3 == 0.0 and rate_m3s <= pools.soaking_m3s[swale, 0]:
        # Most rain does not even wet the base.
        return 0.0, inflow_m3, 0.0, spilled, 0.0
    node = min(int(np.sqrt(held_m3 / unit_m3)), nodes - 1)
    held_m3, soaked, left_s, node = fill(
        held_m3, rate_m3s, storm_s, unit_m3, pools.soaking_m3s, pools.rise_s, swale, node
    )
    dry_s = 0.0
    if left_s > 0.0 and held_m3 > 0.0:
        full_rate = pools.soaking_m3s[swale, nodes]
        soaked += full_rate * left_s
        spilled += (rate_m3s - full_rate) * left_s
    elif left_s > 0.0:
        soaked += rate_m3s * left_s
        dry_s = left_s
    low, high = pools.surface_m2[swale, node], pools.surface_m2[swale, node + 1]
    place = (held_m3 / unit_m3 - node * node) / (2 * node + 1)
    surface_m2 = low + place * (high - low)
    if held_m3 > 0.0:
        held_m3, more, left_s, node = fill(
            held_m3, 0.0, DAY_S - storm_s, unit_m3, pools.soaking_m3s, pools.rise_s, swale, node
        )
        soaked += more
        dry_s += left_s
    else:
        dry_s += DAY_S - storm_s
    wet = 1.0 - dry_s / DAY_S
    wanted = evaporation_m * surface_m2 * wet
    from_pool = min(wanted, held_m3)
    from_soaked = min(wanted - from_pool, soaked)
    return (
        held_m3 - from_pool,
        soaked - from_soaked,
        from_pool + from_soaked,
        spilled,
        24.0 * wet,
    )
