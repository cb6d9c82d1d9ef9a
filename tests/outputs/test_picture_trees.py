"""Crowns on the map: to scale, by what they are for, and none where they would be a smear."""

import geopandas as gpd
import pytest
from matplotlib.collections import EllipseCollection
from matplotlib.figure import Figure
from shapely import Point

from soakline.outputs.picture_trees import draw_trees

TREES = gpd.GeoDataFrame(
    {"group": ["fruit", "pioneer", "windbreak"], "crown_m": [6.0, 4.0, 9.0]},
    geometry=[Point(10.0, 10.0), Point(16.0, 10.0), Point(30.0, 10.0)],
)


def test_crowns_are_as_wide_as_they_grow_and_counted_in_the_legend() -> None:
    axes = Figure().add_subplot()
    legend = draw_trees(axes, TREES, point_m=1.0)
    labels = [str(own.get_label()) for own in legend]
    assert labels == ["Trees, full-grown crowns (2)", "Windbreak trees (1)"]
    crowns = [own for own in axes.collections if isinstance(own, EllipseCollection)]
    assert [own.get_widths().tolist() for own in crowns] == [[6.0, 4.0], [9.0]]
    assert [own.get_offsets().tolist() for own in crowns][1] == [[30.0, 10.0]]


@pytest.mark.parametrize(("trees", "point_m"), [(TREES, 5.1), (None, 1.0)])
def test_crowns_too_small_to_see_are_left_away(
    trees: gpd.GeoDataFrame | None, point_m: float
) -> None:
    """The median crown of 6 m is 1.18 points wide at 5.1 m a point; 1.2 are drawn."""
    axes = Figure().add_subplot()
    assert draw_trees(axes, trees, point_m) == []
    assert len(axes.collections) == 0
