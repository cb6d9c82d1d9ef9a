"""Figures of polygons along lips: by length, the later polygon over the earlier one."""

import geopandas as gpd
import numpy as np
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st
from shapely import Polygon, box

from soakline.grid import FloatArray
from soakline.siting.along_lip import along_lip, ksat_along_mm_h, texture_along

LIP = np.array([[0.0, 0.0], [100.0, 0.0]])


def shapes(*polygons: Polygon) -> np.ndarray:
    out = np.empty(len(polygons), dtype=object)
    out[:] = polygons
    return out


def soils(**columns: list[object]) -> gpd.GeoDataFrame:
    """Strips of 25 m along the lip, from the west."""
    count = len(next(iter(columns.values())))
    strips = [box(25.0 * i, -10.0, 25.0 * (i + 1), 10.0) for i in range(count)]
    empty = {"texture": [None] * count, "ksat_mm_h": [np.nan] * count}
    return gpd.GeoDataFrame(empty | columns, geometry=strips)


def test_each_polygon_counts_by_the_length_of_lip_in_it() -> None:
    west, middle = box(-5.0, -5.0, 20.0, 5.0), box(40.0, -5.0, 50.0, 5.0)
    mean = along_lip([LIP], shapes(west, middle), np.array([10.0, 60.0]), 2.0)
    assert mean == pytest.approx([(20.0 * 10.0 + 10.0 * 60.0 + 70.0 * 2.0) / 100.0])


def test_a_bent_lip_counts_by_its_own_length_and_not_by_its_span() -> None:
    """30 m east, then 40 m north; the polygon holds the second leg only."""
    bent = np.array([[0.0, 0.0], [30.0, 0.0], [30.0, 40.0]])
    mean = along_lip([bent], shapes(box(25.0, 0.001, 35.0, 50.0)), np.array([7.0]), 0.0)
    assert mean == pytest.approx([7.0 * 40.0 / 70.0], rel=1e-4)


def test_the_later_of_two_polygons_holds_where_they_overlap() -> None:
    whole, east = box(-5.0, -5.0, 105.0, 5.0), box(75.0, -5.0, 105.0, 5.0)
    values = np.array([4.0, 8.0])
    assert along_lip([LIP], shapes(whole, east), values, 99.0) == pytest.approx([5.0])
    assert along_lip([LIP], shapes(east, whole), values[::-1], 99.0) == pytest.approx([4.0])


def test_a_polygon_without_a_figure_leaves_what_is_under_it() -> None:
    whole, east = box(-5.0, -5.0, 105.0, 5.0), box(75.0, -5.0, 105.0, 5.0)
    assert along_lip([LIP], shapes(whole, east), np.array([4.0, np.nan]), 99.0) == pytest.approx(4)


def test_off_all_polygons_the_default_stands_to_the_bit() -> None:
    odd = [LIP * share + [0.0, 500.0] for share in np.linspace(0.1, 1.0, 97)]
    mean = along_lip([LIP, *odd], shapes(box(-5.0, -5.0, 105.0, 5.0)), np.array([4.0]), 13.2)
    assert mean.tolist() == [4.0] + 97 * [13.2]
    assert along_lip(odd, shapes(), np.array([]), 13.2).tolist() == 97 * [13.2]
    assert along_lip([], shapes(), np.array([]), 0.1).shape == (0,)


@given(
    st.lists(st.integers(0, 100), min_size=1, max_size=6),
    st.lists(st.floats(0.1, 500.0), min_size=6, max_size=6),
    st.floats(0.1, 500.0),
)
def test_the_mean_is_that_of_many_places_along_the_lip(
    starts: list[int], values: list[float], default: float
) -> None:
    """Polygons that overlap at will, whole metres, tried against the middle of each half metre."""
    polygons = shapes(*(box(start, -1.0, start + 30.0, 1.0) for start in starts))
    places = np.arange(0.25, 100.0, 0.5)
    at: FloatArray = np.full(places.size, default)
    for start, value in zip(starts, values, strict=False):
        at[(places >= start) & (places <= start + 30.0)] = value
    mean = along_lip([LIP], polygons, np.array(values[: len(starts)]), default)
    assert mean[0] == pytest.approx(at.mean(), abs=1e-9)
    assert min(*values, default) - 1e-9 <= mean[0] <= max(*values, default) + 1e-9


def test_a_soil_gives_its_conductivity_else_that_of_its_texture_else_the_run_files() -> None:
    """Loam 13.2 mm/h: config/soils.csv, Rawls, Brakensiek & Saxton 1982, Table 2 (confirmed)."""
    layer = soils(texture=["clay", "loam", None, "loam"], ksat_mm_h=[40.0, np.nan, np.nan, 0.0])
    mean = ksat_along_mm_h([LIP], layer, 5.0)
    assert mean == pytest.approx([(40.0 + 13.2 + 5.0 + 13.2) / 4.0])


def test_without_soils_every_swale_has_the_run_files_conductivity() -> None:
    layer = soils(texture=["loam"], ksat_mm_h=[1.0]).iloc[:0]
    assert ksat_along_mm_h([LIP, LIP], layer, 13.2).tolist() == [13.2, 13.2]


def test_a_swale_across_two_soils_soaks_what_its_two_parts_soak() -> None:
    """30 m on clay and 70 m on sand, base 1.5 m: the parts' rates add up."""
    parts = [30.0, 70.0]
    layer = gpd.GeoDataFrame(
        {"texture": [None, None], "ksat_mm_h": [0.6, 210.0]},
        geometry=[box(0.0, -1.0, 30.0, 1.0), box(30.0, -1.0, 100.0, 1.0)],
    )
    whole_m3_h = (
        ksat_along_mm_h([LIP], layer, 5.0)[0] / 1000.0 * 1.5 * shapely.LineString(LIP).length
    )
    assert whole_m3_h == pytest.approx(1.5 * (0.0006 * parts[0] + 0.210 * parts[1]))


def test_the_texture_is_that_of_most_of_the_lip() -> None:
    """Four strips of 25 m; what tells nothing counts for the run file's."""
    clay = soils(texture=["clay", "sand", "clay", None], ksat_mm_h=[np.nan] * 4)
    assert texture_along([LIP, LIP[:, ::-1] + [0.0, 900.0]], clay, "loam") == ("clay", "loam")
    untold = soils(texture=["clay", None, None, "clay-loam"], ksat_mm_h=[np.nan] * 4)
    assert texture_along([LIP], untold, "loam") == ("loam",)
    assert texture_along([LIP], untold.iloc[:0], "silt-loam") == ("silt-loam",)
    assert texture_along([], clay, "loam") == ()


def test_the_later_texture_holds_where_polygons_overlap_and_the_coarser_where_both_are_even() -> (
    None
):
    whole, east = box(-5.0, -5.0, 105.0, 5.0), box(40.0, -5.0, 105.0, 5.0)
    layer = gpd.GeoDataFrame({"texture": ["clay", "sand"]}, geometry=[whole, east])
    assert texture_along([LIP], layer, "loam") == ("sand",)
    assert texture_along([LIP], layer.iloc[::-1], "loam") == ("clay",)
    half = gpd.GeoDataFrame(
        {"texture": ["clay", "sand"]}, geometry=[box(0, -1, 50, 1), box(50, -1, 100, 1)]
    )
    assert texture_along([LIP], half, "loam") == ("sand",)
    assert texture_along([LIP], half.iloc[::-1], "loam") == ("sand",)


@given(st.lists(st.tuples(st.integers(0, 100), st.sampled_from(["sand", "loam", "clay"]))))
def test_the_texture_is_that_of_most_places_along_the_lip(drawn: list[tuple[int, str]]) -> None:
    """Polygons that overlap at will, whole metres, tried against the middle of each half metre."""
    layer = gpd.GeoDataFrame(
        {"texture": [texture for _, texture in drawn]},
        geometry=[box(start, -1.0, start + 30.0, 1.0) for start, _ in drawn],
    )
    places = np.arange(0.25, 100.0, 0.5)
    at = np.full(places.size, "silt-loam")
    for start, texture in drawn:
        at[(places >= start) & (places <= start + 30.0)] = texture
    (found,) = texture_along([LIP], layer, "silt-loam")
    assert (at == found).sum() == np.unique(at, return_counts=True)[1].max()
