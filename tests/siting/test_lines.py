"""First level, level lines, and the pieces that are left of them."""

import numpy as np
import pytest
import shapely

from soakline.grid import FloatArray
from soakline.inputs.types import Features
from soakline.siting.band import AIM_M
from soakline.siting.conflicts import meeting_stations
from soakline.siting.contours import level_lines
from soakline.siting.levels import first_level_m
from soakline.siting.lines import LipLine, PlacingLimits, evenly, opened_at, part_of
from soakline.siting.lip import lay_lips
from soakline.siting.measure import spacing_above
from soakline.siting.place import LevelSeries, place_lines
from soakline.siting.split import _equal_pieces, _works_meet, ends_apart
from soakline.siting.stations import stations_along
from soakline.terrain.ground import mean_ground
from soakline.terrain.ground import sample as ground_at
from tests.siting.land import (
    NONE_GIVEN,
    excluded_of,
    features_of,
    layer,
    property_of,
    siteable_of,
    terrain_of,
)
from tests.terrain_analytic.ground import (
    CENTRE_EASTING_M,
    CENTRE_NORTHING_M,
    Height,
    cone,
    plane,
    ring_hill,
    sample,
)

LIMITS = PlacingLimits(20.0, 400.0, 10.0, 0.15)


def length_of(line: FloatArray) -> float:
    return float(np.hypot(*np.diff(line, axis=0).T).sum())


def test_the_first_level_serves_the_most_land_and_is_the_highest_of_equals() -> None:
    """All of a plane falling south may carry lines: of equal phases the highest wins."""
    dem, grid = sample(plane(8.0), width_m=300.0)
    terrain = terrain_of(dem, grid)
    allowed = np.zeros(dem.shape, dtype=bool)
    allowed[20:280, 20:280] = True
    top = first_level_m(terrain.ground_m, terrain.flow.direction, allowed, allowed, 1.0, 8.0)
    assert top is not None
    highest = terrain.ground_m[allowed].max()
    assert highest - 8.0 < top <= highest
    assert top == pytest.approx(round(top, 1), abs=1e-9)


def test_the_first_level_keeps_off_excluded_ground() -> None:
    """Lines 100 m apart, and a strip of 40 m in each 100 m where none may lie."""
    dem, grid = sample(plane(8.0), width_m=400.0)
    terrain = terrain_of(dem, grid)
    row = np.arange(400)[:, None] * np.ones((1, 400))
    allowed = (row >= 20) & (row < 380) & ((row % 100) >= 40)
    top = first_level_m(terrain.ground_m, terrain.flow.direction, allowed, allowed, 1.0, 8.0)
    assert top is not None
    # Height of a row: 400 + 0.08 (199.5 − row).
    rows = 199.5 - (np.array([top, top - 8.0]) - 400.0) / 0.08
    assert np.all((rows % 100 >= 39.0) & (rows % 100 <= 99.5))


def test_no_allowed_ground_has_no_first_level() -> None:
    dem, grid = sample(plane(8.0), width_m=50.0)
    terrain = terrain_of(dem, grid)
    nowhere = np.zeros(dem.shape, dtype=bool)
    assert (
        first_level_m(terrain.ground_m, terrain.flow.direction, nowhere, nowhere, 1.0, 8.0) is None
    )


def test_a_level_that_the_ground_does_not_reach_has_no_line() -> None:
    dem, grid = sample(plane(8.0), width_m=60.0)
    levels = np.array([dem.max() + 0.01, float(dem.mean())])
    above, through = level_lines(dem, grid, levels, np.ones(grid.shape, dtype=bool))
    assert above == []
    assert len(through) == 1


def test_level_lines_are_whole_across_tiles() -> None:
    """A ring over four tiles of 256 cells comes back as one closed line."""
    dem, grid = sample(cone(10.0), width_m=600.0)
    wanted = np.ones(dem.shape, dtype=bool)
    (lines,) = level_lines(dem, grid, np.array([380.0]), wanted)
    assert len(lines) == 1
    assert np.array_equal(lines[0][0], lines[0][-1])
    radius = np.hypot(lines[0][:, 0] - CENTRE_EASTING_M, lines[0][:, 1] - CENTRE_NORTHING_M)
    assert radius == pytest.approx(200.0, abs=0.01)


FORMS = {"plane": plane(8.0, 213.0), "cone": cone(10.0), "knoll": ring_hill(15.0, 70.0, 3.0)}


@pytest.mark.parametrize("name", FORMS)
@pytest.mark.parametrize("noise_m", [0.0, 0.05])
def test_a_lip_holds_the_tolerance_with_tens_of_vertices(name: str, noise_m: float) -> None:
    """On 1 m cells, with and without 5 cm of survey noise: both at once, for every line."""
    dem, grid = sample(FORMS[name], width_m=500.0, noise_m=noise_m)
    ground = mean_ground(dem, grid, 5.0)
    level = 397.0
    wanted = np.ones(dem.shape, dtype=bool)
    (lines,) = level_lines(ground, grid, np.array([level + AIM_M]), wanted)
    long = [line for line in lines if length_of(line) > 100.0]
    assert long
    for line in long:
        (lip,) = lay_lips(
            [evenly(line, 1.0)], np.array([level]), np.array([False]), ground, grid, 0.15, 6.0
        )
        at = stations_along(lip, 0.25)
        above = ground_at(ground, grid, at.easting_m, at.northing_m) - level
        assert np.nanmin(above) >= -0.03
        assert np.nanmax(above) <= 0.15
        assert len(lip) <= 60.0 * max(1.0, length_of(lip) / 400.0)
        assert lip[0].tolist() == line[0].tolist()
        assert lip[-1].tolist() == line[-1].tolist()


def level_piece(length_m: float, closed: bool = False) -> LipLine:
    if closed:
        angle = np.linspace(0.0, 2.0 * np.pi, 181)
        radius = length_m / (2.0 * np.pi)
        ring = radius * np.column_stack([np.cos(angle), np.sin(angle)])
        ring[-1] = ring[0]
        return LipLine(400.0, 8.0, ring, True)
    return LipLine(400.0, 8.0, np.array([[0.0, 0.0], [length_m, 0.0]]), False)


@pytest.mark.parametrize("length_m", [30.0, 400.0, 400.5, 806.0, 1234.5])
@pytest.mark.parametrize("closed", [False, True])
def test_long_lines_are_split_with_5_m_between(length_m: float, closed: bool) -> None:
    line = level_piece(length_m, closed)
    pieces = list(_equal_pieces(line, LIMITS))
    if closed and length_m < 405.0:
        # The opening at the ring's exit, 6 m and more, brings it under the longest.
        assert [piece.closed for piece in pieces] == [True]
        return
    assert all(piece.length_m <= 400.0 + 1e-6 for piece in pieces)
    follows = pieces[1:] + (pieces[:1] if closed and line.length_m > 400.0 else [])
    gaps = [
        float(np.hypot(*(one.coordinates[-1] - other.coordinates[0])))
        for one, other in zip(pieces, follows, strict=False)
    ]
    # Along a ring the gap's chord is shorter than its arc, by under a centimetre here.
    assert min(gaps, default=5.0) >= 5.0 - 0.01
    total = sum(piece.length_m for piece in pieces)
    assert total + sum(gaps) == pytest.approx(line.length_m, abs=0.05)


def test_a_ring_opened_elsewhere_is_the_same_ring() -> None:
    ring = level_piece(300.0, closed=True).coordinates
    opened = opened_at(ring, 70.0)
    assert length_of(opened) == pytest.approx(length_of(ring))
    assert opened[0] == pytest.approx(opened[-1])
    assert opened[0] == pytest.approx(part_of(ring, 0.0, 70.0)[-1])


def meets(lines: list[FloatArray], closed: bool = False) -> list[np.ndarray]:
    own = [stations_along(line, 2.0) for line in lines]
    index = np.repeat(np.arange(len(lines)), [s.along_m.size for s in own])
    names = ("easting_m", "northing_m", "along_m", "left_east", "left_north")
    together = type(own[0])(*(np.concatenate([getattr(s, n) for s in own]) for n in names))
    room = np.full(index.size, 3.5)
    blocked = meeting_stations(together, index, np.full(len(lines), closed), room, room)
    return [blocked[index == i] for i in range(len(lines))]


def straight(east_m: float, north_m: float, length_m: float) -> FloatArray:
    return np.array([[east_m, north_m], [east_m + length_m, north_m]])


def test_the_shorter_of_two_lines_that_come_too_close_gives_way() -> None:
    long, short = meets([straight(0.0, 0.0, 200.0), straight(50.0, 6.0, 60.0)])
    assert not long.any()
    assert short.all()


def test_lines_a_footprint_apart_both_stay() -> None:
    """3.5 m up, 3.5 m down and 1.2 m between: 8.2 m."""
    assert not any(m.any() for m in meets([straight(0.0, 0.0, 200.0), straight(0.0, 8.3, 200.0)]))
    assert any(m.any() for m in meets([straight(0.0, 0.0, 200.0), straight(0.0, 8.1, 200.0)]))


def test_a_hairpin_loses_its_bend_and_keeps_its_arms_apart() -> None:
    """A narrow spur: the line goes out, turns within 6 m and comes back, hardly diverging."""
    angle = np.linspace(-np.pi / 2.0, np.pi / 2.0, 15)
    bend = 3.0 * np.column_stack([np.cos(angle), np.sin(angle)])
    line = np.vstack([[[-100.0, -12.0]], bend, [[-100.0, 12.0]]])
    (blocked,) = meets([line])
    stations = stations_along(line, 2.0)
    assert blocked[np.hypot(stations.easting_m, stations.northing_m) < 3.5].all()
    first, last = np.flatnonzero(blocked)[[0, -1]]
    assert blocked[first : last + 1].all()
    assert (stations.easting_m[[0, -1]] == -100.0).all()
    assert first > 20
    place = np.column_stack([stations.easting_m, stations.northing_m])
    lower, upper = shapely.LineString(place[:first]), shapely.LineString(place[last + 1 :])
    # Works reach 3.5 m to each side of a lip, and 1 m stays free between them.
    assert shapely.distance(lower, upper) > 8.0


def test_a_gentle_ring_is_no_conflict_with_itself() -> None:
    ring = level_piece(200.0, closed=True).coordinates
    assert not meets([ring], closed=True)[0].any()


@pytest.mark.parametrize("form", [plane(8.0), plane(8.0, 200.0)], ids=["straight", "turned"])
def test_lines_keep_clear_of_what_is_excluded(form: Height) -> None:
    dem, grid = sample(form, width_m=300.0)
    terrain = terrain_of(dem, grid)
    pond = shapely.Point(CENTRE_EASTING_M + 30.0, CENTRE_NORTHING_M - 10.0).buffer(25.0)
    features: Features = features_of(grid, protected=layer(grid, pond))
    excluded = excluded_of(terrain, features, property_of(grid))
    siteable = siteable_of(terrain, excluded)
    everywhere = np.ones(dem.shape, dtype=bool)
    levels = LevelSeries(np.array([400.0, 404.0]), 4.0, everywhere)
    lines = place_lines((levels,), siteable, terrain.ground_m, LIMITS, NONE_GIVEN, 6.0)
    assert len(lines) >= 3
    for line in lines:
        lip = shapely.LineString(line.coordinates)
        assert not lip.intersects(pond)
        assert excluded.inner.contains(lip)
        assert line.length_m >= 20.0
    # Both sides of the pond carry a piece of the level line that runs into it.
    west = [line for line in lines if line.level_m == 400.0]
    assert len(west) == 2


def test_spacing_is_measured_to_the_nearest_swale_above() -> None:
    upper = LipLine(408.0, 8.0, straight(0.0, 100.0, 200.0), False)
    lower = LipLine(400.0, 8.0, straight(0.0, 0.0, 200.0), False)
    nothing = np.array([], dtype=object)
    height, slope = np.full(2, 8.0), np.full(2, 8.0)
    spacing, interval = spacing_above([upper, lower], height, slope, nothing)
    assert np.isnan(spacing[0])
    assert (spacing[1], interval[1]) == pytest.approx((100.0, 8.0))


def test_spacing_across_a_drainage_line_does_not_count() -> None:
    upper = LipLine(408.0, 8.0, straight(0.0, 100.0, 200.0), False)
    lower = LipLine(400.0, 8.0, straight(0.0, 0.0, 200.0), False)
    between = np.array([shapely.LineString([(-50.0, 50.0), (250.0, 50.0)])], dtype=object)
    spacing, _ = spacing_above([upper, lower], np.full(2, 8.0), np.full(2, 8.0), between)
    assert np.isnan(spacing).all()


@pytest.mark.parametrize(("share", "found"), [(0.3, False), (0.7, True)])
def test_spacing_needs_half_of_the_pegs(share: float, found: bool) -> None:
    """The upper line ends far short of the lower one; reach is 1.5 H / slope = 150 m."""
    upper = LipLine(408.0, 8.0, straight(0.0, 100.0, 10.0), False)
    length = (10.0 + np.sqrt(150.0**2 - 100.0**2)) / share
    lower = LipLine(400.0, 8.0, straight(0.0, 0.0, float(length)), False)
    nothing = np.array([], dtype=object)
    spacing, _ = spacing_above([upper, lower], np.full(2, 8.0), np.full(2, 8.0), nothing)
    assert np.isfinite(spacing[1]) == found


def test_a_line_much_higher_or_hardly_higher_is_no_neighbour() -> None:
    """From a quarter to one and a half intervals: 2 m to 12 m."""
    lower = LipLine(400.0, 8.0, straight(0.0, 0.0, 200.0), False)
    nothing = np.array([], dtype=object)
    for rise, counts in ((1.99, False), (2.0, True), (12.0, True), (12.01, False)):
        upper = LipLine(400.0 + rise, 8.0, straight(0.0, 60.0, 200.0), False)
        spacing, _ = spacing_above([upper, lower], np.full(2, 8.0), np.full(2, 8.0), nothing)
        assert np.isfinite(spacing[1]) == counts, rise


@pytest.mark.parametrize(("length_m", "counts"), [(250.0, True), (260.0, False)])
def test_just_half_of_the_pegs_is_enough_and_the_others_count_for_nothing(
    length_m: float, counts: bool
) -> None:
    """Pegs to 120 m lie within the 150 m of reach: 13 of 26, or of 27."""
    upper = LipLine(408.0, 8.0, straight(0.0, 100.0, 10.0), False)
    lower = LipLine(400.0, 8.0, straight(0.0, 0.0, length_m), False)
    nothing = np.array([], dtype=object)
    spacing, interval = spacing_above([upper, lower], np.full(2, 8.0), np.full(2, 8.0), nothing)
    assert np.isfinite(spacing[1]) == counts
    if counts:
        beyond = np.maximum(np.arange(0.0, 121.0, 10.0) - 10.0, 0.0)
        assert spacing[1] == pytest.approx(np.hypot(beyond, 100.0).mean())
        assert interval[1] == pytest.approx(8.0)


def test_spacing_is_the_mean_over_pegs_10_m_apart() -> None:
    """The line above draws away by one in four; pegs stand at 0, 10, 20 and 30 m."""
    slanted = np.array([[-100.0, 35.0], [300.0, 135.0]])
    upper = LipLine(408.0, 8.0, slanted, False)
    lower = LipLine(400.0, 8.0, straight(0.0, 0.0, 37.0), False)
    nothing = np.array([], dtype=object)
    spacing, _ = spacing_above([upper, lower], np.full(2, 8.0), np.full(2, 8.0), nothing)
    upright = 60.0 + 0.25 * np.array([0.0, 10.0, 20.0, 30.0])
    assert spacing[1] == pytest.approx(upright.mean() * 4.0 / 17.0**0.5)


def test_the_nearest_of_two_lines_above_counts_in_whatever_order_they_come() -> None:
    far = LipLine(411.0, 8.0, straight(0.0, 140.0, 200.0), False)
    near = LipLine(405.0, 8.0, straight(0.0, 70.0, 200.0), False)
    lower = LipLine(400.0, 8.0, straight(0.0, 0.0, 200.0), False)
    nothing = np.array([], dtype=object)
    for above in ([far, near], [near, far]):
        found = spacing_above([*above, lower], np.full(3, 8.0), np.full(3, 8.0), nothing)
        assert (found[0][2], found[1][2]) == pytest.approx((70.0, 5.0))


def test_on_gentle_ground_a_neighbour_may_be_more_than_a_kilometre_away() -> None:
    """8 m on half a percent: 1600 m."""
    upper = LipLine(408.0, 8.0, straight(0.0, 1600.0, 200.0), False)
    lower = LipLine(400.0, 8.0, straight(0.0, 0.0, 200.0), False)
    nothing = np.array([], dtype=object)
    spacing, _ = spacing_above([upper, lower], np.full(2, 8.0), np.full(2, 0.5), nothing)
    assert spacing[1] == pytest.approx(1600.0)


def test_ends_of_lips_on_one_level_stand_5_m_and_their_works_1_m_apart() -> None:
    """One spot left out between two pieces; a third piece gets too short; others stay."""
    dem, grid = sample(plane(8.0), width_m=300.0)
    terrain = terrain_of(dem, grid)
    siteable = siteable_of(terrain, excluded_of(terrain, features_of(grid), property_of(grid)))

    def lip(level_m: float, *points: tuple[float, float]) -> LipLine:
        place = np.add(points, (CENTRE_EASTING_M, CENTRE_NORTHING_M))
        return LipLine(level_m, 8.0, place, closed=False)

    west, east = lip(50.0, (0.0, 0.0), (40.0, 0.0)), lip(50.0, (43.0, 0.0), (90.0, 0.0))
    short, above = lip(50.0, (93.0, 0.0), (113.5, 0.0)), lip(58.0, (43.0, 2.0), (80.0, 2.0))
    kept = ends_apart([west, east, short, above], siteable, LIMITS)
    assert [line.level_m for line in kept] == [50.0, 50.0, 58.0]
    gap_m = kept[1].coordinates[0, 0] - kept[0].coordinates[-1, 0]
    assert 5.0 < gap_m < 5.6
    assert kept[2] is above
    assert ends_apart([], siteable, LIMITS) == []
    # Round the inside of a bend: 7 m from end to end, and the mounds would lie on each other.
    down = lip(50.0, (46.0, -3.5), (46.0, -60.0))
    assert _works_meet([west, down], (0, 1), (1, 0), siteable)
    drawn = ends_apart([west, down], siteable, LIMITS)
    assert len(drawn) == 2
    assert not _works_meet(drawn, (0, 1), (1, 0), siteable)
