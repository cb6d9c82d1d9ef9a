"""Slope: Horn 1981, Hill shading and the reflectance map, Proc. IEEE 69(1):14-47."""

import math

import numpy as np
import pytest
import richdem as rd

from soakline.grid import FloatArray, GroundArray
from soakline.quiet import quiet_streams
from soakline.terrain.ground import horn_slope_pct
from tests.terrain_analytic.ground import cone, plane, rotated, sample

WINDOW = np.array([[105.6, 104.2, 103.6], [104.1, 103.5, 102.8], [103.3, 102.6, 102.1]])


def horn_by_hand(dem: FloatArray, cell_m: float) -> FloatArray:
    """Slope of the inner cells, %, by weights of 1, 2, 1 on whole arrays."""
    rows = dem[:-2] + 2.0 * dem[1:-1] + dem[2:]
    columns = dem[:, :-2] + 2.0 * dem[:, 1:-1] + dem[:, 2:]
    east = (rows[:, 2:] - rows[:, :-2]) / (8.0 * cell_m)
    north = (columns[:-2] - columns[2:]) / (8.0 * cell_m)
    return 100.0 * np.hypot(east, north)


def test_window_of_nine_heights() -> None:
    """dz/dx −0.0725, dz/dy 0.0875, so 11.3633 %; second order differences give 10.3078 %. D.

    Heights over 100 m: float32 keeps those of the window to four digits of slope only.
    """
    over_100_m = (WINDOW - 100.0).astype(np.float32)
    assert horn_slope_pct(over_100_m, 10.0)[1, 1] == pytest.approx(math.hypot(7.25, 8.75), abs=1e-5)
    assert math.hypot(7.25, 8.75) == pytest.approx(11.3633, abs=5e-5)


@pytest.mark.parametrize("cell_m", [0.5, 1.0, 10.0])
def test_a_plane_has_its_slope_in_every_cell(cell_m: float) -> None:
    """Z = 100 + 0.03 x + 0.04 y: 5.000 % everywhere, the outer cells included. D."""
    row, column = np.mgrid[0:20, 0:30]
    dem = (100.0 + 0.03 * column * cell_m - 0.04 * row * cell_m).astype(np.float32)
    assert horn_slope_pct(dem, cell_m) == pytest.approx(5.0, abs=0.005)


def test_flat_ground_has_no_slope() -> None:
    assert (horn_slope_pct(np.full((5, 7), 412.3, np.float32), 1.0) == 0.0).all()


def test_a_cone_has_its_slope_away_from_the_tip() -> None:
    """Z = −k r: 100 k %, within 1 % beyond 10 cells. D."""
    dem, grid = sample(cone(12.0), width_m=120.0)
    row, column = np.mgrid[0:120, 0:120] - 59.5
    far = np.hypot(row, column) > 10.0
    assert horn_slope_pct(dem, grid.cell_m)[far] == pytest.approx(12.0, rel=0.01)


def rough() -> GroundArray:
    random = np.random.default_rng(11)
    dem, _ = sample(rotated(plane(7.0), 33.0), width_m=80.0)
    return (dem + random.normal(0.0, 0.4, dem.shape)).astype(np.float32)


def test_inner_cells_agree_with_whole_array_sums() -> None:
    dem = rough()
    expected = horn_by_hand(dem.astype(float), 2.0)
    assert horn_slope_pct(dem, 2.0)[1:-1, 1:-1] == pytest.approx(expected, rel=1e-5)


def test_inner_cells_agree_with_a_reference_library() -> None:
    """RichDEM's slope as rise over run, which is Horn's."""
    dem = rough()
    with quiet_streams():
        raster = rd.rdarray(
            dem.astype(np.float64), no_data=-9999.0, geotransform=(0.0, 1.0, 0.0, 0.0, 0.0, -1.0)
        )
        found = np.asarray(rd.TerrainAttribute(raster, attrib="slope_riserun"))
    assert horn_slope_pct(dem, 1.0)[1:-1, 1:-1] / 100.0 == pytest.approx(
        found[1:-1, 1:-1], rel=1e-4
    )


def test_a_missing_neighbour_is_mirrored_through_the_centre() -> None:
    """So a plane keeps its slope beside a hole; only the hole itself has none."""
    dem, _ = sample(plane(8.0, 213.0), width_m=20.0)
    dem[8:11, 9] = np.nan
    slope = horn_slope_pct(dem, 1.0)
    assert np.array_equal(np.isnan(slope), np.isnan(dem))
    assert slope[~np.isnan(dem)] == pytest.approx(8.0, abs=0.02)
