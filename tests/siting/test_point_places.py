"""Chosen points at their swales, clear reaches of lips, pits at even steps."""

import geopandas as gpd
import numpy as np
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st

from soakline.runfile.sections import SwalePointKeys
from soakline.runfile.swale_point_section import PointSize
from soakline.siting.point_places import (
    Wanted,
    chosen_points,
    is_free,
    middles,
    pits_along,
    reaches,
    with_room,
)

KEYS = SwalePointKeys(pond_length_m=8, basin_width_m=2)
LIPS = np.array(
    [shapely.LineString([(0, 100), (90, 100)]), shapely.LineString([(0, 40), (90, 40)])],
    dtype=object,
)


def layer(*points: tuple[str, float, float, float]) -> gpd.GeoDataFrame:
    """Points by kind, easting, northing and length."""
    kind, east, north, length = zip(*points, strict=True)
    columns = {"kind": kind, "length_m": length, "width_m": np.nan, "depth_m": np.nan}
    return gpd.GeoDataFrame(columns, geometry=gpd.points_from_xy(east, north))


def test_a_chosen_point_lies_at_the_nearest_swale_with_its_own_size_or_the_usual_one() -> None:
    wanted, left_out = chosen_points(
        layer(("pond", 30.0, 95.0, np.nan), ("basin", 60.0, 50.0, 12.0)), LIPS, KEYS
    )
    assert left_out == []
    assert wanted == [
        Wanted(0, "pond", 30.0, PointSize(8.0, 0.0, 0.3), 0),
        Wanted(1, "basin", 60.0, PointSize(12.0, 2.0, 0.0), 1),
    ]


def test_a_point_far_from_every_swale_is_left_out_and_says_how_far() -> None:
    wanted, left_out = chosen_points(
        layer(("pond", 30.0, 74.9, np.nan), ("pond", 30.0, 126.0, np.nan)), LIPS, KEYS
    )
    assert wanted == []
    assert [(own.row, own.kind) for own in left_out] == [(0, "pond"), (1, "pond")]
    assert "25 m away, over 25 m" in left_out[0].why
    assert "26 m away" in left_out[1].why


def test_where_there_is_no_swale_a_point_is_left_out() -> None:
    wanted, left_out = chosen_points(layer(("pond", 0.0, 0.0, 5.0)), LIPS[:0], KEYS)
    assert wanted == []
    assert [own.why for own in left_out] == ["there is no swale"]


spans = st.lists(
    st.tuples(st.floats(-5.0, 95.0), st.floats(0.5, 20.0)).map(lambda own: (own[0], sum(own))),
    max_size=6,
)


@given(taken=spans)
def test_reaches_are_free_and_with_what_is_taken_the_whole_lip(
    taken: list[tuple[float, float]],
) -> None:
    ends = [(-1.0, 2.0), (98.0, 101.0)]
    found = reaches(100.0, [*taken, *ends])
    lengths = [end - start for start, end in found]
    assert lengths == sorted(lengths, reverse=True)
    assert all(is_free([*taken, *ends], span) for span in found)
    covered = shapely.union_all([shapely.box(a, 0, b, 1) for a, b in [*taken, *ends, *found]])
    assert covered.intersection(shapely.box(0, 0, 100, 1)).area == pytest.approx(100.0)


def test_the_middle_of_the_longest_reach_comes_first() -> None:
    size = PointSize(6.0, 0.0, 0.3)
    found = middles(3, "pond", size, 100.0, [(-2.0, 4.0), (20.0, 30.0), (94.0, 102.0), (33, 38)])
    assert [own.at_m for own in found] == [66.0, 12.0]
    assert found[0].span_m == (63.0, 69.0)


def test_pits_keep_their_step_and_pass_over_what_is_taken() -> None:
    size = PointSize(1.5, 0.6, 0.5)
    found = pits_along(0, size, 20.0, 100.0, [with_room((28.0, 31.0))])
    assert [own.at_m for own in found] == [10.0, 50.0, 70.0, 90.0]
