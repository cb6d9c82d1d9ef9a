"""TR-55 (USDA 1986), chapter 3: travel time and time of concentration."""

import pytest

from soakline.water.time_of_concentration import concentration_h, sheet_flow_h

FOOT_M, INCH_MM = 0.3048, 25.4


def test_example_3_1_sheet_flow() -> None:
    """Example 3-1, AB: dense grass n 0.24, 100 ft, 1 %, P₂ 3.6 in: 0.30 h. C (stored text), D."""
    hours = sheet_flow_h(100.0 * FOOT_M, 0.01, 3.6 * INCH_MM, manning_n=0.24)
    assert hours == pytest.approx(0.30, abs=0.005)


def test_example_3_1_shallow_concentrated_flow() -> None:
    """Example 3-1, BC: unpaved, 1400 ft, 1 %: 1.6 ft/s, 0.24 h. C (stored text), D.

    The velocity method over 1500 ft, less its own sheet flow over the first 100 ft.
    """
    length_m = 1500.0 * FOOT_M
    tc_h = concentration_h("velocity", [length_m], [0.01 * length_m], [1.0], [74.0], 3.6 * INCH_MM)
    beyond_h = float(tc_h[0]) - float(sheet_flow_h(100.0 * FOOT_M, 0.01, 3.6 * INCH_MM))
    assert beyond_h == pytest.approx(0.24, abs=0.005)
    assert 1400.0 / 3600.0 / beyond_h == pytest.approx(1.6, abs=0.05)


def test_unpaved_ground_in_metres_has_the_factor_4_918() -> None:
    """Figure 3-1, appendix F: V = 16.1345 √s ft/s = 4.918 √s m/s. M, D."""
    one, other = concentration_h(
        "velocity", [5000.0, 6000.0], [500.0, 600.0], [10.0, 10.0], [74.0, 74.0], 80.0
    )
    assert 1000.0 / (3600.0 * (other - one)) == pytest.approx(4.918 * 0.1**0.5, rel=1e-4)


@pytest.mark.parametrize("method", ["lag", "velocity", "kirpich"])
def test_no_time_of_concentration_is_under_six_minutes(method: str) -> None:
    """Chapter 3: the least time of concentration is 0.1 h. C."""
    tc_h = concentration_h(method, [0.0, 1.0], [0.0, 0.5], [0.0, 50.0], [98.0, 98.0], 80.0)  # type: ignore[arg-type]
    assert tc_h.tolist() == [0.1, 0.1]
