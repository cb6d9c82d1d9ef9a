"""The first level: how much land each candidate serves, and which of them is taken."""

import numpy as np
import pytest

from soakline.grid import BoolArray, FloatArray, GroundArray
from soakline.siting.levels import _served, first_level_m
from soakline.terrain.compass import COLUMN_STEP, END, ROW_STEP, VOID
from soakline.terrain.flow import Uint8Array, flow_over
from soakline.terrain.hollows import fill_hollows

DOWN = 6  # code of the neighbour south


def served_by_walking(
    ground_m: GroundArray,
    direction: Uint8Array,
    allowed: BoolArray,
    lips: BoolArray,
    top_m: float,
    interval_m: float,
    phases: int,
) -> FloatArray:
    """Allowed cells whose water meets a line of each phase where lips lie, within one interval."""
    served = np.zeros(phases)
    for phase in range(phases):
        levels = top_m - phase * interval_m / phases - interval_m * np.arange(-40, 40)
        for start in np.argwhere(allowed):
            row, column = start
            highest = lowest = float(ground_m[row, column])
            met = False
            while direction[row, column] not in (END, VOID):
                k = direction[row, column]
                row, column = row + ROW_STEP[k], column + COLUMN_STEP[k]
                here = float(ground_m[row, column])
                if here < lowest:
                    crossed = levels[(levels >= here) & (levels < lowest)]
                    near = crossed >= highest - interval_m
                    met = met or bool(lips[row, column] and near.any())
                    lowest = here
            served[phase] += met
    return served


@pytest.mark.parametrize("seed", range(4))
def test_a_level_serves_the_cells_whose_water_meets_its_lines_within_one_interval(
    seed: int,
) -> None:
    random = np.random.default_rng(seed)
    row, column = np.mgrid[0:24, 0:31]
    dem = 50.0 - 0.3 * row + 0.1 * column + random.normal(0.0, 0.3, row.shape)
    filled = fill_hollows(dem.astype(np.float32))
    direction = flow_over(filled.filled_m, filled.valid, filled.domain).direction
    # Water runs over the DEM, levels lie on the smoothed ground, which may rise along the way.
    ground = (dem + random.normal(0.0, 0.1, dem.shape)).astype(np.float32)
    allowed = random.random(dem.shape) < 0.6
    roomy = allowed & (random.random(dem.shape) < 0.4)
    found = _served(ground, direction, allowed, roomy, 1, 51.37, 2.0, 7)
    for of_a_kind, lips in zip(found, (allowed, roomy), strict=True):
        walked = served_by_walking(ground, direction, allowed, lips, 51.37, 2.0, 7)
        assert of_a_kind.tolist() == walked.tolist()
        assert len(set(of_a_kind)) > 1


def stepped_land(blocked_columns: int) -> tuple[GroundArray, Uint8Array, BoolArray]:
    """A slope of 8 % for 100 m above a step of 8 m, which every series of levels meets.

    600 columns, each its own way down; where the step is blocked the slope alone may carry lines,
    and the higher the first of them lies, the less of it is served. Every fifth column is looked
    at. Ten metres above the slope no line may lie.
    """
    height = 400.0 - 0.08 * np.arange(113.0)
    height[110:] -= 8.0
    ground = np.repeat(height, 600).reshape(113, 600).astype(np.float32)
    direction = np.full(ground.shape, DOWN, np.uint8)
    direction[-1] = END
    allowed = np.zeros(ground.shape, dtype=bool)
    allowed[10:111] = True
    allowed[110, : 5 * blocked_columns] = False
    return ground, direction, allowed


@pytest.mark.parametrize(("blocked", "fall_m"), [(0, 0.0), (1, 0.0), (2, 3.1)])
def test_levels_within_a_hundredth_of_the_best_count_as_equal_and_the_highest_wins(
    blocked: int, fall_m: float
) -> None:
    """One column in 120 less is 0.8 %; of two, two fifths must be served from further down."""
    ground, direction, allowed = stepped_land(blocked)
    top = first_level_m(ground, direction, allowed, allowed, 1.0, 8.0)
    highest = np.floor(10.0 * (400.0 - 0.08 * 10.0)) / 10.0
    assert top == pytest.approx(highest - fall_m, abs=0.25)
    assert top <= highest


def test_a_level_whose_lines_lack_room_gives_way_to_one_whose_lines_have_it() -> None:
    """A slope of 5 % for 300 m: two lines 8 m apart serve it, the lower right at its foot or not.

    By allowed ground alone the lower line lies within 1 % of the foot, where no mound fits.
    """
    ground = np.repeat(400.0 - 0.05 * np.arange(320.0), 60).reshape(320, 60).astype(np.float32)
    direction = np.full(ground.shape, DOWN, np.uint8)
    direction[-1] = END
    allowed = np.zeros(ground.shape, dtype=bool)
    allowed[10:310] = True
    roomy = allowed.copy()
    roomy[300:] = False
    without = first_level_m(ground, direction, allowed, allowed, 1.0, 8.0)
    chosen = first_level_m(ground, direction, allowed, roomy, 1.0, 8.0)
    assert without is not None
    assert chosen is not None
    rows = 20.0 * (400.0 - np.array([without, chosen])) % 160.0 + 160.0
    assert rows[0] >= 300.0
    assert 295.0 <= rows[1] < 300.0


def test_a_level_that_loses_little_for_want_of_room_stays() -> None:
    ground, direction, allowed = stepped_land(0)
    roomy = allowed.copy()
    roomy[:, :20] = False  # one column in thirty
    with_all = first_level_m(ground, direction, allowed, allowed, 1.0, 8.0)
    assert first_level_m(ground, direction, allowed, roomy, 1.0, 8.0) == with_all
