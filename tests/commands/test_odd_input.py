"""Input that is odd and still planned with: the command runs, and the plan says what was done."""

import sqlite3
from pathlib import Path

import geopandas as gpd
import numpy as np
import pyogrio
import pytest
import rasterio
from affine import Affine
from geopandas.testing import assert_geodataframe_equal
from rasterio.crs import CRS
from rasterio.transform import from_origin
from rasterio.warp import transform_geom
from shapely.geometry import Polygon, box, shape

from tests.conftest import Soakline
from tests.terrain_analytic.ground import CENTRE_EASTING_M, CENTRE_NORTHING_M, plane, sample
from tests.terrain_analytic.run_folder import DEFAULT_RAIN, write_run

FOOT = "EPSG:2229"  # US survey feet
US_FOOT_M = 1200.0 / 3937.0
TOP_FT, WEST_FT, NORTH_FT = 1000.0, 6_500_000.0, 1_900_000.0


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


def foot_run(folder: Path) -> Path:
    """A plane of 8 % on a grid of 3 ft, with heights in feet."""
    cells, cell_ft = 440, 3.0
    dem, grid = sample(plane(8.0), width_m=cells)
    run = write_run(folder, dem, grid, run={"property": {"vertical_unit": "us-ft"}})
    _, profile = rewritten(run)
    profile.update(crs=FOOT, transform=from_origin(WEST_FT, NORTH_FT, cell_ft, cell_ft))
    down_ft = cell_ft * (np.arange(cells) + 0.5)
    heights_ft = np.repeat(TOP_FT - 0.08 * down_ft, cells).reshape(cells, cells)
    write(run, heights_ft.astype(np.float32), profile)
    side_ft = cells * cell_ft
    land = box(WEST_FT, NORTH_FT - side_ft, WEST_FT + side_ft, NORTH_FT).buffer(-60.0)
    (folder / "boundary.gpkg").unlink()
    gpd.GeoDataFrame(geometry=[land], crs=FOOT).to_file(folder / "boundary.gpkg")
    return run


def assert_of_the_plane(swales: gpd.GeoDataFrame) -> None:
    """Swales of 8 m trees on a slope of 8 %."""
    below = swales[swales.spacing_above_m.notna()]
    assert len(below) == len(swales) - 1 >= 1
    assert below.spacing_above_m.to_numpy() == pytest.approx(100.0, abs=0.5)
    assert below.interval_above_m.to_numpy() == pytest.approx(8.0)
    assert swales.slope_pct.to_numpy() == pytest.approx(8.0, abs=0.05)


def test_a_dem_in_feet_gives_a_plan_in_metres(tmp_path: Path, soakline: Soakline) -> None:
    run = foot_run(tmp_path)
    assert "dem_warped" in planned(soakline, run)
    plan = run.with_suffix(".gpkg")
    findings = pyogrio.read_dataframe(plan, layer="findings")
    assert "US survey foot" in findings[findings.code == "dem_warped"].message.iloc[0]
    swales = pyogrio.read_dataframe(plan, layer="swales")
    assert swales.crs.axis_info[0].unit_name == "metre"
    assert len(swales) == 4
    assert_of_the_plane(swales)
    land = pyogrio.read_dataframe(plan, layer="property")
    assert land.area_m2[0] == pytest.approx((1200 * US_FOOT_M) ** 2, rel=1e-3)
    for level_m, line in zip(swales.level_m, swales.to_crs(FOOT).geometry, strict=True):
        down_ft = NORTH_FT - np.asarray(line.coords)[:, 1]
        ground_m = (TOP_FT - 0.08 * down_ft) * US_FOOT_M
        assert ground_m == pytest.approx(np.full_like(ground_m, level_m), abs=0.15)
        assert ground_m.mean() == pytest.approx(level_m, abs=0.02)


def test_a_rotated_grid_is_warped_and_its_swales_lie_on_the_ground(
    tmp_path: Path, soakline: Soakline
) -> None:
    cells, form = 440, plane(8.0)
    run = write_run(tmp_path, *sample(form, width_m=cells), inset_m=80.0)
    _, profile = rewritten(run)
    old = profile["transform"]
    turned = Affine.rotation(33.0, (CENTRE_EASTING_M, CENTRE_NORTHING_M)) @ old  # type: ignore[operator]
    column, row = np.meshgrid(np.arange(cells) + 0.5, np.arange(cells) + 0.5)
    write(run, form(*turned @ (column, row)).astype(np.float32), {**profile, "transform": turned})
    assert "dem_warped" in planned(soakline, run)
    plan = run.with_suffix(".gpkg")
    findings = pyogrio.read_dataframe(plan, layer="findings")
    assert "its grid is rotated" in findings[findings.code == "dem_warped"].message.iloc[0]
    swales = pyogrio.read_dataframe(plan, layer="swales")
    assert_of_the_plane(swales)
    for level_m, line in zip(swales.level_m, swales.geometry, strict=True):
        places = np.asarray(line.coords)
        assert form(places[:, 0], places[:, 1]).mean() == pytest.approx(level_m, abs=0.02)


@pytest.mark.slow
def test_a_flipped_grid_is_turned_and_said_so(run: Path, soakline: Soakline) -> None:
    planned(soakline, run)
    upright = pyogrio.read_dataframe(run.with_suffix(".gpkg"), layer="swales")
    assert len(upright) > 0
    heights, profile = rewritten(run)
    old = profile["transform"]
    bottom = old.f + old.e * heights.shape[0]  # type: ignore[attr-defined]
    profile["transform"] = type(old)(old.a, 0.0, old.c, 0.0, -old.e, bottom)  # type: ignore[attr-defined, call-arg]
    write(run, heights[::-1], profile)
    assert "dem_turned" in planned(soakline, run)
    turned = pyogrio.read_dataframe(run.with_suffix(".gpkg"), layer="swales")
    assert_geodataframe_equal(turned, upright)


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


def test_a_rain_table_without_the_check_column_checks_by_its_rarest(
    tmp_path: Path, soakline: Soakline
) -> None:
    rain = "\n".join(line.rpartition(",")[0] for line in DEFAULT_RAIN.splitlines())
    run = write_run(tmp_path, *sample(plane(8.0), width_m=240.0), rain=rain)
    assert "check_storm_missing" in planned(soakline, run)
    storms = pyogrio.read_dataframe(run.with_suffix(".gpkg"), layer="storms")
    assert set(storms[storms.purpose == "check"].frequency) == {"50"}


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
