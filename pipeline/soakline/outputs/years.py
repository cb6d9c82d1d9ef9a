"""The `water_years` table."""

from collections.abc import Callable

import numpy as np
import pandas as pd

from soakline.outputs.columns import SCHEMAS, Columns, Values, frame
from soakline.outputs.designed import Designed
from soakline.years.arrays import Sum
from soakline.years.balance import Years

CAUGHT = (Sum.SHED, Sum.ON_WATER, Sum.LED)
_OF_SUMS: dict[str, tuple[Sum, ...]] = {
    "runoff_m3": CAUGHT,
    "received_m3": (Sum.RECEIVED,),
    "soaked_m3": (Sum.SOAKED,),
    "evaporated_m3": (Sum.EVAPORATED,),
    "spilled_m3": (Sum.SPILLED,),
    "rain_in_bands_m3": (Sum.BAND_RAIN,),
    "tree_use_m3": (Sum.TREES,),
    "cover_use_m3": (Sum.COVER,),
    "drained_m3": (Sum.DRAINED,),
    "longest_wet_h": (Sum.LONGEST_WET_H,),
    "stress_days": (Sum.STRESS_DAYS,),
    "tree_use_without_m3": (Sum.TREES_WITHOUT,),
    "cover_use_without_m3": (Sum.COVER_WITHOUT,),
    "drained_without_m3": (Sum.DRAINED_WITHOUT,),
    "stress_days_without": (Sum.STRESS_DAYS_WITHOUT,),
}
_COUNTED = {"wet_days": Sum.WET_DAYS, "dry_days": Sum.DRY_DAYS}


def water_years_table(plan: Designed) -> pd.DataFrame:
    """Every swale with all its years; no row where no weather is given."""
    schema, years = SCHEMAS["water_years"], plan.years
    if years is None:
        return frame(schema, [])
    return frame(schema, _columns(years, plan.placed.ids))


def _between(years: Years, each: Callable[[np.ndarray], np.ndarray]) -> dict[str, Values]:
    """Columns of trees between swales; 0 where none stands."""
    own, none = years.between, np.zeros_like(years.silt_share)
    by_year = {
        "between_rooted_m2": none if own is None else none + own.rooted_m2,
        "between_rain_m3": none if own is None else own.rain_m3,
        "between_tree_use_m3": none if own is None else own.trees_m3,
        "between_cover_use_m3": none if own is None else own.cover_m3,
        "between_drained_m3": none if own is None else own.drained_m3,
        "between_stored_m3": none if own is None else own.stored_m3[1:],
        "between_stress_days": none if own is None else own.stress_days,
    }
    return {name: each(values) for name, values in by_year.items()}


def _columns(years: Years, ids: list[str]) -> Columns:
    """Columns by swale, then year."""
    count, swales = years.silt_share.shape

    def each(by_year: np.ndarray) -> np.ndarray:
        """(years, swales) or (years,) as a column."""
        wide = by_year if by_year.ndim == 2 else by_year[:, None]
        return np.broadcast_to(wide, (count, swales)).T.ravel()

    found: dict[str, Values] = {
        "swale_id": np.repeat(np.array(ids, dtype=object), count),
        "year": np.tile(np.arange(1, count + 1), swales),
        "rain_mm": each(years.rain_mm),
        "et0_mm": each(years.et0_mm),
        "held_m3": each(years.held_m3[1:]),
        "rooted_m2": np.repeat(years.rooted_m2, count),
        "stored_m3": each(years.stored_m3[1:, :, 0]),
        "silt_pct": each(100.0 * years.silt_share),
        "desilted": each(years.desilted),
        "runoff_without_m3": each(years.shed_without_m3),
        "dry_days_without": each(years.dry_days),
    }
    found |= {name: each(years.sum_of(*own)) for name, own in _OF_SUMS.items()}
    found |= _between(years, each)
    found |= {name: each(years.sum_of(own)).astype(np.int64) for name, own in _COUNTED.items()}
    return found
