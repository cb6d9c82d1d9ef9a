"""Lips kept off tracks beside them, on a plane."""

from typing import Any

import geopandas as gpd
import numpy as np
import pytest
import shapely

from soakline.grid import FloatArray
from soakline.siting.beside_tracks import kept_off_tracks
from soakline.siting.lines import LipLine
from soakline.siting.stations import Siteable
from tests.siting.land import excluded_of, features_of, property_of, reach, siteable_of, terrain_of
from tests.terrain_analytic.ground import CENTRE_EASTING_M, CENTRE_NORTHING_M, plane, sample

SLOPE_PCT, WIDTH_M, SETBACK_M, LEAST_M = 8.0, 4.0, 3.0, 20.0
# Trench and mound below and above a lip that runs west to east on ground that falls south.
(UPHILL_M,), (DOWNHILL_M,) = reach().at(np.array([SLOPE_PCT]))


@pytest.fixture(scope="module")
def siteable() -> Siteable:
    dem, grid = sample(plane(SLOPE_PCT), width_m=300.0)
    terrain = terrain_of(dem, grid)
    return siteable_of(terrain, excluded_of(terrain, features_of(grid), property_of(grid)))


def at(*places: tuple[float, float]) -> FloatArray:
    return np.add(places, (CENTRE_EASTING_M, CENTRE_NORTHING_M))


def kept(siteable: Siteable, *track: tuple[float, float]) -> list[LipLine]:
    """What is left of 200 m of lip beside a track; the pieces from west to east."""
    columns: dict[str, Any] = {"name": [None], "width_m": [WIDTH_M]}
    tracks = gpd.GeoDataFrame(columns, geometry=[shapely.LineString(at(*track))])
    lip = LipLine(400.0, 8.0, at((-100.0, 0.0), (100.0, 0.0)), closed=False)
    pieces = kept_off_tracks([lip], tracks, SETBACK_M, siteable, LEAST_M)
    return sorted(pieces, key=lambda piece: float(piece.coordinates[0, 0]))


def test_a_track_that_crosses_leaves_the_lip_whole(siteable: Siteable) -> None:
    (whole,) = kept(siteable, (10.0, 80.0), (-5.0, -80.0))
    assert whole.length_m == pytest.approx(200.0)


@pytest.mark.parametrize(("angle_deg", "pieces"), [(10.0, 2), (18.0, 2), (21.0, 1), (60.0, 1)])
def test_a_track_that_meets_the_lip_nearly_along_it_parts_it(
    siteable: Siteable, angle_deg: float, pieces: int
) -> None:
    """A third is the least sine that a crossing is reckoned at, 19.5 degrees."""
    angle = np.radians(angle_deg)
    far = (300.0 * np.cos(angle), 300.0 * np.sin(angle))
    left = kept(siteable, (-far[0], -far[1]), far)
    assert len(left) == pieces
    if pieces == 2:
        track = shapely.LineString(at((-far[0], -far[1]), far))
        near = [shapely.distance(shapely.linestrings(one.coordinates), track) for one in left]
        assert min(near) >= WIDTH_M / 2.0 + SETBACK_M + min(UPHILL_M, DOWNHILL_M) * np.cos(angle)
        return
    assert left[0].length_m == pytest.approx(200.0)


@pytest.mark.parametrize(("side", "reach_m"), [(1.0, UPHILL_M), (-1.0, DOWNHILL_M)])
def test_a_lip_beside_a_track_stays_where_its_works_keep_the_setback(
    siteable: Siteable, side: float, reach_m: float
) -> None:
    near_m = WIDTH_M / 2.0 + SETBACK_M + reach_m
    (whole,) = kept(siteable, (-150.0, side * (near_m + 0.2)), (150.0, side * (near_m + 0.2)))
    assert whole.length_m == pytest.approx(200.0)
    assert kept(siteable, (-150.0, side * (near_m - 0.2)), (150.0, side * (near_m - 0.2))) == []


def test_a_track_that_comes_near_and_turns_away_parts_the_lip(siteable: Siteable) -> None:
    """It comes down the slope to 4 m above the lip: closer than trench and setback allow."""
    track = ((10.0, 80.0), (10.0, 4.0), (30.0, 80.0))
    west, east = kept(siteable, *track)
    way = shapely.LineString(at(*track))
    for piece in (west, east):
        works = shapely.buffer(shapely.linestrings(piece.coordinates), UPHILL_M, cap_style="flat")
        assert shapely.distance(works, way) >= WIDTH_M / 2.0 + SETBACK_M
    assert west.coordinates[-1, 0] < CENTRE_EASTING_M + 10.0 < east.coordinates[0, 0]
    assert west.length_m + east.length_m > 150.0
