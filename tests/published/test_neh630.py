"""USDA NRCS, National Engineering Handbook, Part 630: chapters 15 and 16."""

import numpy as np
import pytest

from soakline import tables
from soakline.overflow.velocity import manning_velocity_ms
from soakline.water.curve_number import storage_mm
from soakline.water.time_of_concentration import concentration_h, lag_h
from soakline.water.unit_hydrograph import Shape, arrived_share, ratios, time_to_peak_h

FOOT_M = 0.3048

# Table 16-1: t/Tp and Qa/Q, the share of the volume before it. M; 0.3 and 1.5 as integrated, since
# older printings give 0.012 and 0.700 there.
MASS = {
    0.1: 0.001, 0.2: 0.006, 0.3: 0.017, 0.4: 0.035, 0.5: 0.065, 0.6: 0.107, 0.7: 0.163, 0.8: 0.228,
    0.9: 0.300, 1.0: 0.375, 1.1: 0.450, 1.2: 0.522, 1.3: 0.589, 1.4: 0.650, 1.5: 0.705, 1.6: 0.751,
    1.7: 0.790, 1.8: 0.822, 1.9: 0.849, 2.0: 0.871, 2.2: 0.908, 2.4: 0.934, 2.6: 0.953, 2.8: 0.967,
    3.0: 0.977, 3.2: 0.984, 3.4: 0.989, 3.6: 0.993, 3.8: 0.995, 4.0: 0.997, 4.5: 0.999, 5.0: 1.000,
}  # fmt: skip


def test_lag_of_a_large_catchment_in_its_own_units() -> None:
    """Eq. 15-4a: 6,900 ft, 2.8 %, CN 75: lag 1.033 h, Tc 1.722 h. C, D.

    From a stored exercise that uses the equation, not from the handbook. It rounds S to 3.33 in;
    unrounded, lag and Tc are 0.001 h longer.
    """
    assert lag_h(6900.0 * FOOT_M, 2.8, 75.0) == pytest.approx(1.033, abs=0.0011)
    tc_h = concentration_h("lag", [6900.0 * FOOT_M], [0.0], [2.8], [75.0], 60.0)
    assert tc_h == pytest.approx([1.722], abs=0.0015)


def test_lag_of_a_hillside() -> None:
    """Eq. 15-4a: 500 m, CN 74, 8 %: 0.1994 h in both unit systems. D."""
    assert lag_h(500.0, 8.0, 74.0) == pytest.approx(0.1994, abs=0.0003)


def test_lag_in_metres_and_millimetres_has_the_factor_7069() -> None:
    """The metric twin: l^0.8 (S + 25.4)^0.7 / (7069 Y^0.5), factor ± 1. D."""
    length_m, slope_pct, number = 300.0, 5.0, 80.0
    numerator = length_m**0.8 * (float(storage_mm(number)) + 25.4) ** 0.7
    factor = numerator / (float(lag_h(length_m, slope_pct, number)) * np.sqrt(slope_pct))
    assert factor == pytest.approx(7069.0, abs=1.0)


def test_time_of_concentration_is_five_thirds_of_the_lag() -> None:
    """Eq. 15-3. M."""
    tc_h = concentration_h("lag", [500.0], [40.0], [8.0], 74.0, 60.0)
    assert tc_h == pytest.approx(lag_h(500.0, 8.0, 74.0) / 0.6, rel=1e-12)


def test_water_over_short_grass_runs_7_feet_a_second_down_a_vertical_unit() -> None:
    """Table 15-3, short-grass pasture: depth 0.2 ft, n 0.073, 6.962 √s ft/s (M).

    FHWA HEC-22 rounds to 0.213 √(s %). C.
    """
    velocity_ms = manning_velocity_ms(0.2 * FOOT_M, 0.04, 0.073)
    assert velocity_ms / FOOT_M == pytest.approx(6.962 * 0.2, rel=0.001)
    assert velocity_ms == pytest.approx(0.213 * 2.0, rel=0.005)


def test_mass_of_the_curvilinear_unit_hydrograph() -> None:
    """Table 16-1: the flow column (C), integrated, gives the mass column within 0.002."""
    found = arrived_share(list(MASS), "curvilinear")
    assert np.all(np.abs(found.round(3) - list(MASS.values())) < 0.0021)


def test_flow_ratios_of_table_16_1() -> None:
    """Table 16-1, q/qp: peak 1 at 1, 0.66 at 0.6, 0.28 at 2, nothing from 5 on. C."""
    times, flows = ratios("curvilinear")
    by_time = dict(zip(times.tolist(), flows.tolist(), strict=True))
    assert (by_time[0.6], by_time[1.0], by_time[2.0], by_time[5.0]) == (0.66, 1.0, 0.28, 0.0)
    assert len(by_time) == 33
    assert all(row["source"] for row in tables.rows("unit_hydrograph.csv"))


@pytest.mark.parametrize("shape", ["curvilinear", "triangular"])
def test_peak_factor_is_484_or_0_208(shape: Shape) -> None:
    """Eq. 16-5 to 16-7: qp = 484 A Q / Tp (mi², in, h), 0.208 A Q / Tp (km², mm, h). M and D.

    The area below the ratios is 1.336 Tp qp, that of the triangle 4/3.
    """
    times, flows = ratios(shape)
    area = np.trapezoid(flows, times)
    square_mile_inch_ft3 = 5280.0**2 / 12.0
    assert square_mile_inch_ft3 / 3600.0 / area == pytest.approx(484.0, abs=1.1)
    assert 1000.0 / 3600.0 / area == pytest.approx(0.208, abs=0.0005)


def test_triangle_ends_at_eight_thirds_with_three_eighths_before_the_peak() -> None:
    """Chapter 16: base 2.67 Tp, 0.375 of the volume before the peak. M."""
    assert ratios("triangular")[0][-1] == pytest.approx(2.67, abs=0.005)
    assert arrived_share([1.0, 8.0 / 3.0, 9.0], "triangular") == pytest.approx([0.375, 1.0, 1.0])


def test_time_to_peak_is_half_the_burst_and_the_lag() -> None:
    """Tp = D / 2 + 0.6 Tc. M."""
    assert time_to_peak_h([0.1, 2.0], 720.0) == pytest.approx([0.16, 1.3])
