"""Input that is odd and still planned with: the command runs, and the plan says what was done."""

import sqlite3
from pathlib import Path

import geopandas as gpd
import numpy as np
import pyogrio
import pytest
import rasterio
from rasterio.crs import CRS
from rasterio.transform import from_origin
from rasterio.warp import transform_geom
from shapely.geometry import Polygon, shape

from tests.conftest import Soakline
from tests.terrain_analytic.ground import plane, sample
from tests.terrain_analytic.run_folder import write_run


def codes(plan: Path) -> set[str]:
    """Finding codes of a plan."""
    return set(pyogrio.read_dataframe(plan, layer="findings")["code"])


def planned(soakline: Soakline, run: Path) -> set[str]:
    """Plan a run; what the plan says of itself."""
    ran = soakline("plan", run)
    assert ran.status in (0, 3), ran.stderr
    return codes(Path(ran.stdout.strip()))


@pytest.fixture
def run(tmp_path: Path) -> Path:
    dem, grid = sample(plane(8.0), width_m=240.0)
    return write_run(tmp_path, dem, grid)


def rewritten(run: Path, **profile: object) -> tuple[np.ndarray, dict[str, object]]:
    """The DEM's heights and profile, the profile changed."""
    with rasterio.open(run.parent / "dem.tif") as source:
        return source.read(1), {**source.profile, **profile}


def write(run: Path, heights: np.ndarray, profile: dict[str, object]) -> None:
    (run.parent / "dem.tif").unlink()
    with rasterio.open(run.parent / "dem.tif", "w", **profile) as target:
        target.write(heights, 1)


def test_a_geographic_dem_is_warped_and_said_so(run: Path, soakline: Soakline) -> None:
    heights, profile = rewritten(run)
    with rasterio.open(run.parent / "dem.tif") as source:
        corners = {"type": "Point", "coordinates": (source.bounds.left, source.bounds.top)}
        west, north = transform_geom(source.crs, "EPSG:4326", corners)["coordinates"]
    degree = 1.0 / 111_320.0
    profile.update(
        crs=CRS.from_epsg(4326),
        transform=from_origin(west, north, degree / np.cos(np.radians(north)), degree),
    )
    write(run, heights, profile)
    assert "dem_warped" in planned(soakline, run)


def test_a_flipped_grid_is_turned_and_said_so(run: Path, soakline: Soakline) -> None:
    heights, profile = rewritten(run)
    old = profile["transform"]
    bottom = old.f + old.e * heights.shape[0]  # type: ignore[attr-defined]
    profile["transform"] = type(old)(old.a, 0.0, old.c, 0.0, -old.e, bottom)  # type: ignore[attr-defined, call-arg]
    write(run, heights[::-1], profile)
    assert "dem_turned" in planned(soakline, run)


def test_whole_metres_are_reported(run: Path, soakline: Soakline) -> None:
    heights, profile = rewritten(run, dtype="int16", nodata=-32768)
    profile.pop("predictor", None)
    write(run, np.rint(heights).astype(np.int16), profile)
    assert "stepped_heights" in planned(soakline, run)


def test_a_self_crossing_boundary_is_mended_and_said_so(run: Path, soakline: Soakline) -> None:
    land = gpd.read_file(run.parent / "boundary.gpkg")
    west, south, east, north = land.total_bounds
    bow = Polygon([(west, south), (east, north), (east, south), (west, north)])
    gpd.GeoDataFrame(geometry=[bow], crs=land.crs).to_file(run.parent / "boundary.gpkg")
    assert "boundary_mended" in planned(soakline, run)


def test_a_boundary_in_another_crs_is_the_same_land(run: Path, soakline: Soakline) -> None:
    land = gpd.read_file(run.parent / "boundary.gpkg")
    land.to_crs(4326).to_file(run.parent / "boundary.gpkg")
    planned(soakline, run)
    plan = run.with_suffix(".gpkg")
    area = float(pyogrio.read_dataframe(plan, layer="property")["area_m2"].iloc[0])
    assert area == pytest.approx(shape(land.geometry.iloc[0]).area, rel=1e-4)


def test_a_plan_that_another_program_holds_is_refused(run: Path, soakline: Soakline) -> None:
    planned(soakline, run)
    plan = run.with_suffix(".gpkg")
    before = plan.read_bytes()
    holder = sqlite3.connect(plan)
    holder.execute("BEGIN EXCLUSIVE")
    ran = soakline("plan", run)
    holder.rollback()
    holder.close()
    assert ran.status == 2
    assert plan.name in ran.stderr
    assert plan.read_bytes() == before
