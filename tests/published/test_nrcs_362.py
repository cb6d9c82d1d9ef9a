"""NRCS Conservation Practice Standard 362, Diversion."""

import pytest

from soakline.diversions.drains import drain_section


@pytest.mark.parametrize("peak_m3s", [0.005, 0.05, 0.5])
def test_freeboard_is_no_less_than_three_tenths_of_a_foot(peak_m3s: float) -> None:
    """CPS 362: a diversion's freeboard is at least 0.3 ft, 0.09 m. M."""
    section = drain_section(peak_m3s, 1 / 300, 0.9)
    assert section.depth_m - section.flow_depth_m >= 0.3 * 0.3048
