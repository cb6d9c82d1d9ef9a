"""Normal flow over a cross-profile, and the stations of a way."""

import numpy as np
import pytest

from soakline.overflow.hydraulics import normal_velocity_ms, reach_velocities, way_maxima
from soakline.overflow.sills import SillRules, wanted_sill_m
from soakline.overflow.velocity import manning_velocity_ms, sheet_depth_m, travel_time_s
from soakline.overflow.weir import head_m, sill_length_m
from tests.terrain_analytic.ground import plane, sample, v_valley

RULES = SillRules(0.10, 1.45, 0.035, 15.0, edge_allowed=False)


@pytest.mark.parametrize(("slope", "flow_m2s"), [(0.02, 0.0609), (0.08, 0.046), (0.15, 0.005)])
def test_flow_over_a_level_bed_is_a_wide_sheet(slope: float, flow_m2s: float) -> None:
    """R = d: upright ends that only keep the water together add no wetted perimeter."""
    width, n = 8.0, 0.05
    found = normal_velocity_ms(np.zeros(9), width / 8.0, slope, width * flow_m2s, n)
    depth = sheet_depth_m(flow_m2s, slope, n)
    assert found == pytest.approx(float(manning_velocity_ms(depth, slope, n)), rel=1e-3)
    assert found == pytest.approx(float(flow_m2s / depth), rel=1e-3)


def test_flow_in_a_trapezoid() -> None:
    """Base 1.5 m, batter 2, depth 0.5 m, n 0.03, slope 0.005: 1.420 m³/s (Chow 1959). D."""
    spacing = 0.125
    across = np.arange(-2.75, 2.7501, spacing)
    bed = np.maximum(np.abs(across) - 0.75, 0.0) / 2.0
    found = normal_velocity_ms(bed, spacing, 0.005, 1.420, 0.03)
    assert found == pytest.approx(1.420 / 1.25, rel=0.002)


def test_flow_in_a_triangle() -> None:
    """Sides of 1 in 4: A = 4 y², P = 2 y √17, and Q by Manning at a depth of 0.3 m."""
    depth, n, slope = 0.3, 0.035, 0.04
    area, perimeter = 4.0 * depth**2, 2.0 * depth * 17.0**0.5
    flow = area * float(manning_velocity_ms(area / perimeter, slope, n))
    across = np.linspace(-4.0, 4.0, 9)
    found = normal_velocity_ms(np.abs(across) / 4.0, 1.0, slope, flow, n)
    assert found == pytest.approx(flow / area, rel=1e-3)


def test_no_flow_has_no_velocity() -> None:
    assert normal_velocity_ms(np.zeros(9), 1.0, 0.02, 0.0, 0.05) == 0.0


def test_more_flow_is_faster_and_more_width_is_slower() -> None:
    bed = np.zeros(9)
    by_flow = [normal_velocity_ms(bed, 1.0, 0.05, q, 0.035) for q in (0.05, 0.1, 0.5, 2.0)]
    assert np.all(np.diff(by_flow) > 0.0)
    by_width = [normal_velocity_ms(bed, w, 0.05, 0.5, 0.035) for w in (0.2, 1.0, 3.0)]
    assert np.all(np.diff(by_width) < 0.0)


def test_a_way_down_a_plane_has_its_slope_and_stays_a_sheet() -> None:
    dem, grid = sample(plane(8.0), width_m=100.0)
    row = np.arange(30.0, 61.0, 5.0)
    slope, velocity = reach_velocities(
        row, np.full(7, 50.0), dem, grid.cell_m, np.full(6, 0.4), 10.0, 0.035
    )
    assert slope == pytest.approx(0.08, abs=1e-4)
    depth = sheet_depth_m(0.04, 0.08, 0.035)
    assert velocity == pytest.approx(float(0.04 / depth), rel=0.01)


def test_a_valley_gathers_the_sheet_and_speeds_it_up() -> None:
    """Sides of 20 %: below the sill's own level stretch the water draws together."""
    dem, grid = sample(v_valley(20.0, 8.0), width_m=101.0)
    row = np.arange(30.0, 61.0, 5.0)
    _, velocity = reach_velocities(
        row, np.full(7, 50.0), dem, grid.cell_m, np.full(6, 0.4), 10.0, 0.035
    )
    assert np.all(velocity[1:] > 1.5 * velocity[0])


@pytest.mark.parametrize("angle_deg", [0.0, 45.0, 100.0])
def test_a_way_down_a_valley_has_the_velocity_of_its_triangle_whichever_way_it_runs(
    angle_deg: float,
) -> None:
    """Sides of 40 %, bed of 8 %: A = 2.5 y², P = y √29, Q by Manning at a depth of 0.3 m."""
    depth, n = 0.3, 0.035
    area, perimeter = 2.5 * depth**2, depth * 29.0**0.5
    flow = area * float(manning_velocity_ms(area / perimeter, 0.08, n))
    dem, grid = sample(v_valley(40.0, 8.0), width_m=40.05, cell_m=0.05, rotation_deg=angle_deg)
    down = np.arange(0.0, 15.1, 5.0) / grid.cell_m
    # The axis of the unturned form falls south, and turns clockwise.
    row = 400.0 + down * np.cos(np.radians(angle_deg))
    column = 400.0 - down * np.sin(np.radians(angle_deg))
    slope, velocity = reach_velocities(row, column, dem, grid.cell_m, np.full(3, flow), 8.0, n)
    assert slope == pytest.approx(0.08, rel=0.03)
    assert velocity[1:] == pytest.approx(flow / area, rel=0.05)


def test_each_of_many_ways_has_its_own_flow_and_width_on_its_steepest_reach() -> None:
    """Slopes of 5 %, 15 % and 8 %, one after the other, and a sheet on each."""
    fall = np.repeat([0.05, 0.15, 0.08], 10)
    height = 50.0 - np.concatenate([[0.0], np.cumsum(fall)])
    ground = np.repeat(height, 60).reshape(31, 60).astype(np.float32)
    row = np.arange(0.0, 31.0, 5.0)
    flow, width = np.array([0.4, 0.1, 0.9]), np.array([10.0, 4.0, 6.0])
    first = np.array([0, 7, 14, 21])
    slope, velocity = way_maxima(
        first, np.tile(row, 3), np.full(21, 30.0), ground, 1.0, np.repeat(flow, 6), width, 0.035
    )
    assert slope == pytest.approx(0.15, abs=1e-5)
    depth = sheet_depth_m(flow / width, 0.15, 0.035)
    assert velocity == pytest.approx(flow / width / depth, rel=1e-3)


def test_water_on_level_ground_runs_as_on_a_slope_of_1_in_1000() -> None:
    level = np.full((40, 40), 7.0, np.float32)
    row = np.array([10.0, 15.0, 20.0])
    slope, velocity = reach_velocities(row, np.full(3, 20.0), level, 1.0, np.ones(2), 10.0, 0.035)
    assert slope.tolist() == [0.0, 0.0]
    expected = manning_velocity_ms(sheet_depth_m(0.1, 0.001, 0.035), 0.001, 0.035)
    assert velocity == pytest.approx(float(expected), rel=1e-3)


def test_deep_water_between_upright_banks_is_a_sheet_too() -> None:
    """2.9 m of it, 1 m wide: the banks add no wetted perimeter."""
    n, slope = 0.035, 0.01
    flow = 2.9 * float(manning_velocity_ms(2.9, slope, n))
    found = normal_velocity_ms(np.zeros(9), 0.125, slope, flow, n)
    assert found == pytest.approx(flow / 2.9, rel=1e-3)


def test_ground_without_height_beside_a_way_lies_level_with_its_middle() -> None:
    dem, grid = sample(plane(8.0), width_m=100.0)
    row = np.arange(30.0, 61.0, 5.0)
    ways = (row, np.full(7, 50.0), dem, grid.cell_m, np.full(6, 0.4), 10.0, 0.035)
    whole = reach_velocities(*ways)[1]
    dem[:, 52:] = np.nan
    assert reach_velocities(*ways)[1] == pytest.approx(whole, rel=1e-3)


@pytest.mark.parametrize("peak_m3s", [0.001, 0.05, 0.4, 2.5])
def test_a_sill_passes_its_peak_at_the_greatest_head(peak_m3s: float) -> None:
    """Q = C L h^1.5 with C 1.45 and h 0.10 m: 0.04585 m³/s a metre, and 1 m at least."""
    length = wanted_sill_m(peak_m3s, RULES)
    assert length == pytest.approx(max(1.0, peak_m3s / 0.045853), rel=1e-4)
    assert head_m([peak_m3s], [length], 1.45)[0] <= 0.10 + 1e-9
    wanted = sill_length_m([peak_m3s], 0.10, 1.45)[0]
    assert length == pytest.approx(max(1.0, wanted))


def test_a_rise_of_water_runs_ahead_of_the_water() -> None:
    """Its celerity is dq/dd (Chow, Maidment & Mays 1988, section 9.3; M), here by differences."""
    flow_m2s, slope, n = 0.046, 0.067, 0.035
    more = flow_m2s * (1.0 + 1e-6)
    risen_m = sheet_depth_m(more, slope, n) - sheet_depth_m(flow_m2s, slope, n)
    celerity_ms = (more - flow_m2s) / risen_m
    time_s = travel_time_s(100.0, 100.0 * slope, flow_m2s, n)
    assert 100.0 / time_s == pytest.approx(float(celerity_ms), rel=1e-5)


def test_travel_times_of_ways_add_up_and_never_end_in_nothing() -> None:
    times = travel_time_s([100.0, 200.0, 0.0, 50.0], [4.0, 8.0, 0.0, 0.0], 0.046, 0.035)
    assert times[1] == pytest.approx(2.0 * times[0])
    assert times[2] == 0.0
    level, gentle = times[3], travel_time_s(50.0, 0.05, 0.046, 0.035)
    assert level == pytest.approx(float(gentle))
