"""Trees between swales: rows along level lines, clear of each other and of what stands."""

import numpy as np
import pytest
from scipy.spatial import cKDTree

from soakline.planting.between import BetweenGround, row_levels, stand_between
from soakline.planting.first_fit import Mixtures
from tests.terrain_analytic.ground import CENTRE_HEIGHT_M, plane, sample

CROWN_M = np.array([4.0, 3.0])


def ground(width_m: float) -> BetweenGround:
    """A plane of 8 % on which every cell drains to one swale, its west half kept clear."""
    height_m, grid = sample(plane(8.0), width_m=width_m)
    free = np.ones(grid.shape, dtype=bool)
    free[:, : grid.columns // 2] = False
    return BetweenGround(grid, height_m, np.ones(grid.shape, dtype=np.int32), free)


def test_rows_follow_levels_and_stagger_at_the_crowns_distance() -> None:
    """One species: each row takes the gaps of the row before, triangles of equal sides."""
    made = ground(80.0)
    levels = row_levels(*(np.array([own]) for own in (CENTRE_HEIGHT_M - 2.0, 4.0, 8.0, 4.0)))
    nothing = (np.zeros(0), np.zeros(0), np.zeros(0, dtype=np.int64))
    one = Mixtures(np.array([0, 1]), np.array([0]))
    lip, species, east, north = stand_between(made, levels, one, CROWN_M, nothing)
    assert set(lip) == {0}
    assert set(species) == {0}
    place = np.column_stack([east, north])
    nearest = cKDTree(place).query(place, k=2)[0][:, 1]
    assert nearest.min() >= 4.0 - 1e-9
    assert np.median(nearest) < 4.6
    height = plane(8.0)(east, north)
    assert np.abs(height[:, None] - levels).min(axis=1).max() < 0.01
    row, column = made.grid.row_column(east, north)
    assert made.free[np.rint(row).astype(int), np.rint(column).astype(int)].all()
    # As many as triangles of 4 m leave room for, but for what a step of 0.5 m loses.
    covered = (np.ptp(north) + 4.0) * (np.ptp(east) + 4.0)
    assert 0.75 < len(place) * 4.0**2 * np.sqrt(0.75) / covered < 1.1


def test_what_stands_already_is_kept_clear_of() -> None:
    made = ground(80.0)
    east, north = (float(own[0]) for own in made.grid.easting_northing(
        np.array([40.0]), np.array([60.0])))  # fmt: skip
    standing = (np.array([east]), np.array([north]), np.array([1]))
    both = Mixtures(np.array([0, 2]), np.array([0, 1]))
    levels = np.arange(CENTRE_HEIGHT_M - 2.0, CENTRE_HEIGHT_M + 2.0, 0.27)
    _, species, x, y = stand_between(made, levels, both, CROWN_M, standing)
    apart = np.hypot(x - east, y - north)
    assert np.all(apart >= (CROWN_M[species] + 3.0) / 2.0 - 1e-9)
    assert apart.min() < 6.0
    assert set(species) == {0, 1}


def test_flat_ground_has_no_more_rows_than_there_is_height_for() -> None:
    flat = row_levels(*(np.array([own]) for own in (100.0, 2.0, 0.0, 4.0)))
    assert flat.size == 39
    steep = row_levels(*(np.array([own]) for own in (100.0, 2.0, 100.0, 4.0)))
    assert steep.size == 0
    # Two swales on one level share their rows where these all but meet.
    slopes = np.array([10.0, 12.0])
    two = row_levels(np.array([100.0, 100.0]), np.full(2, 2.0), slopes, np.full(2, 4.0))
    # Fifths and quarters of 2 m, less those 0.1 m above another.
    assert two == pytest.approx([100.4, 100.8, 101.0, 101.2, 101.5])
