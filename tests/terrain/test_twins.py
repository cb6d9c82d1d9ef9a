"""Compiled kernels against slow and obvious twins, on small random ground."""

import numpy as np
import pytest
from scipy import ndimage

from soakline.grid import GroundArray
from soakline.terrain.compass import END, VOID
from soakline.terrain.dispersive import _spread, valley_blocks
from soakline.terrain.flow import drain_flats, facets, flow_over
from soakline.terrain.ground import disc_half_widths, mean_ground
from soakline.terrain.hollows import fill_hollows
from soakline.terrain.paths import first_intercept, path_down, way_to_target_m
from tests.terrain.slow_twins import (
    against_least_deviation,
    disc_mean,
    first_met,
    more_than_beside,
    quinn_accumulation,
    upstream_by_walking,
)
from tests.terrain_analytic.ground import centred_grid

SEEDS = range(6)


def rough_ground(seed: int, rows: int = 24, columns: int = 31) -> GroundArray:
    """A tilted plane with noise: hollows, ties and, for odd seeds, whole-metre flats."""
    random = np.random.default_rng(seed)
    row, column = np.mgrid[0:rows, 0:columns]
    dem = 50.0 - 0.3 * row + 0.1 * column + random.normal(0.0, 0.6, (rows, columns))
    return (np.round(dem) if seed % 2 else dem).astype(np.float32)


def smooth_ground(seed: int, rows: int = 24, columns: int = 31) -> GroundArray:
    """Ground that falls everywhere, with no two equal heights: nothing to fill, no flats."""
    random = np.random.default_rng(seed)
    row, column = np.mgrid[0:rows, 0:columns]
    east, south = random.uniform(-1.0, 1.0), random.uniform(1.0, 2.0)
    bend = 0.2 * np.sin(column / random.uniform(3.0, 6.0)) * np.cos(row / random.uniform(3.0, 6.0))
    return (200.0 - south * row + east * column + bend).astype(np.float32)


@pytest.mark.parametrize("seed", SEEDS)
def test_every_cell_counts_once_wherever_its_water_passes(seed: int) -> None:
    filled = fill_hollows(rough_ground(seed))
    flow = flow_over(filled.filled_m, filled.valid, filled.domain)
    expected = upstream_by_walking(flow.direction, filled.valid)
    assert flow.upstream_cells.tolist() == expected.tolist()


@pytest.mark.parametrize("seed", SEEDS)
def test_directions_keep_the_transversal_deviation_least(seed: int) -> None:
    """D8-LTD by its definition (Orlandini et al. 2003), cell by cell from the top."""
    dem = smooth_ground(seed)
    filled = fill_hollows(dem)
    assert np.array_equal(filled.filled_m, dem)
    flow = flow_over(filled.filled_m, filled.valid, filled.domain)
    assert against_least_deviation(dem, flow.direction, flow.upstream_cells) == []


@pytest.mark.parametrize("seed", SEEDS)
def test_labels_are_those_of_the_first_burnt_cell_met(seed: int) -> None:
    random = np.random.default_rng(seed)
    filled = fill_hollows(rough_ground(seed))
    flow = flow_over(filled.filled_m, filled.valid, filled.domain)
    burnt = np.where(random.random(flow.direction.shape) < 0.03, 1, 0).astype(np.int32)
    burnt[burnt > 0] = np.arange(1, burnt.sum() + 1)
    label = first_intercept(flow.direction, burnt)
    assert label.tolist() == first_met(flow.direction, burnt).tolist()
    assert (label == -1).any()


@pytest.mark.parametrize("seed", SEEDS)
def test_a_path_ends_on_the_first_stop_or_the_rim(seed: int) -> None:
    random = np.random.default_rng(seed)
    filled = fill_hollows(rough_ground(seed))
    direction = flow_over(filled.filled_m, filled.valid, filled.domain).direction
    stop = random.random(direction.shape) < 0.02
    starts = random.integers(0, direction.size, 20)
    ways = way_to_target_m(direction, starts, stop, 2.0, np.inf)
    for start, way in zip(starts, ways, strict=True):
        path = path_down(direction, int(start), stop)
        assert path[0] == start
        assert not stop.ravel()[path[:-1]].any()
        assert stop.ravel()[path[-1]] or direction.ravel()[path[-1]] == END
        row, column = np.divmod(path, direction.shape[1])
        length = 2.0 * np.hypot(np.diff(row), np.diff(column)).sum()
        assert way == pytest.approx(length if stop.ravel()[path[-1]] else np.inf)


@pytest.mark.parametrize("seed", SEEDS)
@pytest.mark.parametrize("smoothing_m", [2.0, 5.0, 8.0])
def test_ground_is_the_mean_of_the_valid_cells_within_half_the_smoothing(
    seed: int, smoothing_m: float
) -> None:
    random = np.random.default_rng(seed)
    dem = rough_ground(seed)
    dem[random.random(dem.shape) < 0.1] = np.nan
    grid = centred_grid(float(dem.shape[1]), float(dem.shape[0]))
    expected = disc_mean(dem, smoothing_m / 2.0)
    assert mean_ground(dem, grid, smoothing_m) == pytest.approx(expected, abs=1e-4, nan_ok=True)


def test_the_disc_of_5_m_on_1_m_cells_has_21_cells() -> None:
    assert (2 * disc_half_widths(2.5) + 1).sum() == 21


def test_cells_of_5_m_and_more_are_the_ground_themselves() -> None:
    dem = rough_ground(0)
    grid = centred_grid(5.0 * dem.shape[1], 5.0 * dem.shape[0], 5.0)
    assert mean_ground(dem, grid, 5.0) is dem


@pytest.mark.parametrize("seed", SEEDS)
def test_spread_area_is_shared_by_slope_and_contour_length(seed: int) -> None:
    dem = smooth_ground(seed)
    filled = fill_hollows(dem)
    state = facets(filled.filled_m, filled.domain)
    drain_flats(filled.filled_m, state)
    area, mean_way = _spread(filled.filled_m, state, np.ones(dem.shape))
    expected, ways = quinn_accumulation(dem, np.ones(dem.shape))
    assert area == pytest.approx(expected, rel=1e-6)
    assert mean_way == pytest.approx(ways, rel=1e-6)
    rim = np.ones(dem.shape, dtype=bool)
    rim[1:-1, 1:-1] = False
    assert area[rim].sum() == pytest.approx(dem.size)


@pytest.mark.parametrize("side_slope", [0.045, 0.06, 0.08, 0.1])
@pytest.mark.parametrize("least_m2", [200.0, 3000.0, 6000.0])
def test_blocks_of_a_valley_have_half_of_the_area_and_four_times_the_strip_above(
    side_slope: float, least_m2: float
) -> None:
    """A winding valley on cells of 0.5 m, in blocks of 2.5 m: the last row and column are cut."""
    row, column = np.mgrid[0:143, 0:178]
    across = np.abs(column - 85.0 - 12.0 * np.sin(row / 25.0))
    dem = (50.0 - 0.03 * row + side_slope * across + 0.0007 * column).astype(np.float32)
    dem[np.random.default_rng(4).random(dem.shape) < 0.2] = np.nan
    found, size = valley_blocks(dem, centred_grid(89.0, 71.5, 0.5), least_m2, 2.5)
    assert size == 5
    blocks = [
        [dem[r : r + 5, c : c + 5].astype(float) for c in range(0, 178, 5)]
        for r in range(0, 143, 5)
    ]
    mean = np.array([[np.nanmean(block) for block in line] for line in blocks], np.float32)
    own_m2 = np.array([[0.25 * np.isfinite(block).sum() for block in line] for line in blocks])
    assert np.array_equal(fill_hollows(mean).filled_m, mean)
    area_m2, ways = quinn_accumulation(mean, own_m2)
    gathers = (area_m2 >= least_m2 / 2.0) & (area_m2 >= 4.0 * 2.0 * ways * 2.5**2)
    gathers &= more_than_beside(area_m2, mean.astype(float))
    expected = ndimage.maximum_filter(gathers, 3, mode="constant")
    assert expected.any()
    assert found.tolist() == expected.tolist()


def test_void_cells_have_no_label() -> None:
    dem = rough_ground(0)
    dem[:5, :5] = np.nan
    filled = fill_hollows(dem)
    direction = flow_over(filled.filled_m, filled.valid, filled.domain).direction
    assert (direction[:5, :5] == VOID).all()
    assert (first_intercept(direction, np.zeros(dem.shape, np.int32))[:5, :5] == 0).all()
