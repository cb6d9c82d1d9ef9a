"""Water through kept hollows follows the deepest ground, and changes nothing around them."""

import numpy as np
import pytest
import shapely

from soakline.grid import GroundArray
from soakline.terrain.compass import COLUMN_STEP, END, ROW_STEP, VOID
from soakline.terrain.flow import Flow, flow_over
from soakline.terrain.hollow_ways import led_through_hollows
from soakline.terrain.hollows import FilledGround, Hollows, fill_hollows, find_hollows
from tests.terrain.slow_twins import upstream_by_walking
from tests.terrain_analytic.ground import centred_grid

# Middle of a trench round a corner, (column, row); it is closed at its lower end too.
AXIS = shapely.LineString([(12, 20), (45, 20), (45, 50)])


def trench(noise_m: float) -> GroundArray:
    """Ground falling to the south with a trench 1.2 m deep and 14 m wide, each cell 1 m."""
    row, column = np.mgrid[0:64, 0:64]
    off = shapely.distance(AXIS, shapely.points(column, row))
    random = np.random.default_rng(3)
    ground = 10.0 - 0.004 * row - 0.001 * column - 1.2 * np.clip(1.0 - off / 7.0, 0.0, None)
    return (ground + noise_m * random.normal(size=row.shape)).astype(np.float32)


def led(dem: GroundArray) -> tuple[Flow, Flow, Hollows, FilledGround]:
    grid = centred_grid(64.0, 64.0)
    filled = fill_hollows(dem)
    hollows = find_hollows(dem, filled, grid, 0.3, 100.0)
    flow = flow_over(filled.filled_m, filled.valid, filled.domain)
    return flow, led_through_hollows(flow, hollows, dem, filled), hollows, filled


def way_from(row: int, column: int, flow: Flow, inside: np.ndarray) -> np.ndarray:
    cells = []
    while inside[row, column]:
        cells.append((column, row))
        k = flow.direction[row, column]
        row, column = row + ROW_STEP[k], column + COLUMN_STEP[k]
    return np.array(cells)


@pytest.mark.parametrize("noise_m", [0.0, 0.03])
def test_the_way_through_a_bent_hollow_goes_round_its_corner(noise_m: float) -> None:
    flow, turned, hollows, _ = led(trench(noise_m))
    inside = np.zeros((64, 64), dtype=bool)
    (kept,) = np.flatnonzero(hollows.kept)
    inside.ravel()[hollows.of(kept)] = True
    off = []
    for one in (flow, turned):
        way = way_from(20, 14, one, inside)
        off.append(float(shapely.distance(AXIS, shapely.points(way[5:-8])).max()))
    assert off[0] > 3.0
    assert off[1] <= 2.5


@pytest.mark.parametrize("hole", [False, True])
def test_every_cell_counts_once_and_outside_nothing_changes(hole: bool) -> None:
    """A hole in the DEM is flooded with the hollow, and water may come back in from it."""
    dem = trench(0.03)
    if hole:
        dem[18:23, 24:27] = np.nan
    flow, turned, hollows, filled = led(dem)
    inside = np.zeros((64, 64), dtype=bool)
    inside.ravel()[np.concatenate([hollows.of(i) for i in np.flatnonzero(hollows.kept)])] = True
    assert (turned.direction != flow.direction)[inside].any() != hole
    assert np.array_equal(turned.direction[~inside], flow.direction[~inside])
    assert np.array_equal(turned.upstream_cells[~inside], flow.upstream_cells[~inside])
    assert (turned.direction == VOID).sum() == (~filled.domain).sum()
    walked = upstream_by_walking(turned.direction, filled.valid)
    assert np.array_equal(turned.upstream_cells, walked)
    leaves = turned.direction == END
    assert int(turned.upstream_cells[leaves].sum()) == int(filled.valid.sum())


def test_without_a_kept_hollow_the_flow_is_the_same_one() -> None:
    row = np.mgrid[0:64, 0:64][0]
    flow, turned, _, _ = led((10.0 - 0.05 * row).astype(np.float32))
    assert turned is flow
