"""Diversion drains as they are dug, read from a plan."""

from dataclasses import dataclass

import geopandas as gpd
import shapely

from soakline.grid import FloatArray

COLUMNS = ("diversion_id", "swale_id", "base_width_m", "depth_m", "batter")
"""What is read of the layer `diversions`."""


@dataclass(frozen=True, eq=False, slots=True)
class Drain:
    """One drain as it is dug.

    Parameters
    ----------
    diversion_id, swale_id : its id, and the swale that it leads to
    bed : (n, 3) easting, northing and level of the bed's centre line, downhill, m
    base_width_m, depth_m, batter : trapezoid, freeboard included
    """

    diversion_id: str
    swale_id: str
    bed: FloatArray
    base_width_m: float
    depth_m: float
    batter: float


def drains_of(diversions: gpd.GeoDataFrame) -> tuple[Drain, ...]:
    """Drains of a plan's layer `diversions`; a drain's line lies on its banks, the bed below it."""
    found = []
    for row in diversions.itertuples():
        bed = shapely.get_coordinates(row.geometry, include_z=True)
        bed[:, 2] -= float(row.depth_m)
        found.append(
            Drain(
                str(row.diversion_id),
                str(row.swale_id),
                bed,
                float(row.base_width_m),
                float(row.depth_m),
                float(row.batter),
            )
        )
    return tuple(found)
