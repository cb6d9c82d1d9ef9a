"""What holds for every drain: its section, its way over the ground, and the land it moves."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from soakline.diversions.catchments import divert
from soakline.diversions.diversion import NONE, Diversion
from soakline.diversions.drains import channel_flow_m3s, drain_section
from soakline.diversions.walk import OFF_PROPERTY
from soakline.siting.catchments import catchments_of
from soakline.terrain.condition import Terrain
from tests.diversions.hillside import CENTRE, outlet, terrain_from, traces
from tests.terrain_analytic.ground import plane

peaks_m3s = st.floats(1e-4, 3.0)
grades = st.floats(0.001, 0.05)


@given(peaks_m3s, grades, st.floats(0.3, 2.0))
def test_a_section_carries_its_peak_no_faster_than_is_borne_or_says_so(
    peak_m3s: float, grade: float, permissible_ms: float
) -> None:
    section = drain_section(peak_m3s, grade, permissible_ms)
    carried = channel_flow_m3s(section.base_width_m, 2.0, section.flow_depth_m, grade, 0.035)
    assert carried == pytest.approx(peak_m3s, rel=1e-4, abs=1e-9)
    area = (section.base_width_m + 2.0 * section.flow_depth_m) * section.flow_depth_m
    assert section.velocity_ms * area == pytest.approx(peak_m3s, rel=1e-6)
    assert 0.3 <= section.base_width_m <= 3.0
    assert section.depth_m == pytest.approx(section.flow_depth_m + 0.1)
    assert section.needs_lining == (section.velocity_ms > permissible_ms + 1e-9)
    if section.base_width_m < 3.0:
        assert not section.needs_lining
        assert section.flow_depth_m <= 0.5


@given(peaks_m3s, peaks_m3s, grades)
def test_more_water_never_has_a_smaller_section(one: float, other: float, grade: float) -> None:
    less, more = (drain_section(peak, grade, 0.9) for peak in sorted((one, other)))
    assert less.base_width_m <= more.base_width_m + 1e-3
    assert less.velocity_ms * 0.999 <= max(more.velocity_ms, 0.9)


@settings(max_examples=25)
@given(st.floats(2.0, 15.0), st.floats(0.0, 360.0), st.floats(1 / 400, 1 / 80))
def test_on_every_plane_both_ways_stay_on_the_ground_and_on_grade(
    slope_pct: float, aspect_deg: float, grade: float
) -> None:
    form = plane(slope_pct, aspect_deg)
    terrain = terrain_from(form, width_m=140.0)
    for trace in traces(outlet(form), [], terrain, grade)[:2]:
        assert trace.how == OFF_PROPERTY
        east, north, level = trace.coordinates.T
        assert np.abs(level - form(east, north)).max() < 0.01
        assert level[0] - level == pytest.approx(grade * np.arange(level.size), abs=1e-9)
        # A straight line: as far from its start as it is long.
        assert np.hypot(east - east[0], north - north[0])[-1] == pytest.approx(
            trace.length_m, rel=1e-4
        )


def rough(seed: int) -> Terrain:
    return terrain_from(plane(6.0, 200.0), width_m=120.0, noise_m=0.2, seed=seed)


@settings(max_examples=25)
@given(st.integers(0, 10_000), st.integers(0, 6), st.integers(0, 5))
def test_land_is_moved_and_never_lost(seed: int, swales: int, drains: int) -> None:
    """Random lips and drains on rough ground: areas are disjoint and sum to the valid area."""
    terrain = rough(seed % 5)
    rng = np.random.default_rng(seed)
    lines = [CENTRE + rng.uniform(-70.0, 70.0, (3, 2)) for _ in range(max(swales, 1))]
    grid, direction, valid = terrain.grid, terrain.flow.direction, terrain.valid
    lips = catchments_of(lines, direction, valid, grid)
    own = []
    for k in range(drains):
        places = CENTRE + rng.uniform(-70.0, 70.0, (3, 2))
        coordinates = np.column_stack([places, [2.0, 1.0, 0.0]])
        into = int(rng.integers(NONE, k)) if k else NONE
        swale = own[into].swale if into != NONE else int(rng.integers(len(lines)))
        own.append(Diversion(f"{k}", "given", coordinates, swale, into, 0.0, 0.0))
    result = divert(lips, own, [], direction, valid, grid)
    catchments = result.catchments
    assert catchments.area_m2.sum() + catchments.bypass_m2 == valid.sum() * grid.cell_area_m2
    assert set(np.unique(catchments.label)) <= {-1, *range(1, len(lines) + 1)}
    # A drain's own land is its swale's; what no drain takes stays with whom it was.
    for k, drain in enumerate(own):
        assert (catchments.label[result.through == k + 1] == drain.swale + 1).all()
    untouched = result.through == 0
    assert np.array_equal(catchments.label[untouched], lips.label[untouched])
    # Whatever runs through the lower ends without going on into another drain, once.
    ends = np.array([drain.into == NONE for drain in own], dtype=bool)
    assert result.catchment_m2[ends].sum() == pytest.approx(result.own_m2.sum())
