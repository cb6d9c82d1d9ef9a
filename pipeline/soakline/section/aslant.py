"""Tracks that meet lips at an angle: their edges go on straight, aslant over trench and mound."""

from dataclasses import dataclass, fields, replace

import numpy as np
import shapely

from soakline.grid import BoolArray, FloatArray
from soakline.section.stations import IntArray, LipStations, interpolated
from soakline.section.stretches import AT_END_M, Stretches
from soakline.terrain.cells import GeometryArray

# A stretch that ends this near to a track's edge ends there.
AT_EDGE_M = 1e-6
# Beyond what it must cover, ground on the wrong side of an edge is drawn so much larger.
_SLACK_M = 1.0
# No mound reaches further from its lip.
_WIDEST_M = 30.0


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

    def leaning(self) -> "TrackSpans":
        """Those that are not square to their lips."""
        return self.where(self.lean != 0.0)

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
    edge_m : along the lip, where the edge meets it
    limit_m : along the lip, as far as the stretch may follow the edge outward: to the next sill or
        track, else to the lip's end
    """

    stretch: IntArray
    track: IntArray
    outward: FloatArray
    edge_m: FloatArray
    limit_m: FloatArray

    def where(self, wanted: BoolArray) -> "AslantEnds":
        """Some of them; (n,) bool."""
        along = (of[wanted] for of in (self.outward, self.edge_m, self.limit_m))
        return AslantEnds(self.stretch[wanted], self.track[wanted], *along)

    def open_stretches(self, along: Stretches) -> BoolArray:
        """Which stretches are those of the tracks themselves; (stretches,) bool."""
        own = np.zeros(along.lip.size, dtype=bool)
        own[self.stretch] = True
        return own & along.sill


def aslant_ends(along: Stretches, tracks: TrackSpans) -> AslantEnds:
    """Ends of stretches at the edges of tracks; a track's own stretch has both."""
    found = []
    for track in range(tracks.lip.size):
        own = slice(*np.searchsorted(along.lip, tracks.lip[track] + np.arange(2)))
        start, end = along.start_m[own], along.end_m[own]
        edges = tracks.start_m[track], tracks.end_m[track]
        open_before = end[along.sill[own] & (end < edges[0] + AT_EDGE_M)]
        open_after = start[along.sill[own] & (start > edges[1] - AT_EDGE_M)]
        # Never so far that the mound would turn round the lip's end.
        for outward, ends, limit in (
            (-1.0, start, open_before.max(initial=2.0 * AT_END_M)),
            (1.0, end, open_after.min(initial=float(end[-1]) - 2.0 * AT_END_M)),
        ):
            for edge in edges:
                at = np.flatnonzero(np.abs(ends - edge) < AT_EDGE_M) + own.start
                found += [(k, track, outward, edge, limit) for k in at.tolist()]
    return _ends_of(found)


def _passed_below(along: Stretches, tracks: TrackSpans) -> AslantEnds:
    """Ends of mounds that do not reach a track, though it may pass below them."""
    found = []
    for track in range(tracks.lip.size):
        here = along.mounded & (along.lip == tracks.lip[track])
        for outward, ends, edge in (
            (-1.0, along.start_m, tracks.end_m[track]),
            (1.0, along.end_m, tracks.start_m[track]),
        ):
            aside, reach = outward * (edge - ends), outward * tracks.lean[track] * _WIDEST_M
            at = np.flatnonzero(here & (aside > AT_EDGE_M) & (aside < reach))
            found += [(k, track, outward, edge, ends[k]) for k in at.tolist()]
    return _ends_of(found)


def _ends_of(found: list[tuple[int, int, float, float, float]]) -> AslantEnds:
    stretch, track, *along = np.array(found, dtype=float).reshape(-1, 5).T
    return AslantEnds(stretch.astype(np.int64), track.astype(np.int64), *along)


def mounded_ends(along: Stretches, tracks: TrackSpans) -> AslantEnds:
    """Ends of mounds that edges of tracks bound, their stretches numbered among the mounds.

    Beside the track they follow it; one further off it only cuts, if it passes below that.
    """
    near, far = aslant_ends(along, tracks), _passed_below(along, tracks)
    near = near.where(along.mounded[near.stretch])
    both = (np.concatenate([getattr(own, f.name) for own in (near, far)]) for f in fields(near))
    ends = AslantEnds(*both)
    return replace(ends, stretch=(np.cumsum(along.mounded) - 1)[ends.stretch])


def followed_m(ends: AslantEnds, tracks: TrackSpans, down_m: FloatArray) -> FloatArray:
    """Where along the lip the edges that bound ends of mounds lie downhill of it.

    Parameters
    ----------
    ends : AslantEnds, n of them
    tracks : TrackSpans
    down_m : (n,) or (n, k) distance from the lip, m

    Returns
    -------
    as `down_m`, m; outward no further than each end's limit
    """
    wide = (slice(None), *(None,) * (down_m.ndim - 1))
    outward = ends.outward[wide]
    edge = ends.edge_m[wide] - tracks.lean[ends.track][wide] * down_m
    return np.asarray(outward * np.minimum(outward * edge, outward * ends.limit_m[wide]))


def beyond_edges(
    ends: AslantEnds,
    tracks: TrackSpans,
    stations: LipStations,
    lip: IntArray,
    toe_m: FloatArray,
) -> GeometryArray:
    """Ground downhill of lips on the far side of the edge that an end follows.

    Parameters
    ----------
    ends : AslantEnds, n of them
    tracks : TrackSpans
    stations : LipStations
    lip : (n,) of each end
    toe_m : (n,) distance from the lip to the mound's toe there, m

    Returns
    -------
    (n,) parallelograms
    """
    weights = stations.at.weights(lip, ends.edge_m)
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
