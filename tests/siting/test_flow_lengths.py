"""The shape of a catchment: longest way, fall along it, mean slope."""

import numpy as np
import pytest

from soakline.grid import FloatArray, Grid, GroundArray
from soakline.siting.catchments import Catchments, catchments_of
from soakline.siting.flow_lengths import CatchmentShape, catchment_shape
from soakline.terrain.compass import COLUMN_STEP, DISTANCE_CELLS, END, ROW_STEP
from soakline.terrain.flow import Flow, flow_over
from soakline.terrain.ground import horn_slope_pct
from soakline.terrain.hollows import fill_hollows
from tests.terrain_analytic.ground import (
    CENTRE_EASTING_M,
    CENTRE_NORTHING_M,
    ODD_ANGLE_DEG,
    centred_grid,
    cone,
    plane,
    sample,
)

# A way of D8 steps along a fixed direction is longest, over the straight line, at 22.5°.
MOST_D8 = float(np.sqrt(4.0 - 2.0 * np.sqrt(2.0)))


def shape_of(
    dem: GroundArray, grid: Grid, lines: list[FloatArray]
) -> tuple[CatchmentShape, Catchments, Flow]:
    filled = fill_hollows(dem)
    flow = flow_over(filled.filled_m, filled.valid, filled.domain)
    catchments = catchments_of(lines, flow.direction, filled.valid, grid)
    slope = horn_slope_pct(dem, grid.cell_m)
    shape = catchment_shape(catchments, flow.direction, filled.filled_m, slope, grid.cell_m)
    return shape, catchments, flow


def line_across(length_m: float, angle_deg: float = 0.0, below_m: float = 0.0) -> FloatArray:
    """A line on the contour of a plane that falls south, turned clockwise with the plane."""
    turn = np.radians(angle_deg)
    along = np.array([np.cos(turn), -np.sin(turn)]) * length_m / 2.0
    down = np.array([-np.sin(turn), -np.cos(turn)]) * below_m
    middle = np.array([CENTRE_EASTING_M, CENTRE_NORTHING_M]) + down
    return np.array([middle - along, middle + along])


@pytest.mark.parametrize("cell_m", [1.0, 2.5])
def test_on_a_plane_the_way_is_the_distance_and_the_slope_the_planes(cell_m: float) -> None:
    """The rim keeps its own water: the way begins one cell inside the northern edge."""
    dem, grid = sample(plane(8.0), width_m=200.0, cell_m=cell_m)
    shape, _, _ = shape_of(dem, grid, [line_across(60.0, below_m=0.3 * cell_m)])
    lip_row = grid.rows // 2
    assert shape.flow_length_m[0] == (lip_row - 1) * cell_m
    assert shape.drop_m[0] == pytest.approx(0.08 * shape.flow_length_m[0], abs=1e-4)
    assert shape.mean_slope_pct[0] == pytest.approx(8.0, rel=1e-4)


def test_a_diagonal_step_is_root_two_long() -> None:
    """A plane that falls to the south-west, and a line of one place that its diagonal meets."""
    dem, grid = sample(plane(10.0, 225.0), width_m=101.0)
    row, column = np.array([80.0, 80.0]), np.array([20.0, 20.4])
    line = np.column_stack(grid.easting_northing(row, column))
    shape, _, _ = shape_of(dem, grid, [line])
    # From (1, 99) to (80, 20); the rim's cells end.
    assert shape.flow_length_m[0] == 79 * np.sqrt(2.0)
    assert shape.drop_m[0] == pytest.approx(0.1 * 79 * np.sqrt(2.0), abs=1e-3)


@pytest.mark.parametrize("angle_deg", [10.0, 22.5, ODD_ANGLE_DEG, 60.0, 145.0])
def test_on_a_turned_plane_steps_lengthen_the_way_by_8_percent_at_most(angle_deg: float) -> None:
    dem, grid = sample(plane(8.0, 180.0 + angle_deg), width_m=240.0)
    shape, _, _ = shape_of(dem, grid, [line_across(80.0, angle_deg, below_m=60.0)])
    straight = shape.drop_m[0] / 0.08
    assert straight > 100.0
    assert straight - 1e-2 <= shape.flow_length_m[0] <= MOST_D8 * straight + 2.0
    assert shape.mean_slope_pct[0] == pytest.approx(8.0, rel=1e-4)


def test_a_ring_round_a_cone_is_reached_from_its_tip() -> None:
    """The cone falls 10 %: from the tip to a ring of 80 m radius it falls 8 m, all round."""
    dem, grid = sample(cone(10.0), width_m=240.0)
    angle = np.linspace(0.0, 2.0 * np.pi, 361)
    ring = np.column_stack(
        [CENTRE_EASTING_M + 80.0 * np.cos(angle), CENTRE_NORTHING_M + 80.0 * np.sin(angle)]
    )
    shape, catchments, _ = shape_of(dem, grid, [ring])
    assert catchments.area_m2[0] == pytest.approx(np.pi * 80.0**2, rel=0.03)
    # Up to the half of a diagonal short of the ring, on the inner side of its cells.
    assert 80.0 - 1.5 <= shape.flow_length_m[0] <= MOST_D8 * 80.0 + 1.5
    assert shape.drop_m[0] == pytest.approx(8.0, abs=0.2)
    # Horn's slope is the cone's everywhere but at the tip.
    assert shape.mean_slope_pct[0] == pytest.approx(10.0, rel=0.005)


def test_the_upper_of_two_lips_takes_what_lies_above_it() -> None:
    dem, grid = sample(plane(8.0), width_m=200.0)
    lines = [line_across(100.0, below_m=-30.5), line_across(100.0, below_m=49.5)]
    shape, _, _ = shape_of(dem, grid, lines)
    # Rows 69 and 149: ways begin in row 1 and in row 70.
    assert shape.flow_length_m[0] == 68.0
    assert shape.flow_length_m[1] == 79.0


def test_a_lip_without_cells_of_its_own_has_no_shape() -> None:
    """Every cell of the second line is the first one's."""
    dem, grid = sample(plane(8.0), width_m=100.0)
    line = line_across(40.0, below_m=0.5)
    shape, catchments, _ = shape_of(dem, grid, [line, line])
    assert catchments.area_m2[1] == 0.0
    for figure in (shape.flow_length_m, shape.drop_m, shape.mean_slope_pct):
        assert figure.shape == (2,)
        assert figure[0] > 0.0
        assert figure[1] == 0.0


def test_a_way_begins_on_ground_and_not_in_a_hole_of_the_dem() -> None:
    """Water of the rows above a hole would pass it; the hole itself sheds none."""
    dem, grid = sample(plane(8.0), width_m=100.0)
    dem[1:4, 1:99] = np.nan
    shape, _, _ = shape_of(dem, grid, [line_across(20.0, below_m=0.5)])
    assert shape.flow_length_m[0] == 50 - 4


def test_a_long_valley_is_climbed_to_its_head() -> None:
    """Side slopes of 20 % over a valley of 4 %: hundreds of side ways wait while it is climbed."""
    row, column = np.mgrid[0:600, 0:7]
    dem = (400.0 - 0.04 * row + 0.2 * np.abs(column - 3)).astype(np.float32)
    grid = centred_grid(7.0, 600.0)
    at = np.column_stack(grid.easting_northing(np.array([590.0, 590.2]), np.array([3.0, 3.0])))
    shape, catchments, flow = shape_of(dem, grid, [at])
    assert catchments.area_m2[0] > 2 * 589
    way, drop = walked(catchments, flow, fill_hollows(dem).filled_m, 1)
    assert shape.flow_length_m[0] == pytest.approx(way, rel=1e-12)
    assert shape.drop_m[0] == drop
    assert way > 589.0


def test_no_lips_have_no_shapes() -> None:
    dem, grid = sample(plane(8.0), width_m=50.0)
    shape, _, _ = shape_of(dem, grid, [])
    assert shape.flow_length_m.size == shape.drop_m.size == shape.mean_slope_pct.size == 0


@pytest.mark.parametrize("seed", range(6))
def test_the_longest_way_is_that_of_walking_down_from_every_cell(seed: int) -> None:
    """Rough ground with hollows, ties, whole-metre flats and holes, against the slow twin."""
    random = np.random.default_rng(seed)
    rows, columns = 36, 29
    row, column = np.mgrid[0:rows, 0:columns]
    dem = 50.0 - 0.3 * row + 0.1 * column + random.normal(0.0, 0.6, (rows, columns))
    dem = (np.round(dem) if seed % 2 else dem).astype(np.float32)
    dem[random.random(dem.shape) < 0.02] = np.nan
    grid = centred_grid(2.0 * columns, 2.0 * rows, 2.0)
    lines = [
        np.column_stack(
            grid.easting_northing(random.uniform(5, rows - 3, 2), random.uniform(3, columns - 3, 2))
        )
        for _ in range(4)
    ]
    shape, catchments, flow = shape_of(dem, grid, lines)
    filled = fill_hollows(dem).filled_m
    slope = horn_slope_pct(dem, grid.cell_m)
    for swale in range(len(lines)):
        way, drop = walked(catchments, flow, filled, swale + 1)
        assert shape.flow_length_m[swale] == pytest.approx(2.0 * way, rel=1e-12)
        assert shape.drop_m[swale] == pytest.approx(drop, abs=1e-6)
        own = catchments.label == swale + 1
        expected = slope[own].mean(dtype=np.float64) if own.any() else 0.0
        assert shape.mean_slope_pct[swale] == pytest.approx(expected, rel=1e-9)
        assert drop >= 0.0


def walked(
    catchments: Catchments, flow: Flow, filled_m: GroundArray, label: int
) -> tuple[float, float]:
    """Longest way, in cells, and the fall along it, by walking down from every cell."""
    best = (0.0, 0.0)
    for start in zip(*np.nonzero(catchments.label == label), strict=True):
        row, column = start
        steps = [0, 0]
        while catchments.burnt[row, column] == 0:
            k = int(flow.direction[row, column])
            assert k < END
            steps[k % 2] += 1
            row, column = row + ROW_STEP[k], column + COLUMN_STEP[k]
        way = steps[0] + steps[1] * float(DISTANCE_CELLS[1])
        best = max(best, (way, float(filled_m[start] - filled_m[row, column])))
    return best
