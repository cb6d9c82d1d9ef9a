"""Values between cell centres."""

import numpy as np
import pytest

from soakline.terrain.ground import bilinear, sample
from tests.terrain_analytic.ground import centred_grid


def saddle_m(row: np.ndarray, column: np.ndarray) -> np.ndarray:
    """A surface that bilinear interpolation gives back as it is."""
    return 3.0 + 2.0 * row - 0.5 * column + 0.25 * row * column


SURFACE = saddle_m(*np.mgrid[0.0:5.0, 0.0:7.0]).astype(np.float32)


@pytest.mark.parametrize(
    ("row", "column"), [(0.0, 0.0), (1.25, 3.5), (2.0, 4.75), (3.9, 0.1), (4.0, 6.0), (4.0, 2.5)]
)
def test_a_value_between_four_cells_is_that_of_the_surface_through_them(
    row: float, column: float
) -> None:
    """To the last row and column, the cell centres at the edge included."""
    expected = saddle_m(np.array(row), np.array(column))
    assert bilinear(SURFACE, row, column) == pytest.approx(float(expected))


@pytest.mark.parametrize(
    ("row", "column"), [(-0.01, 2.0), (4.01, 2.0), (2.0, -0.01), (2.0, 6.01), (np.nan, 2.0)]
)
def test_beyond_the_outer_cell_centres_there_is_no_value(row: float, column: float) -> None:
    assert np.isnan(bilinear(SURFACE, row, column))


def test_beside_a_cell_without_height_there_is_no_value() -> None:
    surface = SURFACE.copy()
    surface[2, 3] = np.nan
    assert np.isnan(bilinear(surface, 1.5, 2.5))
    assert np.isfinite(bilinear(surface, 0.5, 2.5))


def test_places_are_looked_up_by_easting_and_northing() -> None:
    grid = centred_grid(3.5, 2.5, 0.5)
    east, north = np.array([0.25, 1.0, 2.6]), np.array([0.5, 1.1, 2.0])
    found = sample(SURFACE, grid, grid.west_m + east, grid.north_m - north)
    assert found == pytest.approx(saddle_m(north / 0.5 - 0.5, east / 0.5 - 0.5))
