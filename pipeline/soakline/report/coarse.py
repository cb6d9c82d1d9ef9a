"""Areas as fine as a map can show them: those of a large DEM have a corner at every cell."""

from collections.abc import Mapping

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely

from soakline.outputs.hillshade import Bounds

_PIXELS = 1600  # of a map's longer side
_AREAS = ("excluded_ground", "hollows", "property")


def for_maps(layers: Mapping[str, pd.DataFrame], bounds: Bounds) -> dict[str, pd.DataFrame]:
    """Thin out areas for drawing; every other layer stays.

    Parameters
    ----------
    layers : of the plan, by name
    bounds : west, south, east, north of what is shown, m

    Returns
    -------
    layers; of areas one row for each part that is larger than a pixel, and holes alike
    """
    pixel_m = max(bounds[2] - bounds[0], bounds[3] - bounds[1]) / _PIXELS
    return dict(layers) | {name: _thinned(layers[name], pixel_m) for name in _AREAS}


def _thinned(layer: pd.DataFrame, pixel_m: float) -> gpd.GeoDataFrame:
    parts = gpd.GeoDataFrame(layer).explode(ignore_index=True)
    parts = parts[parts.geometry.area > pixel_m**2]
    rings, part = shapely.get_rings(parts.geometry.to_numpy(), return_index=True)
    outer = np.r_[True, part[1:] != part[:-1]] if len(part) else np.zeros(0, bool)
    # Straightened without keeping a valid topology: only drawn, and many times faster.
    thin = shapely.simplify(rings, pixel_m, preserve_topology=False)
    kept = (shapely.get_num_coordinates(thin) > 3) & (
        outer | (shapely.area(shapely.polygons(rings)) > pixel_m**2)
    )
    kept_parts = np.unique(part[outer & kept])
    kept &= np.isin(part, kept_parts)
    shapes = np.array([shapely.Polygon(ring) for ring in thin[kept & outer]], dtype=object)
    holes: dict[int, list[shapely.LinearRing]] = {}
    for own, ring in zip(part[kept & ~outer], thin[kept & ~outer], strict=True):
        holes.setdefault(int(own), []).append(ring)
    for place, own in enumerate(kept_parts):
        if int(own) in holes:
            shapes[place] = shapely.Polygon(shapes[place].exterior, holes[int(own)])
    return parts.iloc[kept_parts].set_geometry(
        gpd.GeoSeries(shapes, crs=parts.crs, index=parts.index[kept_parts])
    )
