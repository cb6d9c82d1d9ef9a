"""Where tracks meet lips: places, widths along the lip and gaps, from plane geometry."""

import geopandas as gpd
import numpy as np
import pytest
import shapely

from soakline.siting.crossings import TrackMeetings, meet_tracks, parted_at_tracks
from soakline.siting.lines import LipLine
from soakline.siting.stretches import Stretch, without

WIDTH_M = 4.0


def lip(*places: tuple[float, float], level_m: float = 10.0) -> LipLine:
    return LipLine(level_m, 8.0, np.array(places, dtype=float), closed=False)


def tracks(*lines: shapely.Geometry, width_m: float | None = WIDTH_M) -> gpd.GeoDataFrame:
    columns = {"name": [None] * len(lines), "width_m": [width_m] * len(lines)}
    return gpd.GeoDataFrame(columns, geometry=list(lines), crs="EPSG:32755")


def met(lines: list[LipLine], *ways: shapely.Geometry) -> TrackMeetings:
    return meet_tracks(lines, tracks(*ways))


EAST = lip((0.0, 0.0), (100.0, 0.0))


@pytest.mark.parametrize("angle_deg", [90.0, 60.0, 45.0, 30.0])
def test_a_skew_track_takes_its_width_over_the_sine_of_the_angle(angle_deg: float) -> None:
    angle = np.radians(angle_deg)
    run = 60.0 * np.array([np.cos(angle), np.sin(angle)])
    middle = np.array([37.0, 0.0])
    found = met([EAST], shapely.LineString([middle - run, middle + run]))
    assert found.lip.tolist() == [0]
    assert found.at_m == pytest.approx([37.0])
    assert np.column_stack([found.easting_m, found.northing_m])[0] == pytest.approx(middle)
    assert found.end_m - found.start_m == pytest.approx([WIDTH_M / np.sin(angle)])
    assert found.sine == pytest.approx([np.sin(angle)])
    # East of north by what is left of a right angle: the lip runs east, uphill is north.
    assert found.bearing_deg == pytest.approx([90.0 - angle_deg], abs=1e-6)


def test_a_track_without_a_width_is_taken_as_a_farm_track() -> None:
    """3 m; common practice, no source."""
    way = shapely.LineString([(50.0, -20.0), (50.0, 20.0)])
    for width_m in (None, 0.0):
        found = meet_tracks([EAST], tracks(way, width_m=width_m))
        assert found.end_m - found.start_m == pytest.approx([3.0])


def test_a_track_in_parts_crosses_with_each_that_meets_the_lip() -> None:
    way = shapely.MultiLineString(
        [[(70.0, -5.0), (70.0, 5.0)], [(20.0, -5.0), (20.0, 5.0)], [(0.0, 50.0), (90.0, 50.0)]]
    )
    assert met([EAST], way).at_m == pytest.approx([20.0, 70.0])


def test_a_lip_that_swings_through_one_width_of_track_is_crossed_once() -> None:
    wavy = lip((0.0, 0.0), (49.0, 0.0), (51.0, 0.1), (49.5, 0.2), (51.0, 0.3), (100.0, 0.3))
    way = shapely.LineString([(50.0, -20.0), (50.0, 20.0)])
    assert shapely.get_num_geometries(way & shapely.LineString(wavy.coordinates)) == 3
    assert met([wavy], way).at_m.size == 1


def test_a_track_that_stays_away_meets_nothing() -> None:
    assert met([EAST], shapely.LineString([(0.0, 30.0), (100.0, 30.0)])).lip.size == 0
    assert met([], shapely.LineString([(0.0, 30.0), (100.0, 30.0)])).lip.size == 0
    assert met([EAST]).lip.size == 0


@pytest.mark.parametrize(("north_m", "along_m"), [(4.0, 60.0), (6.0, 0.0)])
def test_a_track_along_the_lip_is_told_with_its_length(north_m: float, along_m: float) -> None:
    """60 m of it, 4 m away: inside half its width and 3 m; at 6 m it is outside."""
    found = met([EAST], shapely.LineString([(20.0, north_m), (80.0, north_m)]))
    assert found.lip.size == 0
    # The round ends of what lies near reach a little beyond both ends of the track.
    reach = 2.0 * np.sqrt(max(5.0**2 - north_m**2, 0.0)) if along_m else 0.0
    assert found.beside_m.sum() == pytest.approx(along_m + reach, abs=0.1)


def test_a_track_between_two_ends_on_one_level_is_a_gap() -> None:
    way = shapely.LineString([(104.0, -20.0), (104.0, 20.0)])
    east, lower = lip((108.0, 0.0), (200.0, 0.0)), lip((108.0, 1.0), (200.0, 1.0), level_m=9.0)
    found = met([EAST, east, lower], way)
    assert (found.lip.tolist(), found.other_lip.tolist()) == ([0], [1])
    assert (found.easting_m[0], found.northing_m[0]) == pytest.approx((104.0, 0.0))
    assert found.spans(3) == [[], [], []]


def test_parted_lips_leave_the_track_and_their_mounds_ends_free() -> None:
    """1.5 m for the mound that turns round the end, on both sides of 4 m of track."""
    ways = tracks(*(shapely.LineString([(x, -9.0), (x, 9.0)]) for x in (30.0, 60.0, 97.0)))
    pieces = parted_at_tracks([EAST], ways, least_m=10.0)
    ends = sorted((p.coordinates[0, 0], p.coordinates[-1, 0]) for p in pieces)
    assert np.array(ends) == pytest.approx(np.array([(0.0, 26.5), (33.5, 56.5), (63.5, 93.5)]))
    again = meet_tracks(pieces, ways)
    assert (again.other_lip >= 0).all()
    assert again.easting_m == pytest.approx([30.0, 60.0])


def test_sills_leave_room_for_a_mound_beside_what_is_taken() -> None:
    """3 m, the shortest that a machine heaps; common practice, no source."""

    def left(*given: Stretch) -> list[tuple[float, float, bool]]:
        return [(own.start_m, own.end_m, own.cut_in) for own in without([*given], [(9.0, 13.0)])]

    (start, end, cut_in), (other_start, other_end, other_cut_in) = left(
        Stretch(0.0, 10.0, cut_in=False), Stretch(10.5, 30.0, cut_in=True)
    )
    assert (start, cut_in, other_end, other_cut_in) == (0.0, False, 30.0, True)
    assert 3.0 <= 9.0 - end < 3.2
    assert 3.0 <= other_start - 13.0 < 3.2
    assert left(Stretch(6.5, 15.5, cut_in=False)) == []
    assert left(Stretch(0.0, 5.0, cut_in=False)) == [(0.0, 5.0, False)]
