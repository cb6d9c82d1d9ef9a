"""What each class of ground sheds of one storm."""

import numpy as np
import pytest

from soakline.inputs.types import RainTable
from soakline.water.curve_number import runoff_mm
from soakline.water.green_ampt import GreenAmpt, green_ampt_for
from soakline.water.losses import (
    HARD_SURFACE,
    CurveNumber,
    curve_number_loss,
    excess_mm,
    largest_rises_mm,
)
from soakline.water.storms import largest_rise_mm, storms_for

TABLE = RainTable(
    np.array([5.0, 30.0, 120.0]),
    ("10", "100"),
    np.array([[10.0, 16.0], [27.0, 43.0], [49.0, 80.0]]),
)
STORMS = storms_for(TABLE, 0, 1, "both")
GROUND = [curve_number_loss(74.0, "II"), green_ampt_for("clay-loam", "II"), HARD_SURFACE]


def test_each_class_sheds_by_its_own_rule_in_the_order_given() -> None:
    storm = STORMS[-2]
    edges_min = np.arange(0.0, 121.0, 1.2)
    shed = excess_mm(storm, GROUND, edges_min)
    rain_mm = storm.cumulative_depth_mm(edges_min)
    assert shed.shape == (3, edges_min.size)
    assert shed[0] == pytest.approx(runoff_mm(rain_mm, 74.0))
    assert shed[2] == pytest.approx(runoff_mm(rain_mm, 98.0))
    assert 0.0 < shed[1, -1] < rain_mm[-1]


def test_steady_rain_on_clay_loam_follows_mein_and_larson() -> None:
    """100 mm/h on K 1, ψΔθ 45.2: ponds at K ψΔθ / (i − K) of rain, and runs off from then on."""
    ground = GreenAmpt(1.0, 45.2)
    storm = storms_for(RainTable(np.array([30.0]), ("10",), np.array([[50.0]])), 0, 0, "uniform")[0]
    ponds_min = 60.0 * 45.2 / 99.0 / 100.0
    shed = excess_mm(storm, [ground], [ponds_min, ponds_min + 0.6])[0]
    assert shed[0] == pytest.approx(0.0, abs=1e-9)
    assert 0.0 < shed[1] < 1.0


def test_times_may_come_in_any_order_before_within_and_after_the_storm() -> None:
    storm = STORMS[2]
    shed = excess_mm(storm, GROUND, [500.0, 12.0, -3.0, 30.0, 12.0])
    assert np.all(shed[:, 2] == 0.0)
    assert np.all(shed[:, 0] == shed[:, 3])
    assert np.all(shed[:, 1] == shed[:, 4])
    assert np.all(shed[:, 1] < shed[:, 0])


@pytest.mark.parametrize(("condition", "number"), [("I", 54.4), ("II", 74.0), ("III", 86.7)])
def test_curve_numbers_follow_the_antecedent_condition(condition: str, number: float) -> None:
    loss = curve_number_loss(74.0, condition)  # type: ignore[arg-type]
    assert loss.number == pytest.approx(number, abs=0.06)


def test_runoff_added_by_class_exceeds_that_of_a_mean_class() -> None:
    storm = STORMS[0]
    by_class = excess_mm(storm, [CurveNumber(60.0), CurveNumber(98.0)], [5.0])[:, 0]
    mean = excess_mm(storm, [CurveNumber(79.0)], [5.0])[0, 0]
    assert by_class.mean() > 10.0 * max(mean, 0.01)


def test_rises_of_curve_numbers_are_those_of_the_storms() -> None:
    for storm in STORMS:
        assert largest_rises_mm(storm, GROUND)[0] == largest_rise_mm(storm, 74.0)


def test_no_classes_give_no_rows() -> None:
    assert excess_mm(STORMS[0], [], [1.0, 2.0]).shape == (0, 2)
    assert largest_rises_mm(STORMS[0], []).shape == (0,)


def test_an_impossible_curve_number_is_refused_and_equal_losses_are_one() -> None:
    with pytest.raises(ValueError, match="curve number"):
        CurveNumber(101.0)
    assert len({CurveNumber(98.0), HARD_SURFACE, GreenAmpt(1.0, 2.0), GreenAmpt(1.0, 2.0)}) == 2
