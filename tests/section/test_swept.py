"""Volumes between pegs: bends by Pappus's second theorem, ground that the pegs do not see."""

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from soakline.grid import FloatArray, Grid
from soakline.section.mound import MoundShapes, section_area_m2
from soakline.section.pegs import set_pegs
from soakline.section.profiles import closed_to_spoil, closer
from soakline.section.stations import Chainages, LipStations, average_end_area_m3
from soakline.section.swept import downhill, mound_m3, trench_between_m3
from soakline.section.trench import Trench, cut_area_m2, trenches_of
from tests.section.lips import straight, uphill_m
from tests.terrain_analytic.ground import (
    CENTRE_EASTING_M,
    CENTRE_NORTHING_M,
    Height,
    cone,
    plane,
    sample,
)

TRENCH = Trench(1.5, 0.5, 1.5)
MOUND = MoundShapes(np.zeros(1), 2.0, 0.5)
HIGH, CREST = np.array([0.25]), np.array([1.2])
# Slices of an eighth of a metre, along chords of a metre.
SLICED = 2e-3


def both(line: FloatArray, level_m: float, height: Height) -> tuple[LipStations, LipStations]:
    """The pegs of one lip, and stations close together, on a form sampled at 0.5 m."""
    dem, grid = sample(height, width_m=200.0, cell_m=0.5)
    level = np.array([level_m])
    pegs = set_pegs([line], level, [[]], 3.0, 9.0, 12.0, dem, grid).stations
    return pegs, closer(pegs, [line], level, dem, grid)


def round_a_cone(radius_m: float) -> tuple[LipStations, LipStations]:
    """Half of a level line of a cone of 10 %, anticlockwise, with a corner every metre."""
    angle = np.linspace(0.0, np.pi, round(np.pi * radius_m) + 1)
    east, north = radius_m * np.cos(angle), radius_m * np.sin(angle)
    line = np.column_stack([CENTRE_EASTING_M + east, CENTRE_NORTHING_M + north])
    return both(line, 400.0 - 0.1 * radius_m, cone(10.0))


@pytest.mark.parametrize("radius_m", [15.0, 30.0, 60.0])
def test_round_a_knoll_the_cut_is_its_section_along_its_own_way(radius_m: float) -> None:
    """V = ∫ h(u) (1 − u / R) du per metre of lip (Pappus), uphill being the inside."""
    pegs, close = round_a_cone(radius_m)
    u = (np.arange(200_000) + 0.5) / 200_000 * 4.0
    floor = np.maximum(np.maximum(-u / 1.5, -0.5), (u - TRENCH.top_width_m) / 1.5)
    deep = np.maximum(0.1 * u - floor, 0.0)
    area, moment = (float((deep * of).mean() * 4.0) for of in (np.ones_like(u), u))
    assert area == pytest.approx(float(cut_area_m2(TRENCH, np.zeros(1), np.array([0.1]))[0]), 1e-4)
    between = float(trench_between_m3(pegs, close, trenches_of([TRENCH]))[0])
    length = float(pegs.at.length_m[0])
    assert between == pytest.approx(-moment / radius_m * length, abs=5e-3 * area * length)


@pytest.mark.parametrize("radius_m", [15.0, 30.0, 60.0])
def test_round_a_knoll_the_mound_is_longer_than_its_lip(radius_m: float) -> None:
    _, close = round_a_cone(radius_m)
    held = float(mound_m3(downhill(close), MOUND, HIGH, CREST)[0])
    down = (np.arange(100_000) + 0.5) / 100_000 * 8.0
    face = np.minimum(0.25, np.minimum(down / 2.0, 0.25 - (down - 0.5 - 1.2) / 2.0))
    over = np.maximum(face + 0.1 * down, 0.0)
    per_metre = float((over * (1.0 + down / radius_m)).mean() * 8.0)
    assert held == pytest.approx(per_metre * float(close.at.length_m[0]), rel=0.01)


@settings(max_examples=30, deadline=None)
@given(
    slope_pct=st.floats(1.0, 20.0),
    base_m=st.floats(0.4, 3.0),
    depth_m=st.floats(0.2, 1.0),
    batter=st.floats(0.5, 2.0),
)
def test_on_a_plane_nothing_lies_between_the_pegs(
    slope_pct: float, base_m: float, depth_m: float, batter: float
) -> None:
    height = plane(slope_pct)
    lip = np.array([[-40.0, 0.0], [40.0, 0.0]])
    lip += np.array([CENTRE_EASTING_M, CENTRE_NORTHING_M])
    level = float(height(lip[:1, 0], lip[:1, 1])[0])
    assert height(lip[:1, 0], lip[:1, 1] + 1.0)[0] > level
    pegs, close = both(lip, level, height)
    trench = trenches_of([Trench(base_m, depth_m, batter)])
    per_metre = float(cut_area_m2(trench.take(np.zeros(1, int)), np.zeros(1), pegs.rise[:1])[0])
    # Slices are cut off at whole steps at the daylight edge.
    assert abs(float(trench_between_m3(pegs, close, trench)[0])) < 1e-4 * per_metre * 80.0


def test_ground_that_no_peg_sees_is_dug_all_the_same() -> None:
    """Slope 8 % at every peg, 8 % + 6 % sin² between: on the mean 11 %."""
    pegs = straight(100.0)
    along = np.linspace(0.0, 100.0, 201)
    slope = 0.08 + 0.06 * np.sin(np.pi * along / 5.0) ** 2
    zero = np.zeros_like(along)
    close = LipStations(
        Chainages(np.array([0, 201]), along), along, zero, zero, zero + 1.0, zero, slope, slope,
        uphill_m(zero, slope), uphill_m(zero, -slope),
    )  # fmt: skip
    found = float(trench_between_m3(pegs, close, trenches_of([TRENCH]))[0])
    area = cut_area_m2(TRENCH, zero, slope)
    seen = cut_area_m2(TRENCH, pegs.ground_above_m, pegs.rise)
    expected = average_end_area_m3(close.at, area) - average_end_area_m3(pegs.at, seen)
    assert found == pytest.approx(float(expected[0]), rel=0.01)
    assert found > 4.0


def test_on_even_ground_a_mound_holds_its_section() -> None:
    lip = straight(100.0)
    held = float(mound_m3(downhill(lip), MOUND, HIGH, CREST)[0])
    area = section_area_m2(MOUND, HIGH, CREST, np.zeros(1), np.array([0.08]))
    assert held == pytest.approx(100.0 * float(area[0]), rel=SLICED)


def test_nothing_is_heaped_on_ground_that_is_kept_free() -> None:
    """A way of 4 m square through a mound of 100 m takes a 25th of it."""
    along = np.linspace(0.0, 100.0, 401)
    zero = np.zeros_like(along)
    lip = LipStations(
        Chainages(np.array([0, 401]), along), along, zero, zero, zero + 1.0, zero, zero + 0.08,
        zero + 0.08, uphill_m(zero, zero + 0.08), uphill_m(zero, zero - 0.08),
    )  # fmt: skip
    whole = float(mound_m3(downhill(lip), MOUND, HIGH, CREST)[0])
    way = np.array([shapely.box(48.0, -20.0, 52.0, 1.0)], dtype=object)
    left = float(mound_m3(downhill(closed_to_spoil(lip, way)), MOUND, HIGH, CREST)[0])
    assert left == pytest.approx(0.96 * whole, rel=5e-3)
    nowhere = np.array([shapely.Polygon()], dtype=object)
    assert float(mound_m3(downhill(closed_to_spoil(lip, nowhere)), MOUND, HIGH, CREST)[0]) == whole


def test_between_two_arms_of_a_lip_ground_is_counted_once() -> None:
    """Arms 8 m apart with their downhill sides inside: each has the ground to the middle."""
    level, n = np.zeros(1), 21
    turn = np.radians(np.linspace(-90.0, 90.0, 13))
    # In from the east, round clockwise and out again: downhill, on the right, is inside.
    south = np.column_stack([np.linspace(20.0, 0.0, n), np.full(n, -4.0)])
    bend = np.column_stack([-4.0 * np.cos(turn), 4.0 * np.sin(turn)])[1:-1]
    north = np.column_stack([np.linspace(0.0, 20.0, n), np.full(n, 4.0)])
    line = np.concatenate([south, bend, north])
    grid = Grid(200, 200, -50.0, 50.0, 0.5, "EPSG:32655")
    flat = np.zeros(grid.shape, np.float32)
    pegs = set_pegs([line], level, [[]], 3.0, 3.0, 12.0, flat, grid).stations
    close = closer(pegs, [line], level, flat, grid)
    arms = (close.easting_m > 6.0) & (np.abs(close.northing_m) > 3.9)
    profile = close.downhill_m[arms]
    assert not np.isnan(profile[:, :9]).any()
    assert np.isnan(profile[:, 10:]).all()


@pytest.mark.parametrize("parted_m", [59.5, 60.0, 60.4])
def test_stretches_that_part_a_bend_hold_what_the_whole_of_it_holds(parted_m: float) -> None:
    """Round a right angle: the mean of two vectors that part in a bend is shorter than they are."""
    line = np.array([[-60.0, 0.0], [0.0, 0.0], [0.0, 60.0]])
    grid = Grid(400, 400, -100.0, 100.0, 0.5, "EPSG:32655")
    flat = np.zeros(grid.shape, np.float32)
    pegs = set_pegs([line], np.zeros(1), [[]], 3.0, 3.0, 12.0, flat, grid).stations
    close = closer(pegs, [line], np.zeros(1), flat, grid)
    parted = np.array([0.0, parted_m, 120.0])
    parts = close.between(np.zeros(2, dtype=np.int64), parted[:-1], parted[1:])
    both = MoundShapes(np.zeros(2), 2.0, 0.5), np.tile(HIGH, 2), np.tile(CREST, 2)
    whole = float(mound_m3(downhill(close), MOUND, HIGH, CREST)[0])
    assert mound_m3(downhill(parts), *both).sum() == pytest.approx(whole, rel=1e-9)


@pytest.mark.parametrize("beside", [(0.5, 1.5), (98.5, 99.5)])
def test_ground_closed_beside_a_stretch_s_end_closes_nothing_at_the_end(
    beside: tuple[float, float],
) -> None:
    """Stations a metre apart: the one before the last is closed, the last is not."""
    along = np.linspace(0.0, 100.0, 101)
    zero = np.zeros_like(along)
    lip = LipStations(
        Chainages(np.array([0, 101]), along), along, zero, zero, zero + 1.0, zero, zero + 0.08,
        zero + 0.08, uphill_m(zero, zero + 0.08), uphill_m(zero, zero - 0.08),
    )  # fmt: skip
    whole = float(mound_m3(downhill(lip), MOUND, HIGH, CREST)[0])
    way = np.array([shapely.box(beside[0], -20.0, beside[1], 1.0)], dtype=object)
    closed = closed_to_spoil(lip, way).between(np.zeros(1, int), along[:1], along[-1:])
    left = float(mound_m3(downhill(closed), MOUND, HIGH, CREST)[0])
    assert left == pytest.approx(0.99 * whole, rel=1e-3)


def test_ground_closed_beyond_a_stretch_s_end_closes_nothing_of_the_stretch() -> None:
    """A mound up to a sill at 90.2 m; the sill's own way closes the station at 90.22 m."""
    along = np.append(np.arange(0.0, 90.0), [89.22, 90.22, 100.0])
    zero = np.zeros_like(along)
    lip = LipStations(
        Chainages(np.array([0, along.size]), along), along, zero, zero, zero + 1.0, zero,
        zero + 0.08, zero + 0.08, uphill_m(zero, zero + 0.08), uphill_m(zero, zero - 0.08),
    )  # fmt: skip
    way = np.array([shapely.box(90.21, -20.0, 91.2, 1.0)], dtype=object)
    held = [
        float(mound_m3(downhill(of.between(np.zeros(1, int), np.zeros(1), np.full(1, 90.2))),
                       MOUND, HIGH, CREST)[0])
        for of in (lip, closed_to_spoil(lip, way))
    ]  # fmt: skip
    assert held[1] == pytest.approx(held[0], rel=1e-9)
