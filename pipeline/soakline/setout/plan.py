"""What of a finished plan is set out and drawn."""

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

from shapely.geometry.base import BaseGeometry

from soakline.grid import FloatArray
from soakline.inputs.elevation import VerticalUnit
from soakline.setout.drains import Drain
from soakline.setout.swale import Swale


@dataclass(frozen=True, slots=True)
class Benchmark:
    """A fixed mark on site: place in the working CRS and level, m."""

    easting: float
    northing: float
    level_m: float


@dataclass(frozen=True, eq=False, slots=True)
class Pegs:
    """Pegs in the plan's order; all (n,), m.

    Parameters
    ----------
    peg_id, swale_id, kind : as in the plan
    easting, northing, level_m : of the peg on the lip
    chainage_m, ground_m, base_level_m, cut_m, dig_level_m, daylight_m, daylight_level_m : as in
        the plan
    """

    peg_id: tuple[str, ...]
    swale_id: tuple[str, ...]
    kind: tuple[str, ...]
    easting: FloatArray
    northing: FloatArray
    level_m: FloatArray
    chainage_m: FloatArray
    ground_m: FloatArray
    base_level_m: FloatArray
    cut_m: FloatArray
    dig_level_m: FloatArray
    daylight_m: FloatArray
    daylight_level_m: FloatArray


@dataclass(frozen=True, slots=True)
class Sight:
    """A pair of neighbouring swales.

    Parameters
    ----------
    above_id, below_id : of the swales
    distance_m : between the lips in plan
    drop_m : from the upper level to the lower one
    tree_height_m : of mature trees on the lower swale
    """

    above_id: str
    below_id: str
    distance_m: float
    drop_m: float
    tree_height_m: float


@dataclass(frozen=True, eq=False, slots=True)
class SetOutPlan:
    """A finished plan, as far as it is set out.

    Parameters
    ----------
    path : the GeoPackage
    name : of the property; the plan's file name where it has none
    crs_wkt : working CRS
    outline : of the property
    swales : in the plan's order
    drains : that lead water to swales, in the plan's order
    pegs : Pegs
    spillways : id to (easting, northing, sill level), m
    amendment : of the bases, in words; empty if there is none
    benchmark : None if the plan has none
    finished : when the plan was made, ISO 8601
    dem : names of the DEM's files with their SHA-256, as the record has them
    vertical_unit : of the DEM, as the run file had it
    sights : neighbouring swales, in the plan's order
    """

    path: Path
    name: str
    crs_wkt: str
    outline: BaseGeometry
    swales: tuple[Swale, ...]
    drains: tuple[Drain, ...]
    pegs: Pegs
    spillways: Mapping[str, tuple[float, float, float]]
    amendment: str
    benchmark: Benchmark | None
    finished: str
    dem: tuple[tuple[str, str], ...]
    vertical_unit: VerticalUnit
    sights: tuple[Sight, ...] = ()
