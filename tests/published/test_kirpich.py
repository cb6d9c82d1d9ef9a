"""Kirpich 1940, Civil Engineering 10(6); as in Chow, Maidment & Mays 1988, Table 15.1.2."""

import pytest

from soakline.water.time_of_concentration import concentration_h, kirpich_h


@pytest.mark.parametrize(
    ("length_m", "slope", "minutes"), [(1000.0, 0.05, 12.6), (300.0, 0.10, 3.8)]
)
def test_minutes_by_length_and_slope(length_m: float, slope: float, minutes: float) -> None:
    """0.0195 L^0.77 S^−0.385 min: 12.6 and 3.8. No printed example was found: D, to 1 %."""
    assert 60.0 * kirpich_h(length_m, slope) == pytest.approx(minutes, rel=0.01)


def test_metres_have_the_factor_0_0195() -> None:
    """0.0078 with feet is 0.0195 with metres. D."""
    assert 60.0 * kirpich_h(1.0, 1.0) == pytest.approx(0.0195, abs=0.00005)


def test_time_of_concentration_takes_the_ways_own_slope() -> None:
    """50 m of fall over 1000 m: 12.6 min. D."""
    tc_h = concentration_h("kirpich", [1000.0], [50.0], [99.0], [74.0], 60.0)
    assert 60.0 * tc_h == pytest.approx([12.6], rel=0.01)
