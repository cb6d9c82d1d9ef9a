"""Features of two plans are the same by where they lie."""

import geopandas as gpd
import numpy as np
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st
from shapely import LineString, Point, Polygon, box

from soakline.compare.matching import (
    Pairs,
    pair_up,
    pair_up_within,
    require_same_property,
    separation_m,
)
from soakline.problems import InputRefused

CRS = "EPSG:32755"


def level_line(north_m: float, west_m: float = 0.0, east_m: float = 300.0) -> LineString:
    return LineString([(west_m, north_m, 50.0), (east_m, north_m, 50.0)])


def paired(a: dict[str, shapely.Geometry], b: dict[str, shapely.Geometry]) -> Pairs:
    return pair_up(list(a), list(b), np.array(list(a.values())), np.array(list(b.values())))


@pytest.mark.parametrize(("apart_m", "same"), [(0.0, True), (4.9, True), (5.1, False)])
def test_lips_of_one_id_are_one_swale_within_five_metres(apart_m, same):
    pairs = paired({"S001": level_line(0.0)}, {"S001": level_line(apart_m)})
    assert pairs.both == ((("S001", "S001"),) if same else ())
    assert pairs.vanished == pairs.appeared == (() if same else ("S001",))


@pytest.mark.parametrize(("length_m", "same"), [(210.0, True), (190.0, False)])
def test_a_lip_that_lost_up_to_a_third_is_the_same_swale(length_m, same):
    short = level_line(0.0, 0.0, length_m)
    assert bool(paired({"S001": level_line(0.0)}, {"S001": short}).both) is same
    assert bool(paired({"S001": short}, {"S001": level_line(0.0)}).both) is same


def test_a_swale_that_was_split_in_halves_vanished_and_two_appeared():
    halves = {"S001": level_line(0.0, 0.0, 149.0), "S002": level_line(0.0, 151.0, 300.0)}
    pairs = paired({"S001": level_line(0.0)}, halves)
    assert pairs == Pairs((), ("S001",), ("S001", "S002"))


def test_ids_that_moved_on_are_followed_to_their_lines():
    a = {"S001": level_line(30.0), "S002": level_line(20.0), "S003": level_line(10.0)}
    b = {"S001": level_line(20.2), "S002": level_line(10.2), "S003": level_line(0.0)}
    pairs = paired(a, b)
    assert pairs.both == (("S002", "S001"), ("S003", "S002"))
    assert (pairs.vanished, pairs.appeared) == (("S001",), ("S003",))
    assert pairs.renumbered == pairs.both
    assert pairs.names == {"S001": "S002", "S002": "S003", "S003": "S003 of B"}


def test_terraces_closer_than_the_reach_are_matched_to_the_nearest_not_to_the_id():
    a = {"S001": level_line(9.0), "S002": level_line(6.0), "S003": level_line(3.0)}
    b = {"S001": level_line(6.0), "S002": level_line(3.0)}
    assert paired(a, b).both == (("S002", "S001"), ("S003", "S002"))


def test_of_lines_in_one_place_the_one_with_the_same_id_is_taken():
    a = {"P2": Point(0, 0), "P1": Point(0, 0)}
    assert paired(a, {"P1": Point(0, 0), "P2": Point(0, 0)}).renumbered == ()


def test_a_missing_geometry_matches_nothing():
    pairs = paired({"S001": level_line(0.0), "S002": None}, {"S001": None, "S002": level_line(0.0)})
    assert pairs == Pairs((("S001", "S002"),), ("S002",), ("S001",))


def test_nothing_and_nothing_make_no_pairs():
    assert paired({}, {}) == Pairs((), (), ())


def test_outlines_are_compared_by_their_rims():
    hollow = Point(0, 0).buffer(20.0)
    assert separation_m(hollow, Point(0, 0).buffer(24.0)) == pytest.approx(4.0, abs=0.05)
    assert not paired({"H1": hollow}, {"H1": Point(0, 0).buffer(8.0)}).both


@given(
    order=st.permutations(range(6)),
    shift_m=st.floats(-2.0, 2.0),
    kept=st.sets(st.integers(0, 5), min_size=1),
)
def test_any_renumbering_of_lines_over_ten_metres_apart_is_found(order, shift_m, kept):
    a = {f"S{i}": level_line(11.0 * i) for i in range(6)}
    b = {
        f"S{new}": level_line(11.0 * old + shift_m) for new, old in enumerate(order) if old in kept
    }
    pairs = paired(a, b)
    assert dict(pairs.both) == {
        f"S{old}": f"S{new}" for new, old in enumerate(order) if old in kept
    }
    assert pairs.appeared == ()


def test_sills_are_matched_within_their_swale_however_far_they_moved():
    a = np.array([Point(0, 0), Point(50, 0)])
    b = np.array([Point(52, 0), Point(40, 0), Point(0, 1)])
    pairs = pair_up_within(
        ["S1-W1", "S1-W2"], ["S1-W1", "S1-W2", "S2-W1"], ["S1", "S1"], ["S1", "S1", "S2"], a, b
    )
    assert pairs.both == (("S1-W1", "S1-W2"), ("S1-W2", "S1-W1"))
    assert pairs.appeared == ("S2-W1",)


def outline(shape: Polygon) -> gpd.GeoDataFrame:
    return gpd.GeoDataFrame(geometry=[shape], crs=CRS)


@pytest.mark.parametrize(("moved_m", "overlap_pct"), [(0.0, 100.0), (2.5, 95.122)])
def test_land_that_is_common_to_95_percent_is_one_property(moved_m, overlap_pct):
    """Two squares of 100 m, one moved by d: (100 − d) / (100 + d)."""
    a, b = outline(box(0, 0, 100, 100)), outline(box(moved_m, 0, 100 + moved_m, 100))
    assert require_same_property(a, b, "b.gpkg") == pytest.approx(overlap_pct, abs=0.001)


@pytest.mark.parametrize(
    "other",
    [box(2.6, 0, 102.6, 100), box(0, 0, 100, 94), box(900, 0, 990, 90), box(0, 0, 200, 200)],
)
def test_other_land_is_another_property(other):
    with pytest.raises(InputRefused, match=r"b\.gpkg: table property: found another property"):
        require_same_property(outline(box(0, 0, 100, 100)), outline(other), "b.gpkg")


def test_an_outline_that_crosses_itself_is_compared_all_the_same():
    crossing = Polygon([(0, 0), (100, 0), (100, 100), (0, 100), (50, -0.01)])
    assert require_same_property(outline(crossing), outline(crossing), "b.gpkg") == 100.0
