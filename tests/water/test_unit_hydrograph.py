"""Shares in which a burst arrives."""

import numpy as np
import pytest

from soakline.water.unit_hydrograph import (
    Shape,
    arrived_share,
    ratios,
    unit_hydrograph,
    unit_hydrographs,
)

SHAPES: list[Shape] = ["curvilinear", "triangular"]


@pytest.mark.parametrize("shape", SHAPES)
def test_arrived_share_is_the_area_below_the_ratios(shape: Shape) -> None:
    """By the trapezoid rule on a grid that holds every place of the table."""
    times, flows = ratios(shape)
    fine = np.union1d(np.linspace(0.0, times[-1], 20_001), times)
    flow = np.interp(fine, times, flows)
    area = np.concatenate([[0.0], np.cumsum(np.diff(fine) * (flow[:-1] + flow[1:]) / 2.0)])
    assert arrived_share(fine, shape) == pytest.approx(area / area[-1], abs=1e-12)


@pytest.mark.parametrize("shape", SHAPES)
def test_shares_rise_to_one_peak_and_fall(shape: Shape) -> None:
    shares = unit_hydrograph(0.4, 72.0, shape)
    turns = np.diff(np.sign(np.diff(shares)))
    assert np.count_nonzero(turns) == 1
    peak_step = (36.0 + 0.6 * 0.4 * 3600.0) / 72.0
    assert abs(int(shares.argmax()) + 0.5 - peak_step) <= 1.0


@pytest.mark.parametrize("shape", SHAPES)
def test_swales_of_different_times_stand_side_by_side(shape: Shape) -> None:
    tc_h = [0.1, 1.0, 0.37]
    together = unit_hydrographs(tc_h, 72.0, shape)
    assert together.shares.shape[0] == together.steps.size == 3
    for row, steps, tc in zip(together.shares, together.steps, tc_h, strict=True):
        alone = unit_hydrograph(tc, 72.0, shape)
        assert row[:steps].tolist() == alone.tolist()


def test_a_step_longer_than_the_catchment_takes_sheds_most_of_it_at_once() -> None:
    shares = unit_hydrograph(0.1, 3600.0, "triangular")
    assert shares[0] + shares[1] > 0.99


@pytest.mark.parametrize(("tc_h", "step_s"), [(0.0, 72.0), (-1.0, 72.0), (0.1, 0.0)])
def test_times_that_are_not_positive_are_refused(tc_h: float, step_s: float) -> None:
    with pytest.raises(ValueError, match="positive"):
        unit_hydrograph(tc_h, step_s, "curvilinear")


def test_another_shape_is_refused() -> None:
    with pytest.raises(ValueError, match="snyder"):
        unit_hydrograph(0.1, 72.0, "snyder")  # type: ignore[arg-type]
