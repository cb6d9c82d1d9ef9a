"""Lips kept off tracks that they run beside, or meet too nearly along to be crossed."""

import geopandas as gpd
import numpy as np
import shapely

from soakline.section.crossings import LEAST_SINE
from soakline.section.stretches import Span
from soakline.siting.crossings import crossed_at_m, track_lines, track_width_m
from soakline.siting.excluded import buffered
from soakline.siting.lines import END_ROOM_M, LipLine, cut_where
from soakline.siting.stations import Siteable, quads, stations_along
from soakline.terrain.cells import GeometryArray


def kept_off_tracks(
    lines: list[LipLine],
    tracks: gpd.GeoDataFrame,
    setback_m: float,
    siteable: Siteable,
    least_m: float,
) -> list[LipLine]:
    """Lips without the reaches whose ground works come to a track that is not crossed there.

    A track may be crossed, so it excludes no ground; but no trench is dug along it, nor a mound
    heaped on it. Under the sine `LEAST_SINE` a crossing would take the works along with it for many
    metres: the lip ends before the track instead.

    Parameters
    ----------
    lines : LipLine
    tracks : lines with `width_m`, in the working CRS
    setback_m : from the track's edge to the ground works, m
    siteable : tells how far these reach
    least_m : shorter pieces are left out

    Returns
    -------
    the pieces, in no order
    """
    if not lines or len(tracks) == 0:
        return lines
    ways = track_lines(tracks)
    near = shapely.STRtree(buffered(ways, track_width_m(tracks) / 2.0 + setback_m))
    return cut_where(lines, lambda line: _first_reach(line, ways, near, siteable), least_m)


def _first_reach(
    line: LipLine,
    ways: GeometryArray,
    near: shapely.STRtree,
    siteable: Siteable,
) -> Span | None:
    """From where to where a lip first runs beside a track, m along it."""
    stations = stations_along(line.coordinates)
    strips = quads(stations, *siteable.reach_at(stations.easting_m, stations.northing_m))
    strip, track = near.query(strips, predicate="intersects")
    lip = shapely.LineString(line.coordinates)
    for own in np.unique(track).tolist():
        crossed = crossed_at_m(lip, ways[own], LEAST_SINE)
        met = np.sort(strip[track == own])
        for run in np.split(met, np.flatnonzero(np.diff(met) > 1) + 1):
            start, end = float(stations.along_m[run[0]]), float(stations.along_m[run[-1] + 1])
            if not np.any((crossed >= start) & (crossed <= end)):
                return max(start - END_ROOM_M, 0.0), min(end + END_ROOM_M, line.length_m)
    return None
