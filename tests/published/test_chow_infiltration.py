"""Chow, Maidment & Mays, Applied Hydrology (1988): Green and Ampt, and the unit hydrograph.

Printed answers from memory (M), each recomputed from the printed formula (D).
"""

import numpy as np
import pytest

from soakline.water.green_ampt import GreenAmpt, green_ampt_for, shed_mm
from soakline.water.unit_hydrograph import arrived_share, ratios, time_to_peak_h, unit_hydrograph

SILT_LOAM = green_ampt_for("silt-loam", "II")


def infiltrated_cm(ground: GreenAmpt, rate_cm_h: float, hours: float) -> float:
    """Depth taken from steady rain."""
    rain_mm = 10.0 * rate_cm_h * hours
    return float(rain_mm - shed_mm([0.0, 60.0 * hours], [0.0, rain_mm], ground)[-1]) / 10.0


def ponds_after_h(rate_cm_h: float) -> float:
    """Longest steady rain of which all soaks in, by halving."""
    low, high = 0.0, 20.0
    for _ in range(40):
        middle = 0.5 * (low + high)
        dry = infiltrated_cm(SILT_LOAM, rate_cm_h, middle) >= rate_cm_h * middle
        low, high = (middle, high) if dry else (low, middle)
    return low


def capacity_cm_h(ground: GreenAmpt, depth_cm: float) -> float:
    """Equation 4.3.7: f = K (1 + ψΔθ / F)."""
    return ground.conductivity_mm_h / 10.0 * (1.0 + ground.suction_deficit_mm / 10.0 / depth_cm)


def test_example_4_3_1_room_for_water_and_suction() -> None:
    """Example 4.3.1: silt loam at an effective saturation of 30 %: Δθ 0.340, ψΔθ 5.68 cm. M, D."""
    assert SILT_LOAM.suction_deficit_mm / 166.8 == pytest.approx(0.340, abs=0.0005)
    assert SILT_LOAM.suction_deficit_mm / 10.0 == pytest.approx(5.68, abs=0.01)
    assert SILT_LOAM.conductivity_mm_h == 6.5


def test_example_4_3_1_depth_and_rate_after_an_hour_of_ponding() -> None:
    """Example 4.3.1: F 3.17 cm, f 1.81 cm/h (unrounded 1.816) after 1 h. M, D.

    Ponded from the start is the limit of rain without bounds.
    """
    depth_cm = infiltrated_cm(SILT_LOAM, 1e7, 1.0)
    assert depth_cm == pytest.approx(3.17, abs=0.005)
    assert capacity_cm_h(SILT_LOAM, depth_cm) == pytest.approx(1.81, abs=0.01)


@pytest.mark.parametrize(
    ("rate_cm_h", "ponds_h", "tolerance_h", "fallen_cm"),
    [(1.0, 10.5, 0.06, 10.5), (5.0, 0.17, 0.005, 0.85)],
)
def test_example_5_4_1_time_to_ponding(
    rate_cm_h: float, ponds_h: float, tolerance_h: float, fallen_cm: float
) -> None:
    """Example 5.4.1: 10.5 h and 10.5 cm at 1 cm/h; 0.17 h and 0.85 cm at 5 cm/h. M, D."""
    found_h = ponds_after_h(rate_cm_h)
    assert found_h == pytest.approx(ponds_h, abs=tolerance_h)
    assert found_h * rate_cm_h == pytest.approx(fallen_cm, abs=tolerance_h)
    before, after = 0.999 * found_h, 1.001 * found_h
    assert infiltrated_cm(SILT_LOAM, rate_cm_h, before) == pytest.approx(rate_cm_h * before)
    assert infiltrated_cm(SILT_LOAM, rate_cm_h, after) < rate_cm_h * after


def test_example_5_4_2_depth_and_rate_after_an_hour_of_rain() -> None:
    """Example 5.4.2: 5 cm/h for 1 h: F 3.02 cm, f 1.87 to 1.88 cm/h. M, D."""
    depth_cm = infiltrated_cm(SILT_LOAM, 5.0, 1.0)
    assert depth_cm == pytest.approx(3.02, abs=0.01)
    assert capacity_cm_h(SILT_LOAM, depth_cm) == pytest.approx(1.88, abs=0.012)


@pytest.mark.parametrize(
    ("texture", "suction_cm", "depth_cm", "rate_cm_h", "tolerance"),
    [
        ("sand", 1.445, 15.32, 12.89, 0.01),
        ("loam", 2.701, 1.591, 0.917, 0.001),
        ("clay", 8.524, 0.735, 0.378, 0.001),
    ],
)
def test_an_hour_of_ponding_on_other_soils(
    texture: str, suction_cm: float, depth_cm: float, rate_cm_h: float, tolerance: float
) -> None:
    """Equations 4.3.7 and 4.3.8 on rows of Table 4.3.1 at 30 %. D."""
    ground = green_ampt_for(texture, "II")
    assert ground.suction_deficit_mm / 10.0 == pytest.approx(suction_cm, abs=0.0005)
    found_cm = infiltrated_cm(ground, 1e7, 1.0)
    assert found_cm == pytest.approx(depth_cm, abs=tolerance)
    assert capacity_cm_h(ground, found_cm) == pytest.approx(rate_cm_h, abs=tolerance)


def test_example_7_7_1_ten_minute_unit_hydrograph() -> None:
    """Example 7.7.1: 3.0 km², Tc 1.25 h, 10 min: Tp 0.833 h, base 2.22 h, 7.49 m³/s per cm. M, D.

    The book rounds the peak factor to 2.08; unrounded it gives 7.50.
    """
    to_peak_h = float(time_to_peak_h(1.25, 600.0))
    assert to_peak_h == pytest.approx(0.833, abs=0.0005)
    assert to_peak_h * ratios("triangular")[0][-1] == pytest.approx(2.22, abs=0.005)
    # How fast the arrived share rises just before the peak is the peak's share of 1 cm on 3 km².
    share = np.diff(arrived_share([1.0 - 1e-6, 1.0], "triangular"))[0]
    peak_m3s = share * 3.0e6 * 0.01 / (1e-6 * to_peak_h * 3600.0)
    assert peak_m3s == pytest.approx(7.49, abs=0.011)


def test_example_7_7_1_in_steps_of_its_own_burst() -> None:
    """The same unit hydrograph by 10 min: 30,000 m³; the step after the peak is the highest. D.

    Tp is 5 steps; over the next 8⅓ the flow falls from 7.50 m³/s to 0.
    """
    flow_m3 = 3.0e6 * 0.01 * unit_hydrograph(1.25, 600.0, "triangular")
    assert flow_m3.sum() == 30_000.0
    assert int(flow_m3.argmax()) == 5
    assert flow_m3[4:6] / 600.0 == pytest.approx([7.5 * 0.9, 7.5 * (1.0 - 0.5 * 3.0 / 25.0)])
