"""Chow, Maidment & Mays, Applied Hydrology (1988)."""

import numpy as np
import pytest

from soakline.inputs.types import RainTable
from soakline.water.curve_number import antecedent_curve_number, runoff_mm, storage_mm
from soakline.water.storms import alternating_blocks

MM_PER_INCH = 25.4
DENVER_MIN = np.arange(10.0, 121.0, 10.0)
ARRANGED_IN = [0.024, 0.033, 0.050, 0.084, 0.178, 0.693, 0.308, 0.117, 0.063, 0.040, 0.028, 0.021]


def denver_table() -> RainTable:
    """Denver, 10-year: i = 96.6 / (T^0.97 + 13.90) in/h, T in minutes."""
    intensity_in_h = 96.6 / (DENVER_MIN**0.97 + 13.90)
    depth_mm = intensity_in_h * DENVER_MIN / 60.0 * MM_PER_INCH
    return RainTable(DENVER_MIN, ("10",), depth_mm[:, None])


def test_example_5_5_1_storage_and_excess() -> None:
    """Example 5.5.1: CN 83.8, 5.00 in. M and D."""
    assert storage_mm(83.8) / MM_PER_INCH == pytest.approx(1.93, abs=0.01)
    assert runoff_mm(5.0 * MM_PER_INCH, 83.8) / MM_PER_INCH == pytest.approx(3.25, abs=0.01)


def test_example_5_5_2_wet_antecedent_condition() -> None:
    """Example 5.5.2: the same land wet, CN(III) 92.3. M and D."""
    wet = antecedent_curve_number(83.8, "III")
    assert wet == pytest.approx(92.3, abs=0.1)
    assert storage_mm(wet) / MM_PER_INCH == pytest.approx(0.83, abs=0.02)
    assert runoff_mm(5.0 * MM_PER_INCH, wet) / MM_PER_INCH == pytest.approx(4.13, abs=0.02)


def test_example_5_5_3_cumulative_excess() -> None:
    """Example 5.5.3: CN 80, cumulative rain by the hour, inches. M and D."""
    rain_in = np.array([0.20, 0.90, 1.27, 2.31, 4.65, 5.29, 5.36])
    excess_in = runoff_mm(rain_in * MM_PER_INCH, 80) / MM_PER_INCH
    assert excess_in == pytest.approx([0.0, 0.06, 0.18, 0.76, 2.59, 3.15, 3.21], abs=0.006)


@pytest.mark.parametrize(
    ("number", "dry", "wet"),
    [(40, 21.9, 60.5), (60, 38.7, 77.5), (80, 62.7, 90.2), (95, 88.9, 97.8), (100, 100, 100)],
)
def test_equations_5_5_8_and_5_5_9(number: float, dry: float, wet: float) -> None:
    """Equations 5.5.8 and 5.5.9. Formulas C, values D."""
    assert antecedent_curve_number(number, "I") == pytest.approx(dry, abs=0.05)
    assert antecedent_curve_number(number, "III") == pytest.approx(wet, abs=0.05)


def test_example_14_4_1_alternating_blocks() -> None:
    """Example 14.4.1: 2 hours in 10-minute blocks, inches. M and D."""
    times_min, depths_mm = alternating_blocks(denver_table(), 0, 120.0)
    assert times_min == pytest.approx(np.arange(0.0, 121.0, 10.0))
    assert np.diff(depths_mm) / MM_PER_INCH == pytest.approx(ARRANGED_IN, abs=0.0006)


def test_example_14_4_1_depth_of_two_hours() -> None:
    """Example 14.4.1, last column: 1.639 in. M and D; the formula gives 1.6395."""
    _, depths_mm = alternating_blocks(denver_table(), 0, 120.0)
    assert depths_mm[-1] / MM_PER_INCH == pytest.approx(1.639, abs=0.001)
