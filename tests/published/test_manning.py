"""Manning's formula: Chow, Open-Channel Hydraulics (1959)."""

import pytest

from soakline.overflow.velocity import manning_velocity_ms, sheet_depth_m


@pytest.mark.parametrize(
    ("n", "slope", "depth_m", "velocity_ms", "flow_m2s"),
    [
        (0.05, 0.02, 0.10, 0.609, 0.0609),
        (0.15, 0.05, 0.05, 0.202, 0.01012),
        (0.035, 0.01, 0.20, 0.977, 0.1954),
    ],
)
def test_wide_sheet(
    n: float, slope: float, depth_m: float, velocity_ms: float, flow_m2s: float
) -> None:
    """Chow 1959, wide channel with R = d. D."""
    velocity = manning_velocity_ms(depth_m, slope, n)
    assert velocity == pytest.approx(velocity_ms, abs=0.0005)
    assert velocity * depth_m == pytest.approx(flow_m2s, rel=0.001)
    assert sheet_depth_m(flow_m2s, slope, n) == pytest.approx(depth_m, rel=0.001)


def test_trapezoid() -> None:
    """Base 1.5 m, batter 2, depth 0.5 m, n 0.03, slope 0.005 (Chow 1959). D."""
    area_m2 = (1.5 + 2.0 * 0.5) * 0.5
    wetted_m = 1.5 + 2.0 * 0.5 * (1.0 + 2.0**2) ** 0.5
    assert area_m2 / wetted_m == pytest.approx(0.3346, rel=0.001)
    flow_m3s = area_m2 * manning_velocity_ms(area_m2 / wetted_m, 0.005, 0.03)
    assert flow_m3s == pytest.approx(1.420, rel=0.001)


def test_channel_of_tr_55_example_3_1() -> None:
    """TR-55 example 3-1: r 0.957 ft, s 0.005, n 0.05 give 2.05 ft/s (printed with 1.49). M, D."""
    velocity_ft_s = manning_velocity_ms(0.957 * 0.3048, 0.005, 0.05) / 0.3048
    assert velocity_ft_s == pytest.approx(2.05, abs=0.01)


def test_level_ground_has_no_normal_depth() -> None:
    """Depth d = (q n / √S)^0.6 has no value for S = 0."""
    with pytest.raises(ValueError, match="slope"):
        sheet_depth_m(0.1, 0.0, 0.05)
    assert manning_velocity_ms(0.1, 0.0, 0.05) == 0.0
    with pytest.raises(ValueError, match="roughness"):
        manning_velocity_ms(0.1, 0.01, 0.0)
