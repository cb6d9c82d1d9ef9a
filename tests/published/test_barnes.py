"""Filling hollows: Barnes, Lehman & Mulla 2014, Computers & Geosciences 62:117-127."""

import numpy as np
import pytest

from soakline.grid import GroundArray
from soakline.terrain.hollows import fill_hollows, find_hollows
from tests.terrain_analytic.ground import centred_grid, plane, sample

BOWL = np.array(
    [
        [9, 9, 9, 9, 9],
        [9, 5, 6, 5, 9],
        [9, 6, 2, 6, 7],
        [9, 5, 6, 5, 9],
        [9, 9, 9, 9, 9],
    ],
    dtype=np.float32,
)


def rough(seed: int) -> GroundArray:
    random = np.random.default_rng(seed)
    dem, _ = sample(plane(3.0, 213.0), width_m=60.0)
    return (dem + random.normal(0.0, 0.5, dem.shape)).astype(np.float32)


def test_a_bowl_fills_to_its_outlet() -> None:
    """All nine inner cells become 7, the edge stays. D."""
    filled = fill_hollows(BOWL).filled_m
    assert (filled[1:-1, 1:-1] == 7.0).all()
    edge = np.ones(BOWL.shape, dtype=bool)
    edge[1:-1, 1:-1] = False
    assert (filled[edge] == BOWL[edge]).all()


def test_the_bowl_holds_17_m3() -> None:
    """4 × 2 + 4 × 1 + 5 = 17 with cells of 1 m². D."""
    found = find_hollows(BOWL, fill_hollows(BOWL), centred_grid(5.0, 5.0), 0.3, 5.0)
    assert found.volume_m3.tolist() == [17.0]
    assert found.depth_m.tolist() == [5.0]
    assert found.level_m.tolist() == [7.0]


@pytest.mark.parametrize("seed", range(4))
def test_the_filled_surface_is_the_lowest_that_drains(seed: int) -> None:
    """Raised cells have a way out no higher than themselves, and one cell less high would not."""
    dem = rough(seed)
    filled = fill_hollows(dem).filled_m
    assert (filled >= dem).all()
    # By its meaning: each cell is as high as the lowest pass on the way to the edge.
    lowest = np.full(dem.shape, np.inf, np.float32)
    lowest[[0, -1]], lowest[:, [0, -1]] = dem[[0, -1]], dem[:, [0, -1]]
    while True:
        around = np.pad(lowest, 1, constant_values=np.inf)
        pass_m = np.min(
            [
                around[r : r + dem.shape[0], c : c + dem.shape[1]]
                for r in range(3)
                for c in range(3)
            ],
            axis=0,
        )
        better = np.minimum(lowest, np.maximum(dem, pass_m))
        if np.array_equal(better, lowest):
            break
        lowest = better
    assert np.array_equal(filled, lowest)


def test_filling_twice_changes_nothing() -> None:
    once = fill_hollows(rough(1)).filled_m
    assert np.array_equal(fill_hollows(once).filled_m, once)


def test_ground_that_drains_stays_as_it_is() -> None:
    dem, _ = sample(plane(5.0, 213.0), width_m=40.0)
    assert np.array_equal(fill_hollows(dem).filled_m, dem)


def test_a_hole_inside_is_no_outlet() -> None:
    """The cell missing in the bowl's middle is flooded with it; the bowl still fills to 7."""
    dem = BOWL.copy()
    dem[2, 2] = np.nan
    filled = fill_hollows(dem)
    assert (filled.filled_m[1:-1, 1:-1] == 7.0).all()
    assert not filled.valid[2, 2]
    assert filled.domain.all()


def test_a_gap_that_reaches_the_edge_is_an_outlet() -> None:
    dem = BOWL.copy()
    dem[2, 3:] = np.nan
    filled = fill_hollows(dem)
    assert filled.filled_m[2, 2] == 2.0
    assert not filled.domain[2, 3:].any()


def test_columns_first_in_memory_is_the_same_ground() -> None:
    """RichDEM crashes on such an array, so it must never be handed one."""
    dem = rough(2)
    filled = fill_hollows(np.asfortranarray(dem)).filled_m
    assert np.array_equal(filled, fill_hollows(dem).filled_m)
