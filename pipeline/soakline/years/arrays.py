"""What the loop through the days is handed, and what it sums up."""

from enum import IntEnum
from typing import NamedTuple

from soakline.grid import FloatArray
from soakline.inputs.types import IndexArray


class Sum(IntEnum):
    """Columns of what `follow` sums up: m³, days, h, or a number of spells."""

    SHED = 0  # by the swale's own dry ground
    ON_WATER = 1  # rain on its water surface
    LED = 2  # released to it from elsewhere
    RECEIVED = 3  # from swales above
    SOAKED = 4
    EVAPORATED = 5
    SPILLED = 6
    BAND_RAIN = 7  # that soaks into the bands where it falls
    TREES = 8
    COVER = 9
    DRAINED = 10
    STRESS_DAYS = 11
    TREES_WITHOUT = 12
    COVER_WITHOUT = 13
    DRAINED_WITHOUT = 14
    STRESS_DAYS_WITHOUT = 15
    WET_DAYS = 16
    DRY_DAYS = 17
    LONGEST_WET_H = 18
    LONG_SPELLS = 19


class DayArrays(NamedTuple):
    """The weather of some days.

    Parameters
    ----------
    rain_m, et0_m : (days,)
    shed_m : (days, classes) runoff
    in_bands_m : (days,) rain less runoff on the ground of the bands
    month : (days,) 0 to 11
    """

    rain_m: FloatArray
    et0_m: FloatArray
    shed_m: FloatArray
    in_bands_m: FloatArray
    month: IndexArray


class PoolArrays(NamedTuple):
    """Water of the trenches.

    Parameters
    ----------
    dry_m2 : (swales, classes) ground that sheds to each
    ponded_m2 : (swales,) water surface that takes its rain
    led_m3 : (swales, 12) released to each on a day of each month
    unit_m3, soaking_m3s, rise_s : as of `soakline.water.level_pool.fill`; silt and roots counted
    surface_m2 : (swales, nodes) water surface at each node
    """

    dry_m2: FloatArray
    ponded_m2: FloatArray
    led_m3: FloatArray
    unit_m3: FloatArray
    soaking_m3s: FloatArray
    rise_s: FloatArray
    surface_m2: FloatArray


class BandArrays(NamedTuple):
    """Root zones; (swales, bands) unless told.

    Parameters
    ----------
    area_m2 : 0 where there is none
    fed_m2 : area that soaked water reaches
    holds_m, below_m : (swales,) water that plants can take from the root zone, full, and that the
        ground between it and the depth of full-grown roots holds besides
    reach : (swales,) share of soaked water that passes root zones
    tree_kc, cover_kc : crop coefficients by area of the band
    depletion_share : p
    """

    area_m2: FloatArray
    fed_m2: FloatArray
    holds_m: FloatArray
    below_m: FloatArray
    reach: FloatArray
    tree_kc: FloatArray
    cover_kc: FloatArray
    depletion_share: float


class ChainArrays(NamedTuple):
    """A part of the chain that no water joins to others, and who spills to whom.

    Parameters
    ----------
    order : (swales of the part,) each after all that spill into it
    first : (swales + 1,) first spill into each swale, and the number of spills
    sender, share : (spills,) who spills, and which share of its overflow
    """

    order: IndexArray
    first: IndexArray
    sender: IndexArray
    share: FloatArray


class State(NamedTuple):
    """What is carried from day to day; changed in place.

    Parameters
    ----------
    held_m3 : (swales,) in the trench
    wet_h : (swales,) since when water has stood in it without a break
    root_m, deep_m : (swales, bands, 2) that plants can take in the root zone and below it, with
        swales and without
    """

    held_m3: FloatArray
    wet_h: FloatArray
    root_m: FloatArray
    deep_m: FloatArray
