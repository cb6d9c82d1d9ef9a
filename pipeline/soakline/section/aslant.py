"""Tracks that meet lips at an angle: their edges go on straight, aslant over trench and mound."""

from dataclasses import dataclass

import numpy as np
import shapely

from soakline.grid import BoolArray, FloatArray
from soakline.section.stations import IntArray, LipStations, interpolated
from soakline.section.stretches import Stretches
from soakline.terrain.cells import GeometryArray

# A stretch that ends this near to a track's edge ends there.
AT_EDGE_M = 1e-6
# Beyond what it must cover, ground on the wrong side of an edge is drawn so much larger.
_SLACK_M = 1.0


def lean_of(
    bearing_deg: FloatArray, sine: FloatArray, left_east: FloatArray, left_north: FloatArray
) -> FloatArray:
    """How far tracks go along their lips for each metre uphill of them.

    Parameters
    ----------
    bearing_deg : (n,) in which each leaves the lip uphill, clockwise from grid north
    sine : (n,) of the angle between lip and track
    left_east, left_north : (n,) unit vector uphill at the lip

    Returns
    -------
    (n,) m per m, positive in the lip's own direction; 0 where the track is square to the lip

    Examples
    --------
    A lip that runs east is met by a track to the north-east:

    >>> one, none = np.ones(1), np.zeros(1)
    >>> lean_of(np.array([45.0]), np.sqrt(0.5) * one, none, one).round(6)
    array([1.])
    """
    bearing = np.radians(bearing_deg)
    ahead = np.sin(bearing) * left_north - np.cos(bearing) * left_east
    return np.asarray(np.sign(ahead) * np.sqrt(1.0 / sine**2 - 1.0), dtype=float)


@dataclass(frozen=True, eq=False, slots=True)
class TrackSpans:
    """What tracks take of lips; all (n,).

    Parameters
    ----------
    lip : of each
    start_m, end_m : along the lip, m
    lean : as of `lean_of`
    """

    lip: IntArray
    start_m: FloatArray
    end_m: FloatArray
    lean: FloatArray

    def where(self, wanted: BoolArray) -> "TrackSpans":
        """Some of them; (n,) bool."""
        along = (of[wanted] for of in (self.start_m, self.end_m, self.lean))
        return TrackSpans(self.lip[wanted], *along)

    def ways(self, stations: LipStations) -> tuple[FloatArray, FloatArray]:
        """Vectors along each track for a metre uphill, and unit vectors along its lip; (n, 2)."""
        weights = stations.at.weights(self.lip, (self.start_m + self.end_m) / 2.0)
        left = np.column_stack(
            [interpolated(of, *weights) for of in (stations.left_east, stations.left_north)]
        )
        left /= np.maximum(np.hypot(*left.T), 1e-9)[:, None]
        ahead = np.column_stack([left[:, 1], -left[:, 0]])
        return left + self.lean[:, None] * ahead, ahead

    def ground(self, stations: LipStations, uphill_m: FloatArray) -> GeometryArray:
        """Ground of tracks from their lips, straight on.

        Parameters
        ----------
        stations : LipStations
        uphill_m : (n,) how far from the lip, square to it; downhill negative

        Returns
        -------
        (n,) areas
        """
        length = stations.at.length_m[self.lip]
        start, end = (np.clip(of, 0.0, length) for of in (self.start_m, self.end_m))
        part = stations.between(self.lip, start, end)
        near, span = part.beside(0.0), part.at.lip
        far = near + (uphill_m[:, None] * self.ways(stations)[0])[span]
        rings = [np.vstack([near[span == k], far[span == k][::-1]]) for k in range(self.lip.size)]
        grounds: GeometryArray = np.empty(self.lip.size, dtype=object)
        grounds[:] = [shapely.make_valid(shapely.Polygon(ring)) for ring in rings]
        return grounds


def no_tracks() -> TrackSpans:
    """Of lips that no track meets."""
    none = np.empty(0)
    return TrackSpans(np.empty(0, dtype=np.int64), none, none, none)


@dataclass(frozen=True, eq=False, slots=True)
class AslantEnds:
    """Ends of stretches that follow the edge of a track; all (n,).

    Parameters
    ----------
    stretch : of each
    track : whose edge it follows
    outward : −1 where the stretch begins, 1 where it ends
    """

    stretch: IntArray
    track: IntArray
    outward: FloatArray

    def where(self, wanted: BoolArray) -> "AslantEnds":
        """Some of them; (n,) bool."""
        return AslantEnds(self.stretch[wanted], self.track[wanted], self.outward[wanted])

    def open_stretches(self, along: Stretches) -> BoolArray:
        """Which stretches are those of the tracks themselves; (stretches,) bool."""
        own = np.zeros(along.lip.size, dtype=bool)
        own[self.stretch] = True
        return own & along.sill


def aslant_ends(along: Stretches, tracks: TrackSpans) -> AslantEnds:
    """Ends of stretches at the edges of tracks; a track's own stretch has both."""
    found = []
    for track in range(tracks.lip.size):
        first, last = np.searchsorted(along.lip, tracks.lip[track] + np.arange(2))
        for edge in (tracks.start_m[track], tracks.end_m[track]):
            for outward, ends in ((-1, along.start_m), (1, along.end_m)):
                at = np.flatnonzero(np.abs(ends[first:last] - edge) < AT_EDGE_M) + first
                found += [(int(k), track, outward) for k in at]
    stretch, track_of, side = np.array(found, dtype=np.int64).reshape(-1, 3).T
    return AslantEnds(stretch, track_of, side.astype(float))


def reached_m(ends: AslantEnds, tracks: TrackSpans, toe_m: FloatArray) -> FloatArray:
    """How far along the lip the toe of a mound reaches beyond the end of its stretch.

    Parameters
    ----------
    ends : AslantEnds, n of them
    tracks : TrackSpans
    toe_m : (n,) distance from the lip to the toe there, m

    Returns
    -------
    (n,) m; 0 where the toe stays behind instead
    """
    return np.maximum(-ends.outward * tracks.lean[ends.track], 0.0) * toe_m


def beyond_edges(
    ends: AslantEnds,
    tracks: TrackSpans,
    stations: LipStations,
    lip: IntArray,
    at_m: FloatArray,
    toe_m: FloatArray,
) -> GeometryArray:
    """Ground downhill of lips on the far side of the edge that an end follows.

    Parameters
    ----------
    ends : AslantEnds, n of them
    tracks : TrackSpans
    stations : LipStations
    lip, at_m : (n,) of each end, and where along it; m
    toe_m : (n,) distance from the lip to the mound's toe there, m

    Returns
    -------
    (n,) parallelograms
    """
    weights = stations.at.weights(lip, at_m)
    foot = np.column_stack(
        [interpolated(of, *weights) for of in (stations.easting_m, stations.northing_m)]
    )
    way, ahead = (of[ends.track] for of in tracks.ways(stations))
    deep = toe_m + _SLACK_M
    # From as far uphill: on a bend the mound's first edge does not lie on the lip's own line.
    top, bottom = foot + _SLACK_M * way, foot - deep[:, None] * way
    wide = (np.abs(tracks.lean[ends.track]) * deep + 2.0 * _SLACK_M) * ends.outward
    aside = wide[:, None] * ahead
    corners = np.stack([top, bottom, bottom + aside, top + aside], axis=1)
    return np.asarray(shapely.polygons(corners), dtype=np.object_)
