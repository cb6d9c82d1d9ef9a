"""What of a finished plan is set out and drawn."""

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from shapely.geometry.base import BaseGeometry

from soakline.grid import FloatArray
from soakline.inputs.elevation import VerticalUnit
from soakline.section.mound import MoundShape
from soakline.section.stretches import joined, stretches
from soakline.section.trench import Trench


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
    chainage_m, ground_m, base_level_m, cut_m : as in the plan
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


@dataclass(frozen=True, eq=False, slots=True)
class Swale:
    """One swale as it is dug.

    Parameters
    ----------
    swale_id : its id
    lip : (k, 2) the lip, uphill on the left, m
    level_m : of the lip
    sill_level_m : full water; under the lip's level where spoil is spread
    trench : Trench
    slope : of the ground across the line, rise over run
    crest_height_m : settled crest above the level; 0 where spoil is spread
    crest_width_m : of the mound, 0 where spoil is spread
    gaps_m : sills, start and end along the lip, m; the mound is left out there
    chainage_m, ground_m : (n,) of the pegs, for the ground along the lip
    peg_id, peg_kind : (n,)
    cut_m3, fill_m3, face_height_m : as in the plan
    """

    swale_id: str
    lip: FloatArray
    level_m: float
    sill_level_m: float
    trench: Trench
    slope: float
    crest_height_m: float
    crest_width_m: float
    gaps_m: tuple[tuple[float, float], ...]
    chainage_m: FloatArray
    ground_m: FloatArray
    peg_id: tuple[str, ...]
    peg_kind: tuple[str, ...]
    cut_m3: float
    fill_m3: float
    face_height_m: float

    @property
    def vertex_m(self) -> FloatArray:
        """Chainage of each vertex of the lip, m."""
        return np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(self.lip, axis=0).T))])

    @property
    def length_m(self) -> float:
        return float(self.vertex_m[-1])

    @property
    def base_level_m(self) -> float:
        return self.level_m - self.trench.depth_m

    @property
    def mounded_m(self) -> list[tuple[float, float]]:
        """Stretches of the lip that carry the mound, m."""
        if self.crest_height_m <= 0:
            return []
        along = stretches(np.array([self.length_m]), [joined(self.gaps_m)])
        own = along.where(along.mounded)
        return list(zip(own.start_m.tolist(), own.end_m.tolist(), strict=True))


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
    pegs : Pegs
    spillways : id to (easting, northing, sill level), m
    mound : what every mound has in common
    soil : texture and soaking rate, in words
    benchmark : None if the plan has none
    finished : when the plan was made, ISO 8601
    dem : names of the DEM's files with their SHA-256, as the record has them
    vertical_unit : of the DEM, as the run file had it
    """

    path: Path
    name: str
    crs_wkt: str
    outline: BaseGeometry
    swales: tuple[Swale, ...]
    pegs: Pegs
    spillways: Mapping[str, tuple[float, float, float]]
    mound: MoundShape
    soil: str
    benchmark: Benchmark | None
    finished: str
    dem: tuple[tuple[str, str], ...]
    vertical_unit: VerticalUnit
