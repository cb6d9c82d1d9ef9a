"""What reading hands on: every value in the working CRS and in SI units."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

import geopandas as gpd
import numpy as np
import numpy.typing as npt
from shapely import MultiPolygon

from soakline.findings import Finding
from soakline.grid import FloatArray, Grid, GroundArray
from soakline.inputs.as_built import AsBuilt
from soakline.inputs.machines import Machine
from soakline.inputs.rain_pattern import RainPattern
from soakline.inputs.species import Species
from soakline.inputs.weather_table import WeatherTable
from soakline.inputs.wind_rose import WindRose

SwaleState = Literal["planned", "fixed", "built"]
"""Where a swale comes from: laid by the rule, a line that someone fixed, or dug already."""


@dataclass(frozen=True, eq=False, slots=True)
class Elevation:
    """The DEM as read (warped if it had to be), on the working grid.

    Parameters
    ----------
    grid : Grid
    dem_m : (rows, columns) float32, m; NaN where not valid; read-only
    """

    grid: Grid
    dem_m: GroundArray


@dataclass(frozen=True, eq=False, slots=True)
class Property:
    """The land that is planned for.

    Parameters
    ----------
    name : as the run file has it, else the boundary file's name
    area : in the working CRS, valid, without Z
    covered_pct : share of the area on valid DEM cells, percent; at least 99
    """

    name: str
    area: MultiPolygon
    covered_pct: float = 100.0


@dataclass(frozen=True, eq=False, slots=True)
class Features:
    """What stands on the land. One frame a layer, empty where the layer is not given.

    Every frame has the columns of the contract (missing ones filled with null), a plain RangeIndex,
    valid geometry without Z, and the working CRS.
    """

    buildings: gpd.GeoDataFrame
    septic: gpd.GeoDataFrame
    wells: gpd.GeoDataFrame
    protected: gpd.GeoDataFrame
    no_swales: gpd.GeoDataFrame
    watercourses: gpd.GeoDataFrame
    services: gpd.GeoDataFrame
    tracks: gpd.GeoDataFrame
    dams: gpd.GeoDataFrame
    safe_points: gpd.GeoDataFrame
    landslip: gpd.GeoDataFrame
    saline: gpd.GeoDataFrame
    soils: gpd.GeoDataFrame
    planting_blocks: gpd.GeoDataFrame
    land_cover: gpd.GeoDataFrame
    hard_surfaces: gpd.GeoDataFrame
    diversions: gpd.GeoDataFrame
    swale_points: gpd.GeoDataFrame
    given_swales: gpd.GeoDataFrame


@dataclass(frozen=True, eq=False, slots=True)
class RainTable:
    """Depths by duration and frequency.

    Parameters
    ----------
    duration_min : (n,) rising
    frequency : (k,) column heads as text: a return period in years ("10") or an AEP ("10%")
    depth_mm : (n, k)
    """

    duration_min: FloatArray
    frequency: tuple[str, ...]
    depth_mm: FloatArray


@dataclass(frozen=True, slots=True)
class SourceFile:
    """A file that was read, for the run record."""

    role: str
    path: str
    sha256: str


@dataclass(frozen=True, eq=False, slots=True)
class LandInputs:
    """What is read of the land."""

    elevation: Elevation
    property: Property
    features: Features
    sources: tuple[SourceFile, ...]
    findings: tuple[Finding, ...]


@dataclass(frozen=True, eq=False, slots=True)
class RainInputs:
    """What is read of the rain."""

    table: RainTable
    pattern: RainPattern | None
    sources: tuple[SourceFile, ...]
    findings: tuple[Finding, ...]


@dataclass(frozen=True, eq=False, slots=True)
class WorksInputs:
    """What is read of the works.

    Parameters
    ----------
    machine : Machine that digs
    rates : cost of one unit by item; None where no table is named
    as_built : levels measured after digging; None where no table is named
    species : that may be planted
    phases : phase of building by id of given swales; None where the run file names no column
    weather : measured; None where no table is named
    wind : WindRose; None where no table is named
    sources : files that were read
    """

    machine: Machine
    rates: dict[str, float] | None
    as_built: AsBuilt | None
    species: tuple[Species, ...]
    phases: Mapping[str, int] | None
    weather: WeatherTable | None
    wind: WindRose | None
    sources: tuple[SourceFile, ...]


@dataclass(frozen=True, eq=False, slots=True)
class Inputs:
    """All that a plan is made from, besides the run file's own keys."""

    elevation: Elevation
    property: Property
    features: Features
    rain: RainTable
    pattern: RainPattern | None
    works: WorksInputs
    sources: tuple[SourceFile, ...]
    findings: tuple[Finding, ...]

    @classmethod
    def of(cls, land: LandInputs, rain: RainInputs, works: WorksInputs) -> "Inputs":
        """Land, rain and works together."""
        return cls(
            land.elevation,
            land.property,
            land.features,
            rain.table,
            rain.pattern,
            works,
            (*land.sources, *rain.sources, *works.sources),
            (*land.findings, *rain.findings),
        )


IndexArray = npt.NDArray[np.int64]
