"""Where tracks meet lips, and where they pass between the ends of two lips on one level."""

from collections.abc import Iterator
from dataclasses import dataclass

import geopandas as gpd
import numpy as np
import shapely

from soakline.grid import FloatArray
from soakline.section.stations import IntArray
from soakline.section.stretches import Span
from soakline.siting.lines import END_GAP_M, END_ROOM_M, LipLine, cut_where
from soakline.terrain.cells import GeometryArray

# A farm track whose width is not given; common practice, no source.
USUAL_TRACK_M = 3.0
# A track between two ends that lie further apart meets no swale.
_WIDEST_GAP_M = 25.0
# A track that keeps this near to a lip, beside its own width, for this long runs along it.
_BESIDE_M = 3.0
ALONG_M = 25.0
# Over which the directions of lip and track are taken, to both sides.
_DIRECTION_M = 1.0


@dataclass(frozen=True, eq=False, slots=True)
class TrackMeetings:
    """Places where tracks meet swales; all (n,), by lip and along it.

    Parameters
    ----------
    lip, track : index of the lip and of the track in the features file
    other_lip : beyond the gap, where the track passes between two ends; −1 where it crosses a lip
    at_m : of the track's middle along the lip; the lip's length at a gap
    start_m, end_m : of the track's width along the lip; the same at a gap
    easting_m, northing_m : where the track's middle is over the lip, or between its ends
    sine : of the angle between lip and track
    bearing_deg : in which the track leaves the lip uphill, clockwise from grid north
    width_m : of the track, square to it
    beside_lip, beside_track, beside_m : (k,) tracks that run along a lip, and how far
    """

    lip: IntArray
    track: IntArray
    other_lip: IntArray
    at_m: FloatArray
    start_m: FloatArray
    end_m: FloatArray
    easting_m: FloatArray
    northing_m: FloatArray
    sine: FloatArray
    bearing_deg: FloatArray
    width_m: FloatArray
    beside_lip: IntArray
    beside_track: IntArray
    beside_m: FloatArray

    def spans(self, lips: int) -> list[list[Span]]:
        """What tracks take of each lip."""
        own: list[list[Span]] = [[] for _ in range(lips)]
        over = self.other_lip < 0
        for lip, start, end in zip(
            self.lip[over].tolist(), self.start_m[over].tolist(), self.end_m[over].tolist(),
            strict=True,
        ):  # fmt: skip
            own[lip].append((start, end))
        return own


_Meeting = tuple[int, int, int, float, float, float, float, float, float, float, float]


def track_width_m(tracks: gpd.GeoDataFrame) -> FloatArray:
    """Width of each track, m; 3 m where none is given."""
    given = tracks["width_m"].astype(float).to_numpy()
    return np.asarray(np.where(given > 0.0, given, USUAL_TRACK_M), dtype=float)


def track_lines(tracks: gpd.GeoDataFrame) -> GeometryArray:
    """Middle of each track, in plan."""
    return np.asarray(shapely.force_2d(tracks.geometry.array), dtype=object)


def crossed_at_m(
    lip: shapely.LineString, track: shapely.Geometry, least_sine: float = 0.0
) -> FloatArray:
    """Where the middle of a track crosses a lip, m along it, at no less than an angle."""
    met = shapely.points(shapely.get_coordinates(shapely.intersection(lip, track)))
    places = np.asarray(met, dtype=np.object_)
    steep = np.array([_heading(lip, track, own)[0] >= least_sine for own in places], dtype=bool)
    return np.asarray(shapely.line_locate_point(lip, places[steep]), dtype=float)


def meet_tracks(lines: list[LipLine], tracks: gpd.GeoDataFrame) -> TrackMeetings:
    """Every place where a track crosses a lip or passes between two ends.

    Parameters
    ----------
    lines : lips
    tracks : lines with `width_m`, in the working CRS

    Returns
    -------
    TrackMeetings; places where a lip swings twice through one width of track are one
    """
    met: list[_Meeting] = []
    beside: list[tuple[int, int, float]] = []
    if lines and len(tracks):
        ways = track_lines(tracks)
        width = track_width_m(tracks)
        lips = np.array([shapely.linestrings(line.coordinates) for line in lines], dtype=object)
        tree = shapely.STRtree(ways)
        for lip, track in _pairs(tree, lips):
            met += _crossings(lip, track, lips[lip], ways[track], float(width[track]))
        for lip, track in _pairs(tree, lips, float(width.max()) / 2.0 + _BESIDE_M):
            near = shapely.buffer(ways[track], width[track] / 2.0 + _BESIDE_M)
            run_m = float(shapely.length(shapely.intersection(lips[lip], near)))
            if run_m > ALONG_M:
                beside.append((lip, track, run_m))
        met += _gaps(lines, ways, width, tree)
    met.sort(key=lambda one: (one[0], one[3], one[1]))
    place = np.array(met, dtype=float).reshape(-1, 11).T
    along = np.array(beside, dtype=float).reshape(-1, 3).T
    return TrackMeetings(
        lip=place[0].astype(np.int64),
        track=place[1].astype(np.int64),
        other_lip=place[2].astype(np.int64),
        at_m=place[3],
        start_m=place[4],
        end_m=place[5],
        easting_m=place[6],
        northing_m=place[7],
        sine=place[8],
        bearing_deg=place[9],
        width_m=place[10],
        beside_lip=along[0].astype(np.int64),
        beside_track=along[1].astype(np.int64),
        beside_m=along[2],
    )


def _pairs(
    tree: shapely.STRtree, lips: GeometryArray, within_m: float = 0.0
) -> list[tuple[int, int]]:
    """Lips and tracks that meet, or come as near as that; in order."""
    found = tree.query(lips, predicate="dwithin", distance=within_m)
    return sorted(zip(*found.tolist(), strict=True))


def _crossings(
    lip: int, track: int, line: shapely.LineString, way: shapely.Geometry, width_m: float
) -> Iterator[_Meeting]:
    """Stretches of a lip under the width of a track that its middle crosses."""
    at = np.sort(crossed_at_m(line, way))
    under = shapely.buffer(way, width_m / 2.0, cap_style="flat")
    last = -np.inf
    for piece in shapely.get_parts(shapely.intersection(line, under)):
        if shapely.length(piece) <= 0.0:
            continue
        ends = shapely.line_locate_point(line, shapely.points(shapely.get_coordinates(piece)))
        start, end = float(ends.min()), float(ends.max())
        inside = at[(at >= start - 1e-6) & (at <= end + 1e-6) & (at > last)]
        if inside.size == 0:
            continue
        last = end
        chainage = float(inside[inside.size // 2])
        point = shapely.line_interpolate_point(line, chainage)
        yield (
            lip, track, -1, chainage, start, end, point.x, point.y, *_heading(line, way, point),
            width_m,
        )  # fmt: skip


def _heading(
    line: shapely.Geometry, way: shapely.Geometry, point: shapely.Point
) -> tuple[float, float]:
    """Sine of the angle between a lip and a track, and the track's bearing to the lip's left."""
    one, other = (_direction(own, point) for own in (line, way))
    sine = float(one[0] * other[1] - one[1] * other[0])
    east, north = other if sine >= 0.0 else -other
    return abs(sine), float(np.degrees(np.arctan2(east, north)) % 360.0)


def _direction(line: shapely.Geometry, point: shapely.Point) -> FloatArray:
    parts = shapely.get_parts(line)
    own = parts[int(np.argmin(shapely.distance(parts, point)))]
    at = float(shapely.line_locate_point(own, point)) + _DIRECTION_M * np.array([-1.0, 1.0])
    places = shapely.line_interpolate_point(own, np.clip(at, 0.0, shapely.length(own)))
    run = np.diff(shapely.get_coordinates(places), axis=0)[0]
    return np.asarray(run / max(float(np.hypot(*run)), 1e-9), dtype=float)


def _gaps(
    lines: list[LipLine], ways: GeometryArray, width_m: FloatArray, tree: shapely.STRtree
) -> Iterator[_Meeting]:
    """Tracks that pass between the end of one lip and the start of the next on its level."""
    ends = np.array([line.coordinates[-1] for line in lines])
    starts = np.array([line.coordinates[0] for line in lines])
    level = np.array([line.level_m for line in lines])
    tree_of_starts = shapely.STRtree(np.asarray(shapely.points(starts), dtype=np.object_))
    one, other = tree_of_starts.query(
        shapely.points(ends), predicate="dwithin", distance=_WIDEST_GAP_M
    )
    same = np.abs(level[one] - level[other]) < 1e-6
    same &= np.array([not lines[i].closed for i in one], dtype=bool)
    one, other = one[same], other[same]
    pairs = np.stack([ends[one], starts[other]], axis=1)
    between = np.asarray(shapely.linestrings(pairs), dtype=np.object_)
    for k, track in _pairs(tree, between):
        lip = int(one[k])
        places = shapely.get_coordinates(shapely.intersection(between[k], ways[track]))
        point = shapely.points(places[0])
        length = lines[lip].length_m
        yield (
            lip, track, int(other[k]), length, length, length,
            point.x, point.y, *_heading(between[k], ways[track], point), float(width_m[track]),
        )  # fmt: skip


def parted_at_tracks(
    lines: list[LipLine], tracks: gpd.GeoDataFrame, least_m: float
) -> list[LipLine]:
    """Lips with a gap at every track that crosses them.

    Parameters
    ----------
    lines : LipLine
    tracks : as for `meet_tracks`
    least_m : shorter pieces are left out

    Returns
    -------
    the pieces, in no order; those of one lip end at least 5 m apart, and the mounds' ends keep off
    the track
    """

    def first_gap(line: LipLine) -> Span | None:
        met = meet_tracks([line], tracks)
        own = np.flatnonzero(met.other_lip < 0)
        if own.size == 0:
            return None
        at, start, end = (float(of[own[0]]) for of in (met.at_m, met.start_m, met.end_m))
        half = max(END_GAP_M / 2.0, at - start + END_ROOM_M, end - at + END_ROOM_M)
        return max(at - half, 0.0), min(at + half, line.length_m)

    return cut_where(lines, first_gap, least_m)
