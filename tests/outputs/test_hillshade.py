"""Light and shade, and how ground is made coarse for it."""

import numpy as np
import pytest

from soakline.grid import FloatArray, Grid
from soakline.outputs.hillshade import ground_within, shade

GRID = Grid(rows=60, columns=90, west_m=1000.0, north_m=5000.0, cell_m=2.0, crs_wkt="")


def tilted(east: float, north: float) -> FloatArray:
    """A plane of 1 m cells; rise per metre to the east and to the north."""
    row, column = np.indices((40, 40))
    return 100.0 + east * column - north * row


def test_level_ground_has_the_brightness_of_a_light_half_way_up() -> None:
    assert shade(tilted(0, 0), 1.0) == pytest.approx(np.sin(np.radians(45)))


def test_ground_that_faces_the_light_is_brighter_than_ground_that_turns_away() -> None:
    to_the_light, away = shade(tilted(0.1, -0.1), 1.0), shade(tilted(-0.1, 0.1), 1.0)
    assert to_the_light.min() > np.sin(np.radians(45)) > away.max()


def test_a_plane_is_lit_evenly_to_its_edges() -> None:
    assert np.ptp(shade(tilted(0.2, 0.05), 1.0)) < 1e-9


def test_a_gentle_hill_shows_as_well_as_a_steep_one() -> None:
    gentle, steep = shade(tilted(0.1, 0.0), 1.0), shade(tilted(1.0, 0.0), 1.0)
    assert gentle == pytest.approx(steep)


def test_ground_without_a_value_stays_so_and_does_not_darken_its_neighbours() -> None:
    ground = tilted(0.1, 0.1)
    ground[10:20, 15:25] = np.nan
    brightness = shade(ground, 1.0)
    assert np.array_equal(np.isnan(brightness), np.isnan(ground))
    assert np.nanmin(brightness) > 0.2


def test_coarse_ground_is_the_mean_of_whole_blocks_in_the_right_place() -> None:
    ground = np.random.default_rng(7).uniform(0, 9, GRID.shape).astype(np.float32)
    ground[:6, :6] = np.nan
    ground[8, 8] = np.nan
    coarse, cell_m, bounds = ground_within(GRID, ground, (900.0, 4000.0, 1e4, 1e4), 30)
    assert cell_m == 6.0
    assert bounds == (1000.0, 4880.0, 1180.0, 5000.0)
    assert coarse.shape == (20, 30)
    for row, column in ((0, 0), (2, 2), (19, 29), (7, 3)):
        block = ground[3 * row : 3 * row + 3, 3 * column : 3 * column + 3].astype(float)
        expected = np.nanmean(block) if np.isfinite(block).any() else np.nan
        np.testing.assert_allclose(coarse[row, column], expected)


def test_a_window_is_cut_to_whole_cells_around_what_is_wanted() -> None:
    row, column = np.indices(GRID.shape)
    ground = (1000 * row + column).astype(np.float32)
    window, cell_m, bounds = ground_within(GRID, ground, (1011.0, 4900.0, 1031.0, 4977.0), 1000)
    assert cell_m == GRID.cell_m
    assert bounds == (1010.0, 4900.0, 1032.0, 4978.0)
    assert window[0, 0] == 11005
    assert window.shape == (39, 11)


def test_a_window_beside_the_ground_is_a_defect() -> None:
    with pytest.raises(ValueError, match="does not reach"):
        ground_within(GRID, np.zeros(GRID.shape, np.float32), (0.0, 0.0, 10.0, 10.0), 100)
