"""Figures of polygons that lips run through, as means along the lip."""

import geopandas as gpd
import numpy as np
import shapely

from soakline.grid import FloatArray
from soakline.section.soils import soil_for
from soakline.terrain.cells import GeometryArray


def along_lip(
    lines: list[FloatArray], polygons: GeometryArray, values: FloatArray, default: float
) -> FloatArray:
    """Mean of a figure along each lip, weighted by length.

    Parameters
    ----------
    lines : (k, 2) easting and northing of each, m
    polygons : (n,) valid polygons, in the same CRS
    values : (n,) figure of each polygon; NaN where it gives none
    default : the figure off the polygons that give one

    Returns
    -------
    (lines,); exactly `default` where a lip meets no polygon that gives a figure

    Notes
    -----
    Where polygons overlap the later one holds, as on rasters.
    """
    whole = np.empty(len(lines), dtype=object)
    whole[:] = [shapely.linestrings(line[:, :2]) for line in lines]
    rest, tree = whole.copy(), shapely.STRtree(whole)
    added, length = np.zeros(len(lines)), np.zeros(len(lines))
    for polygon, value in zip(polygons[::-1], values[::-1], strict=True):
        if np.isnan(value):
            continue
        met = np.sort(tree.query(polygon, predicate="intersects"))
        inside_m = shapely.length(shapely.intersection(rest[met], polygon))
        rest[met] = shapely.difference(rest[met], polygon)
        added[met] += value * inside_m
        length[met] += inside_m
    left_m = shapely.length(rest)
    total = length + left_m
    mean = np.full(len(lines), default)
    np.divide(added + default * left_m, total, out=mean, where=length > 0.0)
    return mean


def ksat_along_mm_h(
    lines: list[FloatArray], soils: gpd.GeoDataFrame, default_mm_h: float
) -> FloatArray:
    """Saturated conductivity of the soil under each swale, before clogging.

    What soaks through a base of even width is the sum over its length: the mean is exact.

    Parameters
    ----------
    lines : (k, 2) easting and northing of each lip, m
    soils : the layer `soils`, its textures spelt as `config/soils.csv` has them
    default_mm_h : the run file's, where no polygon gives `ksat_mm_h` or `texture`, mm/h

    Returns
    -------
    (lines,) mm/h

    Notes
    -----
    As in the run file, 0 or no `ksat_mm_h` stands for that of the texture.
    """
    given = soils["ksat_mm_h"].to_numpy(dtype=float, na_value=np.nan)
    of_texture = np.array(
        [soil_for(name).ksat_mm_h if isinstance(name, str) else np.nan for name in soils["texture"]]
    )
    values = np.where(given > 0.0, given, of_texture.reshape(given.shape))
    return along_lip(lines, np.asarray(soils.geometry.array, dtype=object), values, default_mm_h)
