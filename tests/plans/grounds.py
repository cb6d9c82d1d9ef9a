"""Grounds that plans are tried on, each planned once for all tests and all workers."""

import fcntl
from collections.abc import Callable
from dataclasses import dataclass, field
from functools import cached_property
from itertools import product
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import pyogrio
import shapely
from scipy import ndimage

from soakline.grid import FloatArray, Grid, GroundArray
from soakline.runfile.load import load_run_file
from soakline.stages.plan import make_plan
from soakline.stages.progress import Progress
from tests.real_ground.ground import hillside
from tests.terrain_analytic.ground import (
    CENTRE_EASTING_M,
    CENTRE_NORTHING_M,
    Height,
    cone,
    plane,
    ring_hill,
    saddle,
    sample,
    spur,
    v_valley,
)
from tests.terrain_analytic.run_folder import merged, write_run

TURN_DEG = 20.0
LEVEL = plane(0.0)


@dataclass(frozen=True)
class Form:
    """A form, how the DEM is sampled from it, what lies on it, what the run file asks and names."""

    height: Height
    width_m: float = 400.0
    rotation_deg: float = 0.0
    noise_m: float = 0.0
    run: dict[str, Any] = field(default_factory=dict)
    features: dict[str, gpd.GeoDataFrame] = field(default_factory=dict)
    files: dict[str, str] = field(default_factory=dict)

    def dem(self) -> tuple[GroundArray, Grid]:
        return sample(
            self.height,
            width_m=self.width_m,
            rotation_deg=self.rotation_deg,
            noise_m=self.noise_m,
        )


@dataclass(frozen=True)
class Surveyed(Form):
    """Real ground instead of a form."""

    height: Height = LEVEL

    def dem(self) -> tuple[GroundArray, Grid]:
        return hillside()


def crested(slope_pct: float, crest_north_m: float) -> Height:
    """A plane that falls to the south from a crest, beyond which it falls to the north."""
    south, crest_m = plane(slope_pct), CENTRE_NORTHING_M + crest_north_m

    def height(easting: FloatArray, northing: FloatArray) -> FloatArray:
        return south(easting, crest_m - np.abs(northing - crest_m))

    return height


def clay_over_sand() -> gpd.GeoDataFrame:
    """Soils of a plane: clay uphill, sand downhill, and a seam aslant to the level lines.

    The seam rises 80 m from west to east over the 400 m of the plane.
    """
    east, north = CENTRE_EASTING_M, CENTRE_NORTHING_M
    seam = [(east - 200.0, north - 40.0), (east + 200.0, north + 40.0)]
    uphill = shapely.Polygon([*seam, (east + 200.0, north + 200.0), (east - 200.0, north + 200.0)])
    downhill = shapely.Polygon(
        [*seam, (east + 200.0, north - 200.0), (east - 200.0, north - 200.0)]
    )
    return gpd.GeoDataFrame({"texture": ["clay", "sand"]}, geometry=[uphill, downhill])


def pears() -> gpd.GeoDataFrame:
    """A planting block over the west half of a plane, its height left to its species."""
    west = shapely.box(
        CENTRE_EASTING_M - 200.0,
        CENTRE_NORTHING_M - 200.0,
        CENTRE_EASTING_M,
        CENTRE_NORTHING_M + 200.0,
    )
    named = {"mature_tree_height_m": [None], "species": ["Pyrus communis; Malus domestica"]}
    return gpd.GeoDataFrame(named, geometry=[west])


def homestead() -> dict[str, gpd.GeoDataFrame]:
    """What trees keep off, spread over a plane: works, water, tracks, services and salt."""

    def at(east: float, north: float) -> tuple[float, float]:
        return CENTRE_EASTING_M + east, CENTRE_NORTHING_M + north

    def of(shape: shapely.Geometry, **columns: object) -> gpd.GeoDataFrame:
        table = {"name": ["one"], **{name: [value] for name, value in columns.items()}}
        return gpd.GeoDataFrame(table, geometry=[shape])

    return {
        "buildings": of(shapely.box(*at(-60.0, 20.0), *at(-45.0, 32.0))),
        "tracks": of(shapely.LineString([at(13.4, 170.0), at(13.4, -170.0)]), width_m=4.0),
        "services": of(shapely.LineString([at(80.0, 170.0), at(110.0, -170.0)]), width_m=1.0),
        "wells": of(shapely.Point(*at(-120.0, -60.0))),
        "saline": of(shapely.box(*at(130.0, -90.0), *at(165.0, -20.0))),
        "protected": of(shapely.box(*at(-170.0, 60.0), *at(-130.0, 110.0))),
    }


WIND = {"wind.csv": "from_deg,share_pct\n0,10\n90,10\n180,60\n270,10\ncalm,10\n"}

FORMS: dict[str, Form] = {
    "plane": Form(plane(8.0)),
    "plane, turned": Form(plane(8.0), rotation_deg=TURN_DEG),
    "plane, noisy": Form(plane(8.0), noise_m=0.05),
    "plane below a crest": Form(
        crested(8.0, 165.0),
        run={
            "spacing": {"rule": "runoff", "mature_tree_height_m": 2},
            "soil": {"texture": "sandy-loam"},
        },
    ),
    "plane, spoil spread": Form(
        plane(1.5),
        run={"spacing": {"mature_tree_height_m": 2}, "earthworks": {"spread_under_pct": 2}},
    ),
    "plane, wind": Form(
        plane(8.0),
        run={"spacing": {"mature_tree_height_m": 2}, "planting": {"wind": "wind.csv"}},
        files=WIND,
    ),
    "plane, wind, every 6th": Form(
        plane(8.0),
        run={
            "spacing": {"mature_tree_height_m": 2},
            "planting": {"wind": "wind.csv", "windbreak_every": 6},
        },
        files=WIND,
    ),
    "crest, wind": Form(
        crested(8.0, 90.0),
        run={"spacing": {"mature_tree_height_m": 5}, "planting": {"wind": "wind.csv"}},
        files=WIND,
    ),
    "plane, homestead": Form(
        plane(8.0),
        run={"spacing": {"mature_tree_height_m": 4}},
        features=homestead(),
    ),
    "plane, dry": Form(
        plane(8.0), run={"rain": {"annual_mm": 240}, "spacing": {"mature_tree_height_m": 4}}
    ),
    "plane, between": Form(
        plane(8.0),
        run={"spacing": {"mature_tree_height_m": 4}, "planting": {"between": True}},
        features=homestead(),
    ),
    "plane, pears": Form(
        plane(8.0),
        run={"spacing": {"mature_tree_height_m": 4}},
        features={"planting_blocks": pears()},
    ),
    "plane, two soils": Form(
        plane(8.0),
        run={"spacing": {"mature_tree_height_m": 4}, "soil": {"amendment": "gypsum"}},
        features={"soils": clay_over_sand()},
    ),
    "cone": Form(cone(10.0), width_m=480.0),
    "valley": Form(v_valley(8.0, 2.0)),
    "valley, turned": Form(v_valley(8.0, 2.0), rotation_deg=TURN_DEG),
    "valley, noisy": Form(v_valley(8.0, 2.0), noise_m=0.05),
    "spur": Form(spur(8.0, 3.0), rotation_deg=TURN_DEG),
    "saddle": Form(saddle(15.0, 55.0, 240.0, 4.0)),
    "knoll": Form(ring_hill(12.0, 60.0, 4.0), noise_m=0.03, rotation_deg=TURN_DEG),
}

HILLSIDE: dict[str, Surveyed] = {
    f"hillside, {height_m} m trees, {limit} %": Surveyed(
        run={
            "siting": {"max_slope_pct": limit, "steep_sign_off": "for a test"},
            "spacing": {"mature_tree_height_m": height_m},
        }
    )
    for height_m, limit in product((3, 4, 6, 8), (15, 20, 30))
}
REAL = {
    name: HILLSIDE[name]
    for name in (
        *("hillside, 3 m trees, 20 %", "hillside, 3 m trees, 30 %", "hillside, 6 m trees, 20 %"),
        *("hillside, 6 m trees, 30 %", "hillside, 8 m trees, 30 %"),
    )
}


@dataclass(frozen=True, eq=False)
class Planned:
    """A finished plan beside the ground that it was made for; layers come from the file.

    Parameters
    ----------
    path : the GeoPackage
    form : Form of the ground
    dem_m, grid : the DEM
    """

    path: Path
    form: Form
    dem_m: GroundArray
    grid: Grid
    _layers: dict[str, pd.DataFrame] = field(default_factory=dict)

    def layer(self, name: str) -> gpd.GeoDataFrame:
        """A layer or table, read once."""
        if name not in self._layers:
            self._layers[name] = pyogrio.read_dataframe(self.path, layer=name)
        return self._layers[name]  # type: ignore[return-value]

    @cached_property
    def swales(self) -> gpd.GeoDataFrame:
        return self.layer("swales")

    @cached_property
    def footprints(self) -> gpd.GeoSeries:
        """Whole footprint by swale_id."""
        return self.layer("swale_ground").dissolve("swale_id").geometry

    @cached_property
    def ground_m(self) -> FloatArray:
        """Mean of the cells within 2.5 m of each, summed over the disc: not our own sliding sum."""
        reach = int(2.5 / self.grid.cell_m)
        step = np.arange(-reach, reach + 1) * self.grid.cell_m
        disc = (np.hypot(*np.meshgrid(step, step)) <= 2.5).astype(float)
        dem = self.dem_m.astype(float)
        total = ndimage.convolve(dem, disc, mode="constant")
        return total / ndimage.convolve(np.ones_like(dem), disc, mode="constant")

    def ground_at(self, places: FloatArray) -> FloatArray:
        """Bilinear ground at (n, 2) eastings and northings, m."""
        row, column = self.grid.row_column(places[:, 0], places[:, 1])
        return ndimage.map_coordinates(self.ground_m, [row, column], order=1)

    def along_fall(self, places: FloatArray) -> FloatArray:
        """Distance of places from the centre, measured down the fall of an unturned form, m."""
        angle = np.radians(self.form.rotation_deg)
        return -self.north(places) * np.cos(angle) - self.east(places) * np.sin(angle)

    def across_fall(self, places: FloatArray) -> FloatArray:
        """Distance of places from the form's own north-south axis, eastwards, m."""
        angle = np.radians(self.form.rotation_deg)
        return self.east(places) * np.cos(angle) - self.north(places) * np.sin(angle)

    @staticmethod
    def east(places: FloatArray) -> FloatArray:
        return places[:, 0] - CENTRE_EASTING_M

    @staticmethod
    def north(places: FloatArray) -> FloatArray:
        return places[:, 1] - CENTRE_NORTHING_M


def along_m(line: shapely.LineString, step_m: float) -> FloatArray:
    """Places on a line at an even step, both ends included; (n, 2)."""
    count = max(2, int(np.ceil(line.length / step_m)) + 1)
    at = np.linspace(0.0, line.length, count)
    return shapely.get_coordinates(shapely.line_interpolate_point(shapely.force_2d(line), at))


def plan_of(folder: Path, name: str) -> Planned:
    """Plan a ground, or read the plan that another worker has made.

    Parameters
    ----------
    folder : shared by all workers of a test run
    name : of the form
    """
    form = FORMS.get(name) or HILLSIDE[name]
    dem, grid = form.dem()
    place = folder / name.replace(", ", "-")
    place.mkdir(parents=True, exist_ok=True)
    out = place / "plan.gpkg"
    with (place / "lock").open("w") as lock:
        fcntl.flock(lock, fcntl.LOCK_EX)
        if not out.exists():
            run = merged({"planting": {"trees": True}}, form.run)
            for file, text in form.files.items():
                (place / file).write_text(text, encoding="utf-8")
            run_file = write_run(place, dem, grid, run=run, features=form.features)
            make_plan(load_run_file(run_file), out, Progress())
    return Planned(out, form, dem, grid)


PlanGround = Callable[[str], Planned]
