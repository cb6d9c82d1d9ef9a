"""Mounds and fill beside tracks that cross a lip at an angle."""

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from soakline.section.aslant import TrackSpans, lean_of, no_tracks
from soakline.section.footprint import filled_ground
from soakline.section.mound import MoundShape, over_ground_m
from soakline.section.stretches import Span
from soakline.section.strips import empty_areas
from soakline.section.trench import Trench, trenches_of
from soakline.section.works import FollowedLips, GroundWorks, works_of
from tests.section.lips import no_other, straight

TRENCH = Trench(1.5, 0.5, 1.5)
START_M, END_M, LENGTH_M = 45.0, 53.0, 100.0


def spans(lean: float) -> TrackSpans:
    return TrackSpans(np.array([0]), *(np.array([v]) for v in (START_M, END_M, lean)))


def works(tracks: TrackSpans, berm_m: float, open_m: list[Span]) -> GroundWorks:
    """A lip of 100 m with some of it free of mound."""
    lip = straight(LENGTH_M)
    return works_of(
        FollowedLips(lip, lip, lip),
        [TRENCH],
        np.zeros(1),
        MoundShape(berm_m, 2.0, 0.5).off_faces(np.zeros(1)),
        np.array([0.25]),
        np.array([0.1]),
        [open_m],
        tracks,
        empty_areas(1),
        1.125,
        no_other(1),
    )


def volume_on(mound: shapely.Geometry, shape: MoundShape, done: GroundWorks) -> float:
    """What stands on a mound's ground along a lip that runs east, by strips of 2 cm along it."""
    down = np.arange(0.0, -mound.bounds[1], 0.02) + 0.01
    west, _, east, _ = mound.bounds
    lines = shapely.linestrings([[(west - 1.0, -u), (east + 1.0, -u)] for u in down])
    crest = np.full_like(down, 0.25), np.full_like(down, done.volumes.crest_width_m[0])
    over = over_ground_m(shape, *crest, np.zeros_like(down), np.full_like(down, 0.08), down)
    return float(0.02 * np.sum(shapely.length(shapely.intersection(mound, lines)) * over))


@settings(max_examples=40, deadline=None)
@given(
    lean=st.floats(-2.8, 2.8),
    berm_m=st.sampled_from([0.0, 0.6]),
    at_m=st.one_of(st.floats(0.5, 20.0), st.floats(45.0, 91.0)),
)
def test_a_mound_beside_an_aslant_track_holds_what_stands_on_its_ground(
    lean: float, berm_m: float, at_m: float
) -> None:
    """However near to the track a sill lies, or the lip's end."""
    track = TrackSpans(np.array([0]), *(np.array([v]) for v in (at_m, at_m + 8.0, lean)))
    open_m = [(40.0, 44.0), (at_m, at_m + 8.0), (99.0, 100.0)]
    done = works(track, berm_m, open_m)
    (mound,) = done.footprint.mound
    along = shapely.intersection(mound, shapely.box(0.0, -30.0, LENGTH_M, 0.0))
    held = volume_on(along, MoundShape(berm_m, 2.0, 0.5), done)
    assert done.volumes.mound_m3[0] == pytest.approx(held, rel=0.003)
    (ground,) = track.ground(straight(LENGTH_M), np.array([-30.0]))
    within = shapely.buffer(ground, -1e-6, join_style="mitre")
    assert shapely.intersection(mound, within).area < 1e-6
    # Spilled water falls straight down the hill.
    assert shapely.intersection(mound, shapely.box(40.0, -30.0, 44.0, 0.0)).area < 1e-6


@settings(max_examples=25, deadline=None)
@given(lean=st.floats(-2.8, 2.8), berm_m=st.sampled_from([0.0, 0.6]))
def test_far_from_sills_an_aslant_track_takes_as_much_mound_as_a_square_one(
    lean: float, berm_m: float
) -> None:
    """Cavalieri: sections slid along the lip keep their area."""
    open_m = [(0.0, 4.0), (START_M, END_M)]
    square, aslant = (works(own, berm_m, open_m) for own in (no_tracks(), spans(lean)))
    (mound,), (before,) = aslant.footprint.mound, square.footprint.mound
    assert mound.area == pytest.approx(before.area, rel=1e-6)
    assert aslant.volumes.mound_m3 == pytest.approx(square.volumes.mound_m3)
    (track,) = spans(lean).ground(straight(LENGTH_M), np.array([-30.0]))
    assert shapely.intersection(mound, track).area < 1e-6
    # Nor is ground left bare beside it: the mound reaches both edges.
    beside = shapely.buffer(track, 0.1, join_style="mitre")
    wide = 0.2 * (-before.bounds[1] - berm_m) * 0.99
    assert shapely.intersection(mound, beside).area > wide


@settings(deadline=None)
@given(lean=st.floats(-2.8, 2.8))
def test_fill_of_a_causeway_lies_over_the_whole_cut_along_the_track(lean: float) -> None:
    lip = straight(LENGTH_M)
    square, aslant = (
        filled_ground(lip, trenches_of([TRENCH]), spans(own))[0] for own in (0.0, lean)
    )
    assert aslant.area == pytest.approx(square.area, rel=1e-9)
    # Uphill it goes on by so much along the lip as it leans.
    far = square.bounds[3] - square.bounds[1]
    slid = aslant.centroid.x - square.centroid.x
    assert slid == pytest.approx(lean * far / 2.0, abs=1e-6)


@given(angle_deg=st.floats(20.0, 160.0), lip_deg=st.floats(0.0, 360.0))
def test_the_lean_is_the_tracks_direction_by_the_lips(angle_deg: float, lip_deg: float) -> None:
    """A track that turns left out of the lip's direction by an angle leans by its cotangent."""
    lip, track = np.radians(lip_deg), np.radians(lip_deg + angle_deg)
    left_east, left_north = (np.array([v]) for v in (-np.sin(lip), np.cos(lip)))
    bearing = np.array([90.0 - np.degrees(track)])
    lean = lean_of(bearing, np.array([np.sin(np.radians(angle_deg))]), left_east, left_north)
    assert lean[0] == pytest.approx(1.0 / np.tan(np.radians(angle_deg)), abs=1e-6)
