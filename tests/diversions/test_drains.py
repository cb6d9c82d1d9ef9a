"""Sections of drains: wide enough, no wider than needed."""

import numpy as np
import pytest

from soakline.diversions.drains import channel_flow_m3s, drain_section
from soakline.overflow.velocity import manning_velocity_ms, permissible_ms


def test_flow_is_area_times_mannings_velocity() -> None:
    for base, batter, depth, grade, n in (
        (0.3, 2.0, 0.2, 1 / 300, 0.035),
        (1.2, 1.5, 0.4, 0.01, 0.03),
    ):
        area = (base + batter * depth) * depth
        radius = area / (base + 2.0 * depth * np.sqrt(1.0 + batter**2))
        expected = area * float(manning_velocity_ms(radius, grade, n))
        assert channel_flow_m3s(base, batter, depth, grade, n) == pytest.approx(expected, rel=1e-12)


def test_a_small_peak_has_the_least_base_and_the_freeboard_above_its_flow() -> None:
    section = drain_section(0.02, 1 / 300, 0.9)
    assert section.base_width_m == 0.3
    assert section.depth_m == pytest.approx(section.flow_depth_m + 0.1)
    assert section.top_width_m == pytest.approx(0.3 + 4.0 * section.depth_m)
    assert not section.needs_lining


def test_a_flow_too_fast_widens_the_base_until_it_is_just_borne() -> None:
    narrow = drain_section(0.25, 1 / 100, 5.0)
    wide = drain_section(0.25, 1 / 100, 0.75)
    assert narrow.velocity_ms > 0.75
    assert wide.velocity_ms == pytest.approx(0.75, abs=1e-3)
    assert wide.base_width_m > narrow.base_width_m == 0.3
    assert wide.flow_depth_m < narrow.flow_depth_m


def test_a_flow_too_deep_widens_the_base() -> None:
    section = drain_section(0.8, 1 / 300, 5.0)
    assert section.flow_depth_m == pytest.approx(0.5, abs=1e-3)
    assert section.base_width_m > 0.3


def test_where_no_base_is_wide_enough_lining_is_needed() -> None:
    section = drain_section(2.0, 1 / 30, 0.9, widest_base_m=2.0)
    assert section.base_width_m == 2.0
    assert section.velocity_ms > 0.9
    assert section.needs_lining


def test_ground_steeper_than_the_table_goes_needs_lining_however_slow() -> None:
    limit = permissible_ms("grass-mixture", "erodible", 12.0)
    assert limit is None
    assert drain_section(0.001, 0.12, limit).needs_lining


def test_without_water_the_freeboard_is_left() -> None:
    section = drain_section(0.0, 1 / 300, 0.9)
    assert (section.flow_depth_m, section.velocity_ms) == (0.0, 0.0)
    assert section.depth_m == 0.1


@pytest.mark.parametrize(("peak_m3s", "grade"), [(-0.1, 0.01), (0.1, 0.0), (float("nan"), 0.01)])
def test_what_cannot_flow_is_refused(peak_m3s: float, grade: float) -> None:
    with pytest.raises(ValueError, match="must"):
        drain_section(peak_m3s, grade, 0.9)
