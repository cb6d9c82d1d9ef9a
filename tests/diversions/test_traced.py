"""Drains traced on closed-form ground."""

import numpy as np
import pytest
import shapely

from soakline.diversions.traced import (
    DEFAULT_GRADE,
    REASONS,
    STRAIGHTEN_M,
    Trace,
    as_diversion,
    shortest_of,
    trace_both_ways,
)
from soakline.diversions.walk import (
    CAME_ROUND,
    CUT_TOO_DEEP,
    DEEPEST_CUT_M,
    DRAINAGE_LINE,
    FORBIDDEN,
    HIGHEST_BANK_M,
    NOT_WANTED,
    OFF_PROPERTY,
    REACHED,
    TOO_LONG,
    TOO_LOW,
)
from soakline.siting.lines import LipLine
from tests.diversions.hillside import (
    CENTRE,
    NOTHING,
    SLOPE_PCT,
    at,
    free_ways,
    lip,
    outlet,
    terrain_from,
    traces,
)
from tests.terrain_analytic.ground import (
    CENTRE_EASTING_M,
    CENTRE_HEIGHT_M,
    Height,
    cone,
    plane,
    spur,
    v_valley,
)

HILL = plane(SLOPE_PCT)


def heading_deg(trace: Trace) -> float:
    """Direction from the first place to the last, counter-clockwise from east."""
    east, north = trace.coordinates[-1, :2] - trace.coordinates[0, :2]
    return float(np.degrees(np.arctan2(north, east)))


def off_the_ground_m(trace: Trace, form: Height) -> np.ndarray:
    return trace.coordinates[:, 2] - form(trace.coordinates[:, 0], trace.coordinates[:, 1])


@pytest.mark.parametrize("grade", [1 / 300, 1 / 150, 1 / 60])
@pytest.mark.parametrize("aspect_deg", [180.0, 213.0, 90.0])
def test_on_a_plane_a_drain_runs_straight_with_sine_of_its_angle_grade_over_slope(
    grade: float, aspect_deg: float
) -> None:
    """Closed form: moving at α off the contour on slope s falls s sin α for each metre."""
    form = plane(SLOPE_PCT, aspect_deg)
    terrain = terrain_from(form)
    left, right, _ = traces(outlet(form), [], terrain, grade)
    uphill_deg = 90.0 - (aspect_deg + 180.0)
    off_contour_deg = np.degrees(np.arcsin(grade / (SLOPE_PCT / 100.0)))
    # Uphill on the left: the contour runs 90° to the right of uphill, and the fall turns it more.
    for trace, expected in (
        (left, uphill_deg - 90.0 - off_contour_deg),
        (right, uphill_deg + 90.0 + off_contour_deg),
    ):
        assert trace.how == OFF_PROPERTY
        assert trace.length_m > 150.0
        turn = (heading_deg(trace) - expected + 180.0) % 360.0 - 180.0
        assert turn == pytest.approx(0.0, abs=0.05)
        assert np.abs(off_the_ground_m(trace, form)).max() < 0.005
        fall = -np.diff(trace.coordinates[:, 2])
        step = np.hypot(*np.diff(trace.coordinates[:, :2], axis=0).T)
        assert fall / step == pytest.approx(grade, rel=1e-9)


@pytest.mark.parametrize(("drop_m", "reach_m"), [(0.5, 0.0), (0.5, 3.0), (0.5, 5.0)])
def test_length_on_a_plane_is_the_drop_to_the_trench_over_the_grade(
    drop_m: float, reach_m: float
) -> None:
    """Closed form: the trench begins where the ground stands slope × reach above the lip."""
    terrain = terrain_from(HILL)
    own = lip(CENTRE_HEIGHT_M - drop_m, -180.0, 180.0)
    left, right, _ = traces(outlet(HILL), [own], terrain, reach_m=reach_m)
    expected_m = (drop_m - SLOPE_PCT / 100.0 * max(reach_m, terrain.grid.cell_m)) / DEFAULT_GRADE
    for trace in (left, right):
        assert trace.how == REACHED
        assert trace.target == 0
        # Steps are a metre long, and the first place within reach ends the drain.
        assert expected_m - 0.2 <= trace.length_m <= expected_m + 1.2
        assert trace.coordinates[-1, 2] >= own.level_m


def test_on_a_cone_a_drain_winds_down_a_logarithmic_spiral() -> None:
    """Closed form: dr/ds = g / s and r dθ/ds = √(1 − (g/s)²), so θ = √((s/g)² − 1) ln(r1 / r0)."""
    slope, grade, start_m = 0.10, 1 / 100, 60.0
    form = cone(100.0 * slope)
    terrain = terrain_from(form)
    left, right, _ = traces(outlet(form, start_m), [], terrain, grade)
    for trace in (left, right):
        assert trace.how == CAME_ROUND
        assert np.abs(off_the_ground_m(trace, form)).max() < 0.02
        east, north = (trace.coordinates[:, :2] - CENTRE).T
        radius = np.hypot(east, north)
        assert radius[-1] == pytest.approx(start_m + trace.length_m * grade / slope, abs=0.2)
        angle = np.unwrap(np.arctan2(north, east))
        swept = np.sqrt((slope / grade) ** 2 - 1.0) * np.log(radius[-1] / radius[0])
        assert abs(angle[-1] - angle[0]) == pytest.approx(swept, rel=0.01)
        # It is given up once it has turned round in full.
        assert abs(angle[-1] - angle[0]) == pytest.approx(2.0 * np.pi, abs=0.2)
    # The tip is on the left of who goes round counter-clockwise.
    assert left.coordinates[9, 1] > left.coordinates[0, 1]


def test_a_drain_that_would_cross_a_valley_stops_at_its_drainage_line() -> None:
    form = v_valley(8.0, 3.0)
    terrain = terrain_from(form)
    assert terrain.drainage
    left, right, _ = traces(outlet(form, 50.0, -120.0), [], terrain)
    how = {left.how, right.how}
    assert DRAINAGE_LINE in how
    stopped = left if left.how == DRAINAGE_LINE else right
    # On the valley's own axis, to a cell or two, and not on its other side.
    assert 0.0 <= stopped.coordinates[-1, 0] - CENTRE_EASTING_M < 3.0


def test_no_drain_slips_through_a_drainage_line_that_runs_aslant() -> None:
    """A valley turned by 33°, approached from many places: every drain across it stops there."""
    form = v_valley(8.0, 3.0)
    terrain = terrain_from(form, rotation_deg=33.0)
    angle = np.radians(33.0)
    axis = np.array([-np.sin(angle), -np.cos(angle)])
    across = np.array([np.cos(angle), -np.sin(angle)])
    stopped = 0
    for along_m in np.arange(60.0, 120.0, 7.3):
        east, north = along_m * axis + 30.0 * across
        ground = CENTRE_HEIGHT_M + 0.08 * 30.0 - 0.03 * along_m
        start = np.array([*at(east, north), ground])
        for trace in traces(start, [], terrain)[:2]:
            side = (trace.coordinates[:, :2] - CENTRE) @ across
            assert side.min() > -1.5
            stopped += trace.how == DRAINAGE_LINE
    assert stopped >= 8


def test_round_a_spur_a_drain_keeps_to_the_ground() -> None:
    form = spur(10.0, 6.0)
    terrain = terrain_from(form)
    left, right, _ = traces(outlet(form, 80.0, -20.0), [], terrain)
    round_it = left if left.length_m > right.length_m else right
    assert round_it.coordinates[:, 0].min() < CENTRE_EASTING_M - 50.0
    # The ground is the mean over a disc of 5 m: on the rounded crest it lies a little low.
    assert np.abs(off_the_ground_m(round_it, form)).max() < 0.03


def test_the_nearest_swale_is_chosen() -> None:
    """0.4 m below in the west, 0.3 m below in the east: 75 m less 24 m of reach, against 105 m."""
    terrain = terrain_from(HILL)
    lines = [lip(399.7, 20.0, 180.0), lip(399.6, -180.0, -20.0)]
    left, right, targets = traces(outlet(HILL), lines, terrain)
    best = shortest_of((left, right))
    assert best is left
    assert best.target == 0
    drain = as_diversion(best, "roof", targets, 2, DEFAULT_GRADE, terrain)
    assert (drain.swale, drain.into, drain.source) == (0, -1, "traced")


def test_a_named_swale_is_the_only_one_that_is_traced_to() -> None:
    terrain = terrain_from(HILL)
    lines = [lip(399.7, 20.0, 180.0), lip(399.6, -180.0, -20.0)]
    left, right, _ = traces(outlet(HILL), lines, terrain, wanted=1)
    assert left.how == NOT_WANTED
    assert shortest_of((left, right)) is right
    assert right.target == 1


def test_a_swale_that_stands_higher_than_the_drain_is_not_met() -> None:
    """Its lip lies 0.05 m above the outlet: the drain passes within a cell, but would drain it."""
    terrain = terrain_from(HILL)
    left, right, _ = traces(outlet(HILL), [lip(400.05, 30.0, 90.0)], terrain, reach_m=3.0)
    assert left.how == TOO_LOW
    assert right.how == OFF_PROPERTY


def test_a_drain_turns_back_at_forbidden_ground_but_may_begin_on_it() -> None:
    """A house stands within its own setback of 10 m; further east lies saline ground."""
    terrain = terrain_from(HILL)
    row, column = np.indices(terrain.grid.shape)
    forbidden = np.hypot(row - 200, column - 200) < 10.0
    forbidden |= column > 200 + 60
    ways = free_ways(terrain, forbidden)
    left, right, _ = traces(outlet(HILL), [], terrain, ways=ways)
    assert left.how == FORBIDDEN
    assert left.length_m == pytest.approx(60.0, abs=2.0)
    assert right.how == OFF_PROPERTY


def test_a_drain_that_would_come_back_to_forbidden_ground_has_come_out_of_it_once() -> None:
    """A ring of forbidden ground round the outlet's own: the gap between is enough to count."""
    terrain = terrain_from(HILL)
    row, column = np.indices(terrain.grid.shape)
    distance = np.hypot(row - 200, column - 200)
    forbidden = (distance < 10.0) | ((distance > 14.0) & (distance < 20.0))
    for trace in traces(outlet(HILL), [], terrain, ways=free_ways(terrain, forbidden))[:2]:
        assert trace.how == FORBIDDEN
        assert trace.length_m == pytest.approx(14.0, abs=2.0)


def test_a_drain_begun_off_the_property_is_not_dug() -> None:
    terrain = terrain_from(HILL)
    left, right, _ = traces(outlet(HILL, 0.0, 195.0), [], terrain)
    assert left.how == right.how == OFF_PROPERTY
    assert left.length_m == 0.0


def test_ground_flatter_than_the_drain_ends_it_where_the_cut_is_too_deep() -> None:
    """Falling at 1 in 100 over level ground, the cut is 0.3 m after 30 m."""
    form = plane(0.0)
    terrain = terrain_from(form)
    for trace in traces(outlet(form), [], terrain, 0.01)[:2]:
        assert trace.how == CUT_TOO_DEEP
        assert trace.length_m == pytest.approx(DEEPEST_CUT_M / 0.01, abs=1.5)


def test_a_drain_is_given_up_after_a_kilometre() -> None:
    form = plane(SLOPE_PCT)
    terrain = terrain_from(form, width_m=2200.0, height_m=60.0)
    for trace in traces(outlet(form), [], terrain, 1e-4)[:2]:
        assert trace.how == TOO_LONG
        assert trace.length_m == pytest.approx(1000.0, abs=1.5)


def test_over_rough_ground_a_drain_stays_within_what_is_cut_and_banked() -> None:
    """5 cm of survey noise on 4 %: the ground is its mean over 5 m."""
    form = plane(4.0, 213.0)
    terrain = terrain_from(form, noise_m=0.05)
    for trace in traces(outlet(form), [], terrain)[:2]:
        assert trace.how == OFF_PROPERTY
        off = off_the_ground_m(trace, form)
        assert off.min() > -DEEPEST_CUT_M - 0.06
        assert off.max() < HIGHEST_BANK_M + 0.06
        # Noise makes it wander, but not much longer than the straight way.
        straight = np.hypot(*(trace.coordinates[-1, :2] - trace.coordinates[0, :2]))
        assert trace.length_m < 1.25 * straight


def test_a_drawn_drain_is_exactly_on_grade_and_hardly_off_the_trace() -> None:
    form = cone(8.0)
    terrain = terrain_from(form)
    angle = np.linspace(0.0, 2.0, 200)
    ring = CENTRE + 105.0 * np.column_stack([np.cos(angle), np.sin(angle)])
    own = LipLine(CENTRE_HEIGHT_M - 8.4, 8.0, ring, False)
    left, _, targets = traces(outlet(form, 100.0), [own], terrain)
    assert left.how == REACHED
    drain = as_diversion(left, "roof", targets, 1, DEFAULT_GRADE, terrain)
    assert len(drain.coordinates) < len(left.coordinates) / 3
    along = np.concatenate(
        [[0.0], np.cumsum(np.hypot(*np.diff(drain.coordinates[:, :2], axis=0).T))]
    )
    assert drain.coordinates[0, 2] - drain.coordinates[:, 2] == pytest.approx(
        along * DEFAULT_GRADE, abs=1e-9
    )
    assert drain.grade_pct == pytest.approx(100.0 / 300.0, rel=1e-9)
    raw, drawn = (shapely.LineString(own[:, :2]) for own in (left.coordinates, drain.coordinates))
    assert shapely.hausdorff_distance(raw, drawn) < STRAIGHTEN_M + 0.05
    assert -0.02 < drain.ground_min_m <= drain.ground_max_m < 0.02
    assert drain.coordinates[-1, 2] >= own.level_m


@pytest.mark.parametrize("grade", [0.0, -0.01, float("nan")])
def test_a_grade_that_does_not_fall_is_refused(grade: float) -> None:
    terrain = terrain_from(HILL, width_m=60.0)
    _, _, targets = traces(outlet(HILL), [], terrain)
    with pytest.raises(ValueError, match="grade"):
        trace_both_ways(outlet(HILL), targets, -1, free_ways(terrain), NOTHING, terrain, grade)


def test_every_way_to_end_without_a_swale_has_its_words() -> None:
    assert REACHED not in REASONS
    assert {OFF_PROPERTY, FORBIDDEN, DRAINAGE_LINE, TOO_LOW, NOT_WANTED, TOO_LONG} < set(REASONS)
