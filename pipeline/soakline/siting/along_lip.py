"""Figures and soils of polygons that lips run through, by their length along the lip."""

from collections.abc import Iterator

import geopandas as gpd
import numpy as np
import shapely

from soakline.grid import BoolArray, FloatArray
from soakline.section.soils import soil_for
from soakline.section.soils import soils as all_soils
from soakline.section.stations import IntArray
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
    rest = _lips(lines)
    added, length = np.zeros(len(lines)), np.zeros(len(lines))
    for polygon, met, inside_m in _inside(rest, polygons, ~np.isnan(values)):
        added[met] += values[polygon] * inside_m
        length[met] += inside_m
    left_m = shapely.length(rest)
    total = length + left_m
    mean = np.full(len(lines), default)
    np.divide(added + default * left_m, total, out=mean, where=length > 0.0)
    return mean


def length_by_texture_m(
    lines: list[FloatArray], soils: gpd.GeoDataFrame, default: str
) -> FloatArray:
    """Length of each lip in soil of each texture.

    Parameters
    ----------
    lines : (k, 2) easting and northing of each lip, m
    soils : the layer `soils`, its textures spelt as `config/soils.csv` has them
    default : the run file's, where no polygon gives a `texture`

    Returns
    -------
    (lines, textures) m, in the order of `config/soils.csv`: coarse to fine
    """
    known = list(all_soils())
    given = np.array([isinstance(name, str) for name in soils["texture"]], dtype=bool)
    rest = _lips(lines)
    length = np.zeros((len(lines), len(known)))
    for polygon, met, inside_m in _inside(rest, _polygons(soils), given):
        length[met, known.index(soils["texture"].iloc[polygon])] += inside_m
    length[:, known.index(default)] += shapely.length(rest)
    return length


def texture_along(
    lines: list[FloatArray], soils: gpd.GeoDataFrame, default: str
) -> tuple[str, ...]:
    """Texture of the soil that most of each lip lies on.

    Parameters
    ----------
    lines, soils, default : as for `length_by_texture_m`

    Returns
    -------
    of each lip; of two that lie along as much of it the coarser one, whose faces are cut flatter
    """
    known = list(all_soils())
    most = np.argmax(length_by_texture_m(lines, soils, default), axis=1)
    return tuple(known[k] for k in most)


def _lips(lines: list[FloatArray]) -> GeometryArray:
    lips = np.empty(len(lines), dtype=object)
    lips[:] = [shapely.linestrings(line[:, :2]) for line in lines]
    return lips


def _polygons(layer: gpd.GeoDataFrame) -> GeometryArray:
    return np.asarray(layer.geometry.array, dtype=object)


def _inside(
    rest: GeometryArray, polygons: GeometryArray, given: BoolArray
) -> Iterator[tuple[int, IntArray, FloatArray]]:
    """Polygons that tell something, the last first: its number, lips met, their length in it, m.

    What lies in a polygon is taken out of `rest`, so that no earlier one counts it again.
    """
    tree = shapely.STRtree(rest.copy())
    for polygon in np.flatnonzero(given)[::-1].tolist():
        met = np.sort(tree.query(polygons[polygon], predicate="intersects"))
        inside_m = shapely.length(shapely.intersection(rest[met], polygons[polygon]))
        rest[met] = shapely.difference(rest[met], polygons[polygon])
        yield polygon, met, inside_m


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
    return along_lip(lines, _polygons(soils), values, default_mm_h)
