"""Uniform flow in a trapezoidal earth channel: Chow, Open-Channel Hydraulics (1959)."""

import pytest

from soakline.diversions.drains import channel_flow_m3s, drain_section


def test_flow_of_the_trapezoid() -> None:
    """Base 1.5 m, batter 2, depth 0.5 m, n 0.03, slope 0.005: 1.420 m³/s (eq. 5-6). D."""
    assert channel_flow_m3s(1.5, 2.0, 0.5, 0.005, 0.03) == pytest.approx(1.420, rel=0.001)


def test_normal_depth_of_the_trapezoid() -> None:
    """The same channel the other way round: 1.420 m³/s stands 0.5 m deep, at 1.136 m/s. D."""
    section = drain_section(1.420, 0.005, 2.0, manning_n=0.03, base_width_m=1.5, deepest_flow_m=1.0)
    assert section.base_width_m == 1.5
    assert section.flow_depth_m == pytest.approx(0.5, abs=0.0005)
    assert section.velocity_ms == pytest.approx(1.420 / 1.25, rel=0.001)
