"""The closed-form ground itself: heights, turns and run folders are what they claim to be."""

import tomllib
from pathlib import Path

import geopandas as gpd
import numpy as np
import pytest
import rasterio
from shapely import Point

from tests.terrain_analytic.ground import (
    CENTRE_EASTING_M,
    CENTRE_HEIGHT_M,
    CENTRE_NORTHING_M,
    cone,
    dome,
    hollow,
    plane,
    ring_hill,
    rotated,
    saddle,
    sample,
    spur,
    v_valley,
)
from tests.terrain_analytic.run_folder import DEFAULT_RAIN, write_run

EAST = np.array([CENTRE_EASTING_M, CENTRE_EASTING_M + 100.0, CENTRE_EASTING_M])
NORTH = np.array([CENTRE_NORTHING_M, CENTRE_NORTHING_M, CENTRE_NORTHING_M + 100.0])


def test_plane_falls_towards_its_aspect() -> None:
    assert plane(10.0, 90.0)(EAST, NORTH) == pytest.approx([400.0, 390.0, 400.0])
    assert plane(10.0, 180.0)(EAST, NORTH) == pytest.approx([400.0, 400.0, 410.0])


def test_turning_a_plane_clockwise_adds_to_its_aspect() -> None:
    turned = rotated(plane(8.0, 180.0), 33.0)(EAST, NORTH)
    assert turned == pytest.approx(plane(8.0, 213.0)(EAST, NORTH))


def test_round_forms_are_unchanged_by_turning() -> None:
    for form in (cone(10.0), dome(500.0), ring_hill(20.0, 80.0)):
        assert rotated(form, 33.0)(EAST, NORTH) == pytest.approx(form(EAST, NORTH))


def test_valley_and_spur_mirror_each_other_across_the_axis_level() -> None:
    valley, ridge = v_valley(10.0, 2.0, 15.0)(EAST, NORTH), spur(10.0, 2.0, 15.0)(EAST, NORTH)
    along = plane(2.0, 180.0)(EAST, NORTH)
    assert valley - along == pytest.approx(along - ridge)
    assert v_valley(10.0, 2.0)(EAST, NORTH) == pytest.approx([400.0, 410.0, 402.0])


def test_saddle_is_a_low_between_tops_and_a_high_across() -> None:
    form = saddle(20.0, 50.0, 200.0)
    at_pass, at_top, beside = form(EAST, NORTH)
    assert at_top > at_pass > beside


def test_hollow_lies_below_its_rim() -> None:
    form = hollow(plane(1.0), 1.0, 20.0, 0.0, 0.0)
    assert form(EAST, NORTH) == pytest.approx([399.0, 400.0, 401.0])


def test_dem_is_the_form_at_cell_centres() -> None:
    dem_m, grid = sample(plane(10.0, 90.0), width_m=10.0, height_m=6.0, cell_m=2.0)
    assert dem_m.shape == grid.shape == (3, 5)
    assert dem_m.dtype == np.float32
    assert dem_m[1] == pytest.approx([400.4, 400.2, 400.0, 399.8, 399.6], abs=1e-4)


def test_noise_is_seeded_and_of_the_size_asked_for() -> None:
    noisy, _ = sample(plane(0.0), width_m=200.0, noise_m=0.05, seed=7)
    again, _ = sample(plane(0.0), width_m=200.0, noise_m=0.05, seed=7)
    assert np.array_equal(noisy, again)
    assert np.std(noisy - CENTRE_HEIGHT_M) == pytest.approx(0.05, rel=0.03)


def test_run_folder_holds_all_that_a_run_needs(tmp_path: Path) -> None:
    dem_m, grid = sample(plane(8.0), width_m=120.0)
    well = gpd.GeoDataFrame({"name": ["bore"]}, geometry=[Point(EAST[0], NORTH[0])])
    changes = {"siting": {"max_slope_pct": 12, "setback_m": {"well": 40}}, "rain": {"check": "50"}}
    run_file = write_run(tmp_path / "run", dem_m, grid, features={"wells": well}, run=changes)
    settings = tomllib.loads(run_file.read_text())
    assert settings["siting"] == {"max_slope_pct": 12, "setback_m": {"well": 40}}
    assert settings["rain"] == {"table": "rain.csv", "check": "50"}
    boundary = gpd.read_file(run_file.parent / settings["property"]["boundary"])
    assert boundary.area.sum() == pytest.approx(80.0**2)
    assert gpd.read_file(run_file.parent / "features.gpkg", layer="wells").crs.to_epsg() == 32755
    with rasterio.open(run_file.parent / "dem.tif") as dataset:
        assert dataset.crs.to_epsg() == 32755
        assert np.array_equal(dataset.read(1), dem_m)


def test_default_rain_rises_with_duration_and_with_rarity() -> None:
    rows = np.array(
        [[float(cell) for cell in line.split(",")] for line in DEFAULT_RAIN.split()[1:]]
    )
    assert np.all(np.diff(rows, axis=0) > 0)
    assert np.all(np.diff(rows[:, 1:], axis=1) > 0)
    intensity = rows[:, 1:] / rows[:, :1]
    assert np.all(np.diff(intensity, axis=0) < 0)
