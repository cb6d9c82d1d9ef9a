"""What holds for the hydrographs of every storm, ground and swale."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from soakline.grid import FloatArray
from soakline.inputs.rain_pattern import RainPattern
from soakline.inputs.types import RainTable
from soakline.water.event import Feeds, event_of, peak_bound_m3s
from soakline.water.green_ampt import GreenAmpt
from soakline.water.hydrographs import (
    edges_min,
    excess_steps_mm,
    ponded_rain_m3,
    step_s,
    storm_hydrographs,
)
from soakline.water.land import GroundClass, Land
from soakline.water.losses import (
    CurveNumber,
    Loss,
    excess_mm,
    largest_rises_mm,
)
from soakline.water.network import chain_of
from soakline.water.storms import Storm, largest_rain_rise_mm, storms_for
from soakline.water.unit_hydrograph import Shape, unit_hydrographs
from tests.properties.test_storms import rain_tables

LAND = Land((GroundClass("ground", 74.0, "loam"),))

shapes = st.sampled_from(["curvilinear", "triangular"])
curve_numbers = st.builds(CurveNumber, st.floats(30.0, 100.0))
losses = curve_numbers | st.builds(GreenAmpt, st.floats(0.1, 120.0), st.floats(0.0, 150.0))
times_h = st.lists(st.floats(0.1, 1.5), min_size=1, max_size=4).map(np.array)


@st.composite
def patterns(draw: st.DrawFn) -> RainPattern:
    """Bursts and pauses, some far shorter than a step."""
    lengths = draw(st.lists(st.floats(0.001, 1.0), min_size=1, max_size=30))
    shares = [draw(st.sampled_from([0.0, 0.02, 1.0])) for _ in lengths[1:]] + [1.0]
    time = np.concatenate([[0.0], np.cumsum(lengths) / sum(lengths)])
    fallen = np.concatenate([[0.0], np.cumsum(shares) / sum(shares)])
    time[-1] = fallen[-1] = 1.0
    return RainPattern(time, fallen)


def areas_m2(swales: int, classes: int, seed: int = 1) -> FloatArray:
    return np.random.default_rng(seed).uniform(0.0, 30_000.0, (swales, classes))


def assert_under_the_bound(
    storms: tuple[Storm, ...], number: float, tc_h: FloatArray, shape: Shape
) -> None:
    area, ponded = areas_m2(tc_h.size, 1), areas_m2(tc_h.size, 1, 2)[:, 0] / 30.0
    event = event_of(storms, LAND, [CurveNumber(number)], shape)
    bound = peak_bound_m3s(event, Feeds(area, ponded, area), chain_of(tc_h.size, []))
    step = step_s(tc_h)
    assert step >= 72.0
    for k, storm in enumerate(storms):
        shed = excess_steps_mm(storm, [CurveNumber(number)], step)
        arriving = storm_hydrographs(shed, area, tc_h, step, shape)
        arriving += ponded_rain_m3(storm, ponded, step, arriving.shape[1])
        assert np.all(arriving.max(axis=1) / step <= bound[:, k] * (1.0 + 1e-9) + 1e-12)


@settings(max_examples=50)
@given(rain_tables(), st.floats(30.0, 100.0), times_h, shapes)
def test_no_peak_passes_the_bound(
    table: RainTable, number: float, tc_h: FloatArray, shape: Shape
) -> None:
    assert_under_the_bound(storms_for(table, 0, 1, "both"), number, tc_h, shape)


@settings(max_examples=50)
@given(rain_tables(), patterns(), st.floats(30.0, 100.0), times_h, shapes)
def test_no_peak_of_a_pattern_of_ones_own_passes_the_bound(
    table: RainTable, pattern: RainPattern, number: float, tc_h: FloatArray, shape: Shape
) -> None:
    assert_under_the_bound(storms_for(table, 0, 1, pattern)[:2], number, tc_h, shape)


@settings(max_examples=50)
@given(rain_tables(), st.lists(losses, min_size=1, max_size=3), times_h, shapes)
def test_no_peak_passes_the_largest_rises_of_its_classes(
    table: RainTable, ground: list[Loss], tc_h: FloatArray, shape: Shape
) -> None:
    step, area = step_s(tc_h), areas_m2(tc_h.size, len(ground))
    for storm in storms_for(table, 0, 1, "both"):
        arriving = storm_hydrographs(excess_steps_mm(storm, ground, step), area, tc_h, step, shape)
        bound = area @ largest_rises_mm(storm, ground) / 1000.0 / 72.0
        assert np.all(arriving.max(axis=1) / step <= bound * (1.0 + 1e-9) + 1e-12)


@settings(max_examples=50)
@given(rain_tables(), st.lists(losses, min_size=1, max_size=4), times_h, shapes)
def test_all_that_is_shed_arrives(
    table: RainTable, ground: list[Loss], tc_h: FloatArray, shape: Shape
) -> None:
    step, area = step_s(tc_h), areas_m2(tc_h.size, len(ground))
    for storm in storms_for(table, 0, 1, "both"):
        arriving = storm_hydrographs(excess_steps_mm(storm, ground, step), area, tc_h, step, shape)
        shed_m3 = area @ excess_mm(storm, ground, [storm.duration_min])[:, 0] / 1000.0
        assert arriving.sum(axis=1) == pytest.approx(shed_m3, rel=1e-12, abs=1e-12)
        assert np.all(arriving >= 0.0)
        wet = ponded_rain_m3(storm, area[:, 0], step, arriving.shape[1])
        assert wet.sum(axis=1) == pytest.approx(area[:, 0] * storm.depth_mm / 1000.0, rel=1e-12)


@settings(max_examples=50)
@given(rain_tables(), losses, st.floats(0.0, 100.0), times_h, shapes)
def test_more_rain_lowers_no_ordinate(
    table: RainTable, ground: Loss, uplift_pct: float, tc_h: FloatArray, shape: Shape
) -> None:
    step, area = step_s(tc_h), areas_m2(tc_h.size, 1)
    plain, raised = (storms_for(table, 0, 1, "both", uplift) for uplift in (0.0, uplift_pct))
    for less, more in zip(plain, raised, strict=True):
        low, high = (
            storm_hydrographs(excess_steps_mm(storm, [ground], step), area, tc_h, step, shape)
            for storm in (less, more)
        )
        assert np.all(high >= low - 1e-9 * low.max(initial=0.0) - 1e-9)


@given(st.lists(st.floats(0.0, 20.0), min_size=1, max_size=30), times_h, shapes)
def test_more_excess_in_one_step_lowers_no_ordinate_by_a_single_bit(
    excess: list[float], tc_h: FloatArray, shape: Shape
) -> None:
    step, area = step_s(tc_h), areas_m2(tc_h.size, 1)
    less = np.array([excess])
    more = less.copy()
    more[0, len(excess) // 2] *= 1.1
    low, high = (storm_hydrographs(one, area, tc_h, step, shape) for one in (less, more))
    assert np.all(high >= low)


@given(rain_tables(), losses, st.floats(20.0, 600.0))
def test_excess_never_falls_nor_rises_faster_than_the_largest_rise(
    table: RainTable, ground: Loss, window_s: float
) -> None:
    for storm in storms_for(table, 0, 1, "both")[-2:]:
        at_min = np.linspace(-window_s / 60.0, storm.duration_min + 1.0, 1001)
        excess = excess_mm(storm, [ground], at_min)[0]
        assert np.all(np.diff(excess) >= -1e-9)
        assert np.all(excess <= storm.cumulative_depth_mm(at_min) + 1e-9)
        rises = excess_mm(storm, [ground], at_min + window_s / 60.0)[0] - excess
        largest = largest_rises_mm(storm, [ground], window_s)[0]
        assert rises.max() <= largest * (1.0 + 1e-4) + 1e-6
        assert largest <= largest_rain_rise_mm(storm, window_s) + 1e-9


@given(st.lists(st.floats(0.01, 30.0), min_size=1, max_size=6), st.floats(1.0, 5000.0), shapes)
def test_shares_of_a_burst_sum_to_exactly_one_in_any_order(
    tc_h: list[float], step: float, shape: Shape
) -> None:
    found = unit_hydrographs(tc_h, step, shape)
    assert np.all(found.shares >= 0.0)
    for row, steps in zip(found.shares, found.steps, strict=True):
        assert row.sum() == row[::-1].sum() == sum(row) == 1.0
        assert np.all(row[steps:] == 0.0)


@given(st.floats(0.01, 10_000.0), st.floats(1.0, 5000.0))
def test_steps_just_cover_the_storm(duration_min: float, step: float) -> None:
    edges = edges_min(duration_min, step)
    assert edges[0] == 0.0
    assert edges[-1] >= duration_min * (1.0 - 1e-15)
    assert edges[-2] <= duration_min
