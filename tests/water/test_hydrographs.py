"""Hydrographs: steps, arrivals, and what the whole of a storm brings."""

import numpy as np
import pytest

from soakline.inputs.rain_pattern import RainPattern
from soakline.inputs.types import RainTable
from soakline.water.hydrographs import (
    arriving_m3,
    edges_min,
    excess_steps_mm,
    ponded_rain_m3,
    step_s,
    storm_hydrographs,
)
from soakline.water.losses import HARD_SURFACE, curve_number_loss
from soakline.water.storms import largest_rain_rise_mm, storms_for
from soakline.water.unit_hydrograph import unit_hydrograph, unit_hydrographs

TABLE = RainTable(
    np.array([5.0, 30.0, 120.0]),
    ("10", "100"),
    np.array([[10.0, 16.0], [27.0, 43.0], [49.0, 80.0]]),
)
STORM = storms_for(TABLE, 0, 1, "alternating")[-1]
GROUND = [curve_number_loss(74.0, "II"), HARD_SURFACE]
TC_H = np.array([0.1, 0.25, 1.0])
AREA_M2 = np.array([[10_000.0, 0.0], [4_000.0, 500.0], [0.0, 900.0]])


@pytest.mark.parametrize(
    ("tc_h", "expected_s"),
    [
        ([0.1], 72.0),
        ([0.19], 72.0),
        ([0.2], 144.0),
        ([1.0, 0.3], 216.0),
        ([0.05], 72.0),
        ([], 72.0),
    ],
)
def test_a_step_is_a_fifth_of_the_shortest_time_in_whole_windows(
    tc_h: list[float], expected_s: float
) -> None:
    assert step_s(tc_h) == expected_s


def test_two_cloudbursts_within_a_fifth_of_a_time_are_kept_apart() -> None:
    """A step of 85 s, a fifth of 425 s, would hold both bursts and pass the bound of 72 s."""
    apart = RainPattern(
        np.array([0.0, 1.0, 80.0, 81.0, 300.0]) / 300.0, np.array([0.0, 0.5, 0.5, 1.0, 1.0])
    )
    storm = storms_for(TABLE, 0, 1, apart)[0]
    most_mm = largest_rain_rise_mm(storm)
    for seconds, within in ((step_s([425.0 / 3600.0]), True), (85.0, False)):
        rain = ponded_rain_m3(storm, np.array([1000.0]), seconds, 6)
        assert (rain.max() / seconds <= most_mm / 72.0 * (1.0 + 1e-9)) == within


def test_a_burst_of_one_step_arrives_as_the_unit_hydrograph() -> None:
    arriving = storm_hydrographs(
        np.array([[0.0, 2.0]]), np.array([[5000.0]]), [0.3], 72.0, "triangular"
    )
    shares = unit_hydrograph(0.3, 72.0, "triangular")
    assert arriving[0] == pytest.approx(np.concatenate([[0.0], 10.0 * shares]), rel=1e-15)


def test_a_slow_twin_gives_the_same_hydrographs() -> None:
    """Sums over classes and steps written out, with numpy's own convolution."""
    shed = excess_steps_mm(STORM, GROUND, 72.0)
    arriving = storm_hydrographs(shed, AREA_M2, TC_H, 72.0, "curvilinear")
    for swale, tc_h in enumerate(TC_H):
        volume_m3 = sum(AREA_M2[swale, k] * shed[k] / 1000.0 for k in range(2))
        twin = np.convolve(volume_m3, unit_hydrograph(float(tc_h), 72.0, "curvilinear"))
        assert arriving[swale, : twin.size] == pytest.approx(twin, abs=1e-12)
        assert np.all(arriving[swale, twin.size :] == 0.0)


def test_ground_with_a_longer_time_of_concentration_gives_a_lower_and_later_peak() -> None:
    shed = excess_steps_mm(STORM, GROUND[:1], 72.0)
    arriving = storm_hydrographs(shed, np.full((3, 1), 10_000.0), TC_H, 72.0, "curvilinear")
    peaks = arriving.max(axis=1)
    assert peaks[0] > peaks[1] > peaks[2]
    assert np.all(np.diff(arriving.argmax(axis=1)) > 0)


def test_the_recession_of_the_slowest_swale_is_whole() -> None:
    shed = excess_steps_mm(STORM, GROUND, 72.0)
    arrival = unit_hydrographs(TC_H, 72.0, "curvilinear")
    arriving = arriving_m3(shed, AREA_M2, arrival)
    assert arriving.shape == (3, shed.shape[1] + arrival.steps.max() - 1)
    assert arriving[2, -1] > 0.0
    assert arriving.sum(axis=1) == pytest.approx(AREA_M2 @ shed.sum(axis=1) / 1000.0, rel=1e-12)


def test_rain_on_water_is_there_at_once() -> None:
    rain = ponded_rain_m3(STORM, np.array([0.0, 200.0]), 72.0, 110)
    assert np.all(rain[0] == 0.0)
    assert np.all(rain[1, 100:] == 0.0)
    edges = edges_min(120.0, 72.0)
    assert edges.size == 101
    assert rain[1, :100] == pytest.approx(0.2 * np.diff(STORM.cumulative_depth_mm(edges)))


def test_no_swales_and_dry_ground_give_no_water() -> None:
    shed = excess_steps_mm(STORM, [curve_number_loss(30.0, "I")], 72.0)
    assert np.all(shed == 0.0)
    arriving = storm_hydrographs(shed, np.array([[1000.0]]), [0.1], 72.0, "curvilinear")
    assert np.all(arriving == 0.0)
    assert storm_hydrographs(shed, np.zeros((0, 1)), [], 72.0, "curvilinear").shape == (0, 100)
    none = storm_hydrographs(np.zeros((0, 4)), np.zeros((2, 0)), [0.1, 0.1], 72.0, "curvilinear")
    assert np.all(none == 0.0)


def test_a_swale_without_a_unit_hydrograph_is_refused() -> None:
    with pytest.raises(ValueError, match="each swale"):
        storm_hydrographs(np.zeros((1, 3)), np.ones((2, 1)), [0.1], 72.0, "curvilinear")
