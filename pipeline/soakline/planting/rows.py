"""Rows of trees beside lips: where they run, what of them is free, and the places along them."""

from dataclasses import dataclass

import numpy as np
import shapely

from soakline.grid import FloatArray
from soakline.section.stations import Chainages, IntArray, LipStations, interpolated, starts_of
from soakline.terrain.cells import GeometryArray

# Places are tried this far apart along a row.
_STEP_M = 0.5
# What is left of a row begins this far from what cuts it.
_OFF_M = 0.02


@dataclass(frozen=True, eq=False, slots=True)
class Places:
    """Places along rows, in their order; all (n,).

    Parameters
    ----------
    lip : that the row runs beside
    chainage_m : of the lip there
    easting_m, northing_m : m
    """

    lip: IntArray
    chainage_m: FloatArray
    easting_m: FloatArray
    northing_m: FloatArray


@dataclass(frozen=True, eq=False, slots=True)
class Row:
    """One row beside every lip.

    Parameters
    ----------
    stations : LipStations
    uphill_m : (n,) distance of the row from the lip at each station, m
    """

    stations: LipStations
    uphill_m: FloatArray

    def places(self, within: GeometryArray, blocked: GeometryArray) -> Places:
        """Places on what of the rows lies within some ground and off other.

        Parameters
        ----------
        within : (1,) or (lips,) areas; the ground that each row stays on
        blocked : (k,) areas that no row enters

        Returns
        -------
        Places
        """
        at, points = self._line()
        rows = np.asarray(
            shapely.linestrings(points, indices=np.repeat(np.arange(at.lips), np.diff(at.start))),
            dtype=np.object_,
        )
        left = rows.copy()
        ground = np.broadcast_to(within, left.shape)
        shapely.prepare(within)
        leaves = ~shapely.covers(ground, left)
        left[leaves] = shapely.intersection(left[leaves], ground[leaves])
        # A tree prepares what it is asked with; here the areas are large and the rows are short.
        shapely.prepare(blocked)
        own, other = shapely.STRtree(blocked).query(left)
        meets = shapely.intersects(blocked[other], left[own])
        own, other = own[meets], other[meets]
        rank = np.arange(own.size) - starts_of(np.bincount(own, minlength=left.size))[own]
        for turn in range(int(rank.max(initial=-1)) + 1):
            now = rank == turn
            left[own[now]] = shapely.difference(left[own[now]], blocked[other[now]])
        parts, of = shapely.get_parts(left, return_index=True)
        line = shapely.get_type_id(parts) == 1
        parts, of = parts[line], of[line]
        ends = [
            shapely.line_locate_point(rows[of], shapely.get_point(parts, end)) for end in (0, -1)
        ]
        first, last = np.minimum(*ends) + _OFF_M, np.maximum(*ends) - _OFF_M
        long = last > first
        of, first, last = of[long], first[long], last[long]
        count = ((last - first) / _STEP_M).astype(np.int64) + 1
        part = np.repeat(np.arange(of.size), count)
        along = first[part] + (np.arange(part.size) - starts_of(count)[part]) * _STEP_M
        lip = of[part]
        before, share = at.weights(lip, along)
        place = interpolated(points, before, share)
        chainage = interpolated(self.stations.at.along_m, before, share)
        return Places(lip, chainage, place[:, 0], place[:, 1])

    def _line(self) -> tuple[Chainages, FloatArray]:
        """Vertices of each row, (n, 2), and how far along it they lie."""
        points = self.stations.beside(self.uphill_m)
        start = self.stations.at.start
        step = np.hypot(*np.diff(points, axis=0, prepend=points[:1]).T)
        step[start[:-1]] = 0.0
        total = np.cumsum(step)
        return Chainages(start, total - np.repeat(total[start[:-1]], np.diff(start))), points
