"""Water that is let out of dams into swales, as the layer of dams tells it."""

from collections.abc import Sequence

import geopandas as gpd
import numpy as np

from soakline.grid import FloatArray


def released_m3(dams: gpd.GeoDataFrame, ids: Sequence[str]) -> tuple[FloatArray, list[str]]:
    """What each swale is given on a day of each month.

    Parameters
    ----------
    dams : the layer; `release_swale` names the swale, `release_m3_day` the amount, the months from
        `release_from_month` to `release_to_month` when, across the turn of the year where the first
        is the later one; all months where none is told
    ids : of the swales

    Returns
    -------
    (swales, 12) m³; and swales that are named and not there
    """
    led = np.zeros((len(ids), 12))
    unknown = []
    place = {own: k for k, own in enumerate(ids)}
    for row in dams[dams["release_swale"].notna()].itertuples():
        swale = str(row.release_swale)
        if swale not in place:
            unknown.append(swale)
            continue
        first, last = (
            fallback if np.isnan(month) else int(month) - 1
            for month, fallback in ((row.release_from_month, 0), (row.release_to_month, 11))
        )
        months = (first + np.arange((last - first) % 12 + 1)) % 12
        led[place[swale], months] += np.nan_to_num(row.release_m3_day)
    return led, unknown
