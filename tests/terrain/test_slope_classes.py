"""Slope classes as clean polygons."""

from pathlib import Path

import numpy as np
import pytest
import rasterio
import shapely
from scipy import ndimage

from soakline.grid import Grid
from soakline.terrain.clean_classes import _edges_moved
from soakline.terrain.ground import horn_slope_pct, mean_ground
from soakline.terrain.slope_classes import SPECK_M2, slope_class_polygons
from tests.terrain_analytic.ground import dome, sample

DEMO = Path(__file__).parents[2] / "fixtures" / "demo" / "dem.tif"
LIMITS = (0.2, 0.5, 1.0, 2.0, 5.0, 10.0, 15.0, 30.0, 60.0)


def land(grid: Grid, inset_m: float = 15.0) -> shapely.Polygon:
    west, south, east, north = grid.bounds
    return shapely.box(west + inset_m, south + inset_m, east - inset_m, north - inset_m)


def by_class(slope_pct: np.ndarray, grid: Grid, area: shapely.Polygon) -> dict[int, float]:
    return {
        number: float(shape.area)
        for number, _, _, shape in slope_class_polygons(slope_pct, grid, area, LIMITS)
    }


@pytest.mark.parametrize("cell_m", [pytest.param(0.5, marks=pytest.mark.long), 1.0, 2.0, 5.0])
def test_classes_are_a_partition_of_the_property(cell_m: float) -> None:
    dem, grid = sample(dome(1500.0), width_m=300.0, cell_m=cell_m, noise_m=0.02)
    area = land(grid, 15.3)
    found = slope_class_polygons(horn_slope_pct(dem, cell_m), grid, area, LIMITS)
    shapes = [shape for _, _, _, shape in found]
    assert sum(shape.area for shape in shapes) == pytest.approx(area.area, rel=1e-9)
    assert shapely.union_all(shapes).area == pytest.approx(area.area, rel=1e-9)
    assert all(shape.is_valid for shape in shapes)
    assert [number for number, *_ in found] == sorted({number for number, *_ in found})


def test_area_by_class_is_that_of_the_rings_of_a_dome() -> None:
    """Slope of z = −r²/2R is r/R: class 2 to 5 % on R 2000 m is the ring from 40 to 100 m."""
    dem, grid = sample(dome(2000.0), width_m=300.0)
    area = land(grid)
    found = by_class(horn_slope_pct(dem, 1.0), grid, area)
    ring = np.pi * (100.0**2 - 40.0**2)
    assert found[5] == pytest.approx(ring, rel=0.02)
    assert found[4] == pytest.approx(np.pi * (40.0**2 - 20.0**2), rel=0.02)


def test_classes_carry_their_limits() -> None:
    dem, grid = sample(dome(2000.0), width_m=300.0)
    found = slope_class_polygons(horn_slope_pct(dem, 1.0), grid, land(grid), LIMITS)
    edges = (0.0, *LIMITS)
    for number, lower, upper, _ in found:
        assert (lower, upper) == (edges[number - 1], edges[number])
    steep = np.full(grid.shape, 75.0, np.float32)
    (only,) = slope_class_polygons(steep, grid, land(grid), LIMITS)
    assert only[:3] == (10, 60.0, None)


def test_a_speck_that_the_property_s_edge_cuts_off_joins_its_neighbour() -> None:
    """100 m² of it on the cells that the land touches, 90 m² on the land; 120 m² stay."""
    slope = np.full((200, 200), 7.0, np.float32)
    slope[60:70, 14:24] = 12.0
    slope[100:110, 3:27] = 12.0
    grid = sample(dome(1000.0), width_m=200.0)[1]
    areas = by_class(slope, grid, land(grid))
    assert areas == pytest.approx({6: 170.0**2 - 120.0, 7: 120.0})


def test_cells_nearest_to_the_limit_change_sides_first() -> None:
    """Classes under and over 5 % along a straight edge: one cell too few in either."""
    classes = np.repeat([[1] * 4 + [2] * 4], 4, axis=0).astype(np.uint8)
    slope = np.where(classes == 1, 3.0, 7.0).astype(np.float32)
    slope[:, 3] = [4.7, 4.9, 4.6, 4.8]
    slope[:, 4] = [5.3, 5.2, 5.1, 5.4]
    within = np.ones(classes.shape, dtype=bool)
    for wanted, cell in ((17, (2, 4)), (15, (1, 3))):
        moved = _edges_moved(classes, slope, within, np.array([wanted, 32]))
        assert np.argwhere(moved != classes).tolist() == [list(cell)]


def test_specks_under_100_m2_join_a_neighbour_and_areas_hardly_change() -> None:
    random = np.random.default_rng(5)
    slope = np.full((400, 400), 7.0, np.float32)
    slope[:, 200:] = 12.0
    for _ in range(25):
        row, column = random.integers(20, 380, 2)
        slope[row : row + 6, column : column + 6] = 20.0  # 36 m²
    slope[100:130, 100:130] = 3.0  # 900 m², stays
    grid = sample(dome(1000.0), width_m=400.0)[1]
    area = land(grid)
    found = slope_class_polygons(slope, grid, area, LIMITS)
    for _, _, _, shape in found:
        assert min(part.area for part in shape.geoms) >= 100.0
    areas = {number: shape.area for number, _, _, shape in found}
    assert set(areas) == {5, 6, 7}
    # Its sharp rim lies across blocks of 2 m, which real slopes, a mean of 5 m, never have.
    assert areas[5] == pytest.approx(900.0, rel=0.15)
    assert areas[6] == pytest.approx(area.area / 2.0 - 900.0, rel=0.02)
    assert areas[7] == pytest.approx(area.area / 2.0, rel=0.02)


def test_the_area_of_specks_goes_to_larger_patches_of_their_class() -> None:
    """Twenty of 64 m², and one patch of 3600 m² that can grow."""
    slope = np.full((300, 300), 7.0, np.float32)
    slope[100:160, 100:160] = 12.0
    for column in range(30, 270, 24):
        slope[40:48, column : column + 8] = slope[240:248, column : column + 8] = 12.0
    grid = sample(dome(1000.0), width_m=300.0)[1]
    found = slope_class_polygons(slope, grid, land(grid), LIMITS)
    (patch,) = next(shape.geoms for number, _, _, shape in found if number == 7)
    assert patch.area == pytest.approx(3600.0 + 20 * 64.0, rel=0.01)


def assert_areas_are_kept(slope: np.ndarray, grid: Grid) -> None:
    """Of each class, within a fiftieth of its cells', if it has room for twenty specks."""
    found = by_class(slope, grid, land(grid))
    rim = round(15.0 / grid.cell_m)
    inside = np.searchsorted(LIMITS, slope[rim:-rim, rim:-rim], side="right") + 1
    own = np.bincount(inside.ravel(), minlength=11) * grid.cell_area_m2
    large = [number for number in range(1, 11) if own[number] > 20 * SPECK_M2]
    assert len(large) > 2
    for number in large:
        assert found[number] == pytest.approx(own[number], rel=0.02), number


def test_area_of_every_class_changes_by_less_than_a_fiftieth() -> None:
    """Against the cells themselves, on ground whose classes are as ragged as survey noise makes."""
    dem, grid = sample(dome(1500.0), width_m=400.0, noise_m=0.01)
    assert_areas_are_kept(horn_slope_pct(dem, 1.0), grid)


def test_area_of_the_demonstration_s_classes_changes_by_less_than_a_fiftieth() -> None:
    with rasterio.open(DEMO) as source:
        dem, place = source.read(1), source.transform
        grid = Grid(*dem.shape, place.c, place.f, place.a, source.crs.to_wkt())
    assert np.isfinite(dem).all()
    ground = mean_ground(dem, grid, 5.0)
    assert_areas_are_kept(horn_slope_pct(ground, grid.cell_m), grid)


@pytest.mark.parametrize("height_step_m", [0.0, 1.0])
def test_area_by_class_is_kept_where_hardly_a_patch_is_as_large_as_a_speck(
    height_step_m: float,
) -> None:
    """Ground broken every few metres, and a hill whose heights were told in whole metres."""
    random = np.random.default_rng(7)
    dem, grid = sample(dome(900.0), width_m=240.0)
    if height_step_m:
        dem = np.rint(dem / height_step_m) * height_step_m
    else:
        dem = dem + 2.0 * ndimage.gaussian_filter(random.normal(size=dem.shape), 2.0)
    ground = mean_ground(dem.astype(np.float32), grid, 5.0)
    assert_areas_are_kept(horn_slope_pct(ground, 1.0), grid)
