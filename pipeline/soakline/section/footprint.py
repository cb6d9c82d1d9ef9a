"""The ground that trench and mound take, as polygons that do not overlap."""

from dataclasses import dataclass

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from soakline.grid import FloatArray
from soakline.section.mound import MoundShape, toe_m
from soakline.section.trench import Trench, cuttable_slope, daylight_m

# The mound's end turns uphill beside the trench at most this far.
LONGEST_RETURN_M = 6.0
# No machine heaps less than this between two sills.
SHORTEST_MOUND_M = 3.0
# Ground below a sill that no mound reaches over.
_SILL_APRON_M = 3.0


@dataclass(frozen=True, eq=False, slots=True)
class LipStations:
    """Stations along a lip with the ground beside it.

    Parameters
    ----------
    easting_m, northing_m : (n,) m
    along_m : (n,) m
    left_east, left_north : (n,) unit vector uphill
    ground_above_m : (n,) ground less level at the lip, m
    rise : (n,) slope of the ground uphill of the lip, where the trench is cut, rise over run
    fall : (n,) that downhill of it, where the mound stands; neither is negative
    """

    easting_m: FloatArray
    northing_m: FloatArray
    along_m: FloatArray
    left_east: FloatArray
    left_north: FloatArray
    ground_above_m: FloatArray
    rise: FloatArray
    fall: FloatArray

    @property
    def slope(self) -> FloatArray:
        """Mean slope across the lip, rise over run; (n,)."""
        return (self.rise + self.fall) / 2.0

    def beside(self, uphill_m: FloatArray | float) -> FloatArray:
        """Points at a distance uphill of the lip (downhill negative); (n, 2)."""
        return np.column_stack(
            [
                self.easting_m + uphill_m * self.left_east,
                self.northing_m + uphill_m * self.left_north,
            ]
        )

    def between(self, start_m: float, end_m: float) -> "LipStations":
        """The stations of a part of the lip, with new ones at its ends."""
        inside = (self.along_m > start_m + 1e-6) & (self.along_m < end_m - 1e-6)
        at = np.concatenate([[start_m], self.along_m[inside], [end_m]])
        names = [n for n in LipStations.__slots__ if n != "along_m"]
        values = {n: np.interp(at, self.along_m, getattr(self, n)) for n in names}
        return LipStations(along_m=at, **values)


@dataclass(frozen=True, eq=False, slots=True)
class Footprint:
    """Ground works of one swale in plan; parts do not overlap and may be empty."""

    ponded: BaseGeometry
    cut_slope: BaseGeometry
    berm: BaseGeometry
    mound: BaseGeometry

    @property
    def area_m2(self) -> float:
        return float(self.ponded.area + self.cut_slope.area + self.berm.area + self.mound.area)


def strip(stations: LipStations, near_m: FloatArray, far_m: FloatArray) -> BaseGeometry:
    """Ground between two distances from the lip, uphill positive.

    Where a tight bend would fold the outline over, strips between stations are made one by one and
    joined.

    Parameters
    ----------
    stations : LipStations, n of them
    near_m, far_m : (n,) m

    Returns
    -------
    polygon or multipolygon
    """
    near, far = stations.beside(near_m), stations.beside(far_m)
    whole = shapely.Polygon(np.vstack([near, far[::-1]]))
    if whole.is_valid:
        return whole
    rings = np.stack([near[:-1], near[1:], far[1:], far[:-1]], axis=1)
    pieces = np.asarray(shapely.polygons(rings), dtype=np.object_)
    folded = ~shapely.is_valid(pieces)
    pieces[folded] = shapely.convex_hull(pieces[folded])
    return shapely.union_all(pieces)


def only_area(geometry: BaseGeometry) -> BaseGeometry:
    """The polygons of a geometry as one multipolygon; lines, points and slivers are left out."""
    parts = shapely.get_parts(shapely.get_parts(geometry))
    parts = parts[(shapely.get_type_id(parts) == 3) & (shapely.area(parts) > 1e-4)]
    return shapely.multipolygons(parts) if parts.size else shapely.Polygon()


def _end_return(
    stations: LipStations,
    at: int,
    outward: float,
    shape: MoundShape,
    crest_height_m: float,
    head_m: float,
    toe: float,
) -> BaseGeometry:
    """The mound turned uphill round one end of the trench, tapering to nothing.

    It runs until natural ground reaches the level plus the head of the check storm.
    """
    slope = max(float(stations.rise[at]), 1e-6)
    above = float(stations.ground_above_m[at])
    width = 2.0 * shape.batter * max(crest_height_m - above, 0.0) + shape.least_crest_m
    uphill = min(LONGEST_RETURN_M, max(0.0, (head_m - above) / slope))
    ahead = outward * np.array([stations.left_north[at], -stations.left_east[at]])
    left = np.array([stations.left_east[at], stations.left_north[at]])
    lip = np.array([stations.easting_m[at], stations.northing_m[at]])
    width = min(width, 1.5)
    ring = [
        lip - toe * left,
        lip + uphill * left,
        lip + width * ahead,
        lip + width * ahead - toe * left,
    ]
    return shapely.make_valid(shapely.Polygon(ring))


def ponded_ground(stations: LipStations, top_width_m: float) -> BaseGeometry:
    """Water surface of a full trench, from the lip uphill over its top width."""
    zero = np.zeros_like(stations.rise)
    return only_area(strip(stations, zero, zero + top_width_m))


def dug_ground(stations: LipStations, trench: Trench) -> BaseGeometry:
    """Ponded ground and cut slope together, from the lip to the daylight edge."""
    zero = np.zeros_like(stations.rise)
    rise = cuttable_slope(trench, stations.rise)
    edge = daylight_m(trench, stations.ground_above_m, rise)
    return only_area(strip(stations, zero, np.maximum(edge, trench.top_width_m)))


def mounded_reaches(
    length_m: float, gaps_m: list[tuple[float, float]]
) -> list[tuple[float, float]]:
    """Stretches of a lip that carry the mound.

    Parameters
    ----------
    length_m : of the lip, m
    gaps_m : sills, m along the lip

    Returns
    -------
    start and end of each stretch, m; natural ground shorter than 3 m between two sills carries none

    Examples
    --------
    >>> mounded_reaches(100.0, [(20.0, 30.0), (31.0, 41.0)])
    [(0.0, 20.0), (41.0, 100.0)]
    """
    edges = [0.0, *(edge for gap in sorted(gaps_m) for edge in gap), length_m]
    reaches = zip(edges[::2], edges[1::2], strict=True)
    return [(start, end) for start, end in reaches if end - start >= SHORTEST_MOUND_M]


def footprint(
    stations: LipStations,
    trench: Trench,
    shape: MoundShape,
    crest_height_m: float,
    crest_width_m: float,
    head_m: float,
    gaps_m: list[tuple[float, float]],
) -> Footprint:
    """Polygons of ponded ground, cut slope, berm and mound.

    Parameters
    ----------
    stations : LipStations
    trench : Trench
    shape : MoundShape
    crest_height_m, crest_width_m : of the settled mound; a height of 0 means that spoil is spread
        and no mound stands
    head_m : over the sill in the check storm, m
    gaps_m : stretches of the lip without mound (sills), m along the lip

    Returns
    -------
    Footprint
    """
    zero = np.zeros_like(stations.rise)
    full = zero + trench.top_width_m
    daylight = np.maximum(daylight_m(trench, stations.ground_above_m, stations.rise), full)
    ponded = ponded_ground(stations, trench.top_width_m)
    cut = only_area(shapely.difference(strip(stations, full, daylight), ponded))
    dug = shapely.union(ponded, cut)
    berm: BaseGeometry = shapely.Polygon()
    mound: BaseGeometry = shapely.Polygon()
    length = float(stations.along_m[-1])
    if shape.berm_m > 0:
        berm = only_area(shapely.difference(strip(stations, zero - shape.berm_m, zero), dug))
    if crest_height_m > 0:
        pieces = []
        for start, end in mounded_reaches(length, gaps_m):
            part = stations.between(start, end)
            height = np.full_like(part.fall, crest_height_m)
            toe = toe_m(
                shape, height, np.full_like(height, crest_width_m), part.ground_above_m, part.fall
            )
            pieces.append(strip(part, zero[:1] - toe, np.full_like(toe, -shape.berm_m)))
            for at, edge, outward in ((0, 0.0, -1.0), (-1, length, 1.0)):
                if abs((start if at == 0 else end) - edge) < 0.1:
                    pieces.append(
                        _end_return(
                            part, at, outward, shape, crest_height_m, head_m, float(toe[at])
                        )
                    )
        if pieces:
            # Where the lip bends tightly a neighbouring stretch's mound would reach before a sill.
            open_ground = [
                strip(part, np.full_like(part.fall, -_SILL_APRON_M), np.zeros_like(part.fall))
                for part in (stations.between(start, end) for start, end in gaps_m)
            ]
            kept_free = shapely.union_all([dug, berm, *open_ground])
            mound = only_area(shapely.difference(shapely.union_all(pieces), kept_free))
    return Footprint(ponded, cut, berm, mound)
