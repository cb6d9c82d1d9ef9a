"""Each swale's earth: spoil in and out, and the topsoil that is stripped first and put back."""

from dataclasses import dataclass

import numpy as np
import pandas as pd
import shapely

from soakline.grid import FloatArray
from soakline.ids import swale_id
from soakline.outputs.columns import SCHEMAS, Columns, frame
from soakline.outputs.designed import Designed


@dataclass(frozen=True, eq=False, slots=True)
class Topsoil:
    """Topsoil of every swale; all (swales,).

    Parameters
    ----------
    stripped_m3 : as it lay; all of it goes back
    from_m2 : ground that it is stripped from
    over_m2, back_m : mound that it is spread over, and how thick, m; NaN where no mound stands
    """

    stripped_m3: FloatArray
    from_m2: FloatArray
    over_m2: FloatArray
    back_m: FloatArray


def topsoil_of(plan: Designed) -> Topsoil:
    """What is stripped and spread back at each swale.

    The trench's topsoil is part of its cut and, settled, of the fill. That under the mound lies on
    top of it again, so that neither cut nor fill changes.
    """
    footprint = plan.works.footprint
    mound = np.asarray(shapely.area(footprint.mound))
    ground = shapely.area(footprint.ponded) + shapely.area(footprint.cut_slope) + mound
    stripped = ground * plan.run.earthworks.topsoil_m
    over = np.where(mound > 0.0, mound, np.nan)
    return Topsoil(stripped, ground, over, stripped / over)


def earthworks_table(plan: Designed) -> pd.DataFrame:
    """The `earthworks` table: spoil in and out of every swale, and its topsoil."""
    volumes, topsoil = plan.works.volumes, topsoil_of(plan)
    columns: Columns = {
        "swale_id": [swale_id(i) for i in range(volumes.cut_m3.size)],
        "cut_m3": volumes.cut_m3,
        "cut_between_m3": volumes.between_m3,
        "cut_below_m3": volumes.below_m3,
        "cut_track_m3": volumes.track_cut_m3,
        "cut_sill_m3": volumes.sill_cut_m3,
        "spoil_m3": volumes.spoil_m3,
        "short_m3": volumes.short_m3,
        "made_up_m3": volumes.made_up_m3,
        "mound_m3": volumes.mound_m3,
        "returns_m3": volumes.returns_m3,
        "track_fill_m3": volumes.track_fill_m3,
        "spread_m3": volumes.spread_m3,
        "left_over_m3": volumes.surplus_m3,
        "topsoil_m3": topsoil.stripped_m3,
        "topsoil_from_m2": topsoil.from_m2,
        "topsoil_over_m2": topsoil.over_m2,
        "topsoil_back_m": topsoil.back_m,
    }
    return frame(SCHEMAS["earthworks"], columns)
