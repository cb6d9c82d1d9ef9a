"""What a soil's texture says: how fast it soaks, how steep a cut face stands."""

import re
from dataclasses import dataclass
from functools import cache

import geopandas as gpd
import numpy as np
import shapely

from soakline import tables


@dataclass(frozen=True, slots=True)
class Soil:
    """Figures of one USDA texture class.

    Parameters
    ----------
    texture : such as `sandy-loam`
    group : `sandy`, `loamy` or `clayey`
    ksat_mm_h : saturated conductivity, mm/h, before clogging and amendment
    batter : horizontal per 1 vertical that a cut face is dug to by default
    """

    texture: str
    group: str
    ksat_mm_h: float
    batter: float


@cache
def soils() -> dict[str, Soil]:
    """Every texture of `config/soils.csv`, coarse to fine, by its name."""
    return {
        row["texture"]: Soil(
            row["texture"], row["group"], float(row["ksat_mm_h"]), float(row["batter"])
        )
        for row in tables.rows("soils.csv")
    }


def soil_for(texture: str) -> Soil:
    """Figures of a USDA texture.

    Parameters
    ----------
    texture : with hyphens, spaces or underscores, in any case, such as `sandy loam`

    Raises
    ------
    ValueError
        If the table has no such texture; the message names those it has.

    Notes
    -----
    Conductivities from [Rawls1982]_ Table 2. The 1983 paper prints loam and silt loam the other
    way round, so these two are the least certain. Groups by [SoilSurveyManual]_, batters as the
    table's `batter_source` says.

    Examples
    --------
    >>> soil_for("Sandy loam")
    Soil(texture='sandy-loam', group='loamy', ksat_mm_h=25.9, batter=2.0)
    """
    key = re.sub(r"[\s_-]+", "-", texture.strip().lower())
    try:
        return soils()[key]
    except KeyError:
        raise ValueError(f"no soil texture {texture!r}; there are {', '.join(soils())}") from None


def textures_on(layer: gpd.GeoDataFrame, area: shapely.Geometry) -> tuple[str, ...]:
    """Textures of the polygons of `soils` that meet an area, coarse to fine.

    Parameters
    ----------
    layer : the layer `soils`, its textures spelt as the table has them; a row may have none
    area : such as the property, in the same CRS
    """
    met = shapely.intersects(np.asarray(layer.geometry.array, dtype=object), area)
    found = set(layer["texture"][met])
    return tuple(texture for texture in soils() if texture in found)
