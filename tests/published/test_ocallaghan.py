"""Flow: O'Callaghan & Mark 1984, Computer Vision, Graphics and Image Processing 28:323-344.

Their identities of one direction a cell, as far as they hold for D8-LTD too, which takes one of the
same eight neighbours by another rule.
"""

import numpy as np
import pytest

from soakline.grid import GroundArray
from soakline.terrain.compass import COLUMN_STEP, END, ROW_STEP
from soakline.terrain.flow import Flow, flow_over
from soakline.terrain.hollows import fill_hollows

EAST, SOUTH_EAST, SOUTH = 0, 7, 6


def flow_of(dem: GroundArray) -> Flow:
    filled = fill_hollows(dem)
    return flow_over(filled.filled_m, filled.valid, filled.domain)


def falling_east(rows: int, columns: int) -> GroundArray:
    return np.broadcast_to(100.0 - np.arange(columns), (rows, columns)).astype(np.float32)


def window(south_east: float) -> GroundArray:
    return np.array(
        [[105.6, 104.2, 103.6], [104.1, 103.5, 102.8], [103.3, 102.6, south_east]],
        dtype=np.float32,
    )


def test_a_column_of_a_plane_receives_all_columns_above_it() -> None:
    """Plane falling east: cell k from the divide receives k − 1 cells. D."""
    columns = 40
    flow = flow_of(falling_east(9, columns))
    # The outermost row and column of a DEM end, and receive nothing but what points at them.
    expected = np.arange(1, columns - 1)
    assert (flow.direction[1:-1, 1:-1] == EAST).all()
    for row in range(1, 8):
        assert flow.upstream_cells[row, 1:-1].tolist() == expected.tolist()
    assert (flow.upstream_cells[1:-1, -1] == columns - 1).all()


def test_a_window_drains_to_a_neighbour_of_its_steepest_facet() -> None:
    """E 0.0700, SE 0.0990, S 0.0900 per metre: SE by D8, and by least deviation. D.

    With SE at 102.3 the steepest of eight is S; the facet between S and SE is steepest then too.
    """
    assert flow_of(window(102.1)).direction[1, 1] == SOUTH_EAST
    assert flow_of(window(102.3)).direction[1, 1] == SOUTH


def test_one_outlet_receives_all_other_cells() -> None:
    """N cells, one outlet: it receives N − 1, and counts N with itself. D."""
    row, column = np.mgrid[0:21, 0:21]
    bowl = (10.0 + 0.01 * np.hypot(row - 10, column - 10)).astype(np.float32)
    bowl[[0, -1]] = bowl[:, [0, -1]] = 50.0
    bowl[0, 10] = 5.0
    flow = flow_of(bowl)
    inside = flow.upstream_cells[0, 10]
    # Cells on the rim end where they are; all the others have but one way out.
    assert inside == 19 * 19 + 1
    assert flow.upstream_cells[flow.direction == END].sum() == bowl.size


@pytest.mark.parametrize("seed", range(3))
def test_outlets_together_hold_every_cell(seed: int) -> None:
    """Water balance: the sum over outlets is the number of valid cells. D."""
    random = np.random.default_rng(seed)
    dem = random.normal(0.0, 1.0, (50, 60)).astype(np.float32)
    dem[10:14, 20:30] = np.nan
    flow = flow_of(dem)
    assert flow.upstream_cells[flow.direction == END].sum() == (~np.isnan(dem)).sum()


@pytest.mark.parametrize("seed", range(3))
def test_every_path_reaches_the_edge(seed: int) -> None:
    """No cycles, on ground of whole metres that is flats and ties all over."""
    random = np.random.default_rng(seed)
    dem = random.integers(0, 4, (40, 40)).astype(np.float32)
    direction = flow_of(dem).direction
    row, column = np.indices(dem.shape)
    for _ in range(dem.size):
        k = direction[row, column].astype(int)
        going = k < END
        if not going.any():
            break
        row = row + np.where(going, ROW_STEP[np.minimum(k, 7)], 0)
        column = column + np.where(going, COLUMN_STEP[np.minimum(k, 7)], 0)
    assert (direction[row, column] == END).all()
