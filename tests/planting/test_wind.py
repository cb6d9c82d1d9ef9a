"""Horizons, exposure, windbreaks and their shelter: closed forms on known ground."""

import numpy as np
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st

from soakline.grid import Grid
from soakline.planting.wind import across, behind, exposure, horizon_slope
from soakline.planting.windbreaks import choose, ranks_of

SIDE = 301
GRID = Grid(SIDE, SIDE, 0.0, float(SIDE), 1.0, "")
EAST, NORTH = np.meshgrid(np.arange(SIDE) + 0.5, SIDE - 0.5 - np.arange(SIDE))
HERE = (np.array([150.5]), np.array([150.5]))


@given(slope=st.floats(0.0, 0.5), down=st.floats(0.0, 360.0), wind=st.floats(0.0, 360.0))
def test_on_a_plane_the_horizon_is_the_slope_along_the_wind(
    slope: float, down: float, wind: float
) -> None:
    """A plane that falls towards `down` rises upwind by minus its slope times the cosine between.

    Nearest cells lie up to 0.71 m off at the first step of 10 m.
    """
    fall = np.radians(down)
    ground = (-slope * (EAST * np.sin(fall) + NORTH * np.cos(fall)) + 100.0).astype(np.float32)
    found = horizon_slope(ground, GRID, *HERE, np.array([wind]))[0, 0]
    assert found == pytest.approx(-slope * np.cos(np.radians(wind - down)), abs=0.08 * slope + 1e-4)


def test_a_wall_shelters_to_as_many_heights_as_asked_and_half_at_twice_as_far() -> None:
    """A bank 3 m high: no wind is left at up to 10 heights, half of it at 20 (linear in slope)."""
    ground = np.where(NORTH > 200.0, 3.0, 0.0).astype(np.float32)
    far = np.array([15.0, 29.0, 60.0])
    horizon = horizon_slope(ground, GRID, np.full(3, 150.5), 200.5 - far, np.array([0.0, 180.0]))
    left = exposure(horizon, 10.0)
    assert left[:2, 0].tolist() == [0.0, 0.0]
    assert left[2, 0] == pytest.approx(0.5, abs=0.1)
    assert left[:, 1].tolist() == [1.0, 1.0, 1.0]


def test_ground_that_is_missing_upwind_is_open() -> None:
    ground = np.where(NORTH > 170.0, np.nan, 5.0).astype(np.float32)
    assert exposure(horizon_slope(ground, GRID, *HERE, np.array([0.0])), 10.0)[0, 0] == 1.0


def test_wind_square_to_a_line_meets_it_and_wind_along_it_does_not() -> None:
    met = across(np.array([0.0]), np.array([1.0]), np.array([0.0, 180.0, 90.0, 30.0]))
    assert met[0] == pytest.approx([1.0, 1.0, 0.0, np.cos(np.radians(30.0))], abs=1e-12)


@given(
    far=st.floats(1.0, 400.0),
    up=st.floats(-30.0, 30.0),
    tall=st.floats(2.0, 30.0),
    heights=st.floats(1.0, 30.0),
)
def test_shelter_reaches_so_many_heights_downwind_over_what_stands_above_the_place(
    far: float, up: float, tall: float, heights: float
) -> None:
    """Closed form: distance ≤ heights × (tall less what the place lies higher)."""
    row = np.array([shapely.LineString([(-500.0, 0.0), (500.0, 0.0)])], dtype=object)
    reach = heights * (tall - max(up, 0.0))
    if abs(far - reach) < 1e-6:
        return
    found = behind(
        np.zeros(1),
        np.array([-far]),
        np.array([up]),
        np.array([0.0, 180.0, 90.0]),
        row,
        np.zeros(1),
        np.array([tall]),
        heights,
    )
    assert found.tolist() == [[far < reach, False, False]]


def test_levels_count_down_from_the_highest_and_nearly_one_level_is_one() -> None:
    level = np.array([92.0, 100.0, 84.0, 99.7, 92.3])
    assert ranks_of(level, np.full(5, 8.0)).tolist() == [1, 0, 2, 0, 1]


def test_every_sixth_level_is_the_one_that_meets_the_most_wind() -> None:
    rank = np.arange(12)
    length, ridge = np.full(12, 100.0), np.zeros(12, dtype=bool)
    met = np.full(12, 0.6)
    met[[3, 9]] = 0.9
    assert np.flatnonzero(choose(rank, met, length, ridge, 6)).tolist() == [3, 9]
    # Of what meets too little, nothing is chosen, though its level is.
    met[9] = 0.4
    length[3] = 300.0
    assert np.flatnonzero(choose(rank, met, length, ridge, 6)).tolist() == [3]
    ridge[0] = True
    assert np.flatnonzero(choose(rank, met, length, ridge, 6)).tolist() == [0, 3]


def test_few_levels_leave_the_ridge_alone_and_one_level_has_no_windbreak() -> None:
    ridge = np.array([True, False, False])
    assert choose(np.arange(3), np.ones(3), np.ones(3), ridge, 6).tolist() == ridge.tolist()
    assert not choose(np.zeros(3, dtype=np.int64), np.ones(3), np.ones(3), ridge, 6).any()
