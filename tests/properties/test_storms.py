"""What holds for every rain table, storm and curve number."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from soakline.inputs.types import RainTable
from soakline.water.curve_number import runoff_mm
from soakline.water.storms import (
    Storm,
    depth_mm,
    largest_rain_rise_mm,
    largest_rise_mm,
    storms_for,
)

curve_numbers = st.floats(30.0, 100.0)
rains_mm = st.floats(0.0, 600.0)


@st.composite
def rain_tables(draw: st.DrawFn) -> RainTable:
    """Tables of one to six durations, rising both ways, with intensity that falls or not."""
    shortest_min = draw(st.sampled_from([1.0, 5.0, 6.0, 10.0, 30.0]))
    steps = draw(st.lists(st.sampled_from([1.5, 2.0, 3.0]), max_size=5))
    durations = np.float64(shortest_min) * np.cumprod(np.array([1.0, *steps]))
    growth = [draw(st.floats(1.02, 1.9)) for _ in steps]
    depths = np.float64(draw(st.floats(0.5, 20.0))) * np.cumprod(np.array([1.0, *growth]))
    rarer = draw(st.floats(1.05, 2.5))
    return RainTable(durations, ("10", "100"), np.column_stack([depths, depths * rarer]))


@given(rains_mm, rains_mm, curve_numbers)
def test_more_rain_never_sheds_less(one_mm: float, other_mm: float, number: float) -> None:
    less, more = sorted((one_mm, other_mm))
    assert 0.0 <= runoff_mm(less, number) <= runoff_mm(more, number) <= more


@given(rains_mm, curve_numbers, curve_numbers)
def test_a_higher_curve_number_never_sheds_less(rain: float, one: float, other: float) -> None:
    lower, higher = sorted((one, other))
    assert runoff_mm(rain, lower) <= runoff_mm(rain, higher) + 1e-9


@given(rain_tables(), st.floats(0.0, 30.0))
def test_every_storm_ends_on_the_depth_of_its_duration(table: RainTable, uplift: float) -> None:
    for storm in storms_for(table, 0, 1, "both", uplift):
        column = 0 if storm.purpose == "design" else 1
        expected = depth_mm(table, column, storm.duration_min) * (1.0 + uplift / 100.0)
        assert storm.depth_mm == storm.depths_mm[-1] == pytest.approx(float(expected))
        assert storm.times_min[0] == storm.depths_mm[0] == 0.0
        assert storm.times_min[-1] == storm.duration_min
        assert np.all(np.diff(storm.times_min) > 0.0)
        assert np.all(np.diff(storm.depths_mm) > 0.0)


@given(rain_tables())
def test_blocks_around_the_peak_hold_the_depth_of_their_duration(table: RainTable) -> None:
    block_min = table.duration_min[0]
    for storm in alternating(table):
        blocks = len(storm.times_min) - 1
        centre = (blocks - 1) // 2
        for count in range(1, blocks):  # the last block may be a short one
            first = centre - (count - 1) // 2
            held_mm = storm.depths_mm[first + count] - storm.depths_mm[first]
            expected = depth_mm(table, 0, count * block_min)
            assert held_mm == pytest.approx(float(expected), rel=1e-9)


@given(st.floats(0.1, 0.95), st.sampled_from([1.0, 5.0, 10.0]))
def test_storms_nest_so_all_share_the_same_peak(exponent: float, block_min: float) -> None:
    durations = block_min * np.array([1.0, 1.5, 2.0, 6.0, 25.0])
    depths = 8.0 * (durations / block_min) ** exponent
    table = RainTable(durations, ("10", "100"), np.column_stack([depths, 2.0 * depths]))
    for storm in alternating(table):
        assert largest_rain_rise_mm(storm, 60.0) == pytest.approx(8.0 / block_min)


@given(rain_tables(), st.floats(40.0, 100.0), st.floats(20.0, 600.0))
def test_largest_rise_is_no_less_than_that_of_any_window(
    table: RainTable, number: float, step_s: float
) -> None:
    storm = storms_for(table, 0, 1, "both")[-1 if len(table.duration_min) == 1 else -2]
    starts_min = np.linspace(-step_s / 60.0, storm.duration_min, 2001)
    rises = runoff_mm(storm.cumulative_depth_mm(starts_min + step_s / 60.0), number) - runoff_mm(
        storm.cumulative_depth_mm(starts_min), number
    )
    largest = largest_rise_mm(storm, number, step_s)
    assert largest >= rises.max() * (1.0 - 1e-4) - 1e-12
    assert largest <= largest_rain_rise_mm(storm, step_s) + 1e-9


def alternating(table: RainTable) -> list[Storm]:
    return [
        storm
        for storm in storms_for(table, 0, 1, "alternating")
        if storm.purpose == "design" and storm.pattern == "alternating"
    ]
