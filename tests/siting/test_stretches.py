"""Where along a lip a sill finds ground that suits it."""

import numpy as np
import pytest

from soakline.siting.stations import stations_along
from soakline.siting.stretches import Stretch, sill_stretches
from tests.terrain_analytic.ground import centred_grid

LEVEL_M = 100.0


def stretches_on(rise: float, begins_m: float) -> list[Stretch]:
    """Of a lip running east, 10 m down a slope of 10 %, whose ground rises along it.

    It lies at the level `begins_m` from the lip's start.
    """
    grid = centred_grid(60.0, 60.0)
    west, south, _, _ = grid.bounds
    lip = np.array([[west + 10.0, south + 30.0], [west + 50.0, south + 30.0]])
    east, north = np.meshgrid(np.arange(60) + 0.5 - 10.0, 60.0 - np.arange(60) - 0.5 - 30.0)
    ground = (LEVEL_M + 0.1 * north + rise * (east - begins_m)).astype(np.float32)
    return sill_stretches(stations_along(lip, 0.5), LEVEL_M, ground, grid)


def test_stretches_are_those_with_ground_that_suits() -> None:
    """0 to 0.05 m over the level from 10.3 to 15.3 m, then to 0.15 m at 25.3 m."""
    natural, to_cut = stretches_on(0.01, 10.3)
    assert not natural.cut_in
    assert (natural.start_m, natural.end_m) == pytest.approx((10.5, 15.0))
    assert to_cut.cut_in
    assert (to_cut.start_m, to_cut.end_m) == pytest.approx((15.5, 25.0))


def test_a_stretch_just_long_enough_lies_between_stations_too() -> None:
    """1.2 m of it, and only two stations on it, 0.5 m apart."""
    natural = [own for own in stretches_on(0.05 / 1.2, 10.2) if not own.cut_in]
    assert len(natural) == 1
    assert 1.0 <= natural[0].end_m - natural[0].start_m <= 1.2


def test_a_lip_all_of_whose_ground_suits_is_one_stretch_from_end_to_end() -> None:
    (whole,) = stretches_on(1e-7, -200_000.0)
    assert (whole.start_m, whole.end_m) == (0.0, pytest.approx(40.0))
