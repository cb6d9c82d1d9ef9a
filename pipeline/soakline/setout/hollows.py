"""Ponds, basins and pits of a finished plan, and the ground cut away by those that stay open."""

from collections.abc import Iterable
from dataclasses import dataclass

import numba
import numpy as np
from shapely.geometry.base import BaseGeometry

from soakline.grid import FloatArray
from soakline.runfile.swale_point_section import PointKind
from soakline.section.points import point_rules
from soakline.section.trench import Trench


@dataclass(frozen=True, eq=False, slots=True)
class Hollow:
    """A pond, a basin or an organic pit of one swale.

    Parameters
    ----------
    point_id, kind : as in the plan
    easting, northing : over the middle of the floor, m
    chainage_m, length_m : of its middle and of the whole along the lip
    width_m : of the base (pond), added to it (basin), of the pit
    depth_m : of the floor below the swale's base; 0 at a basin
    floor_level_m : elevation of the floor that is dug to
    face_height_m : highest cut face, from the floor up
    ground : ground that it takes
    """

    point_id: str
    kind: PointKind
    easting: float
    northing: float
    chainage_m: float
    length_m: float
    width_m: float
    depth_m: float
    floor_level_m: float
    face_height_m: float
    ground: BaseGeometry

    @property
    def start_m(self) -> float:
        """Chainage of its start, m."""
        return self.chainage_m - self.length_m / 2.0

    @property
    def end_m(self) -> float:
        """Chainage of its end, m."""
        return self.chainage_m + self.length_m / 2.0

    def end_run_m(self, trench: Trench) -> float:
        """Length of each end along the swale, between its outline and its floor, m."""
        if self.kind == "pond":
            return point_rules()["pond"].end_ramp * self.depth_m
        return trench.batter * trench.depth_m if self.kind == "basin" else 0.0


def hollow_rows(hollows: Iterable[Hollow], trench: Trench) -> FloatArray:
    """What `hollowed` takes: start, end, width added, depth below the base, run of an end; (k, 5).

    Organic pits are filled in again, and are not among them.
    """
    rows = [
        [
            own.start_m, own.end_m, own.width_m if own.kind == "basin" else 0.0, own.depth_m,
            own.end_run_m(trench),
        ]
        for own in hollows
        if own.kind != "organic_pit"
    ]  # fmt: skip
    return np.array(rows, dtype=np.float64).reshape(-1, 5)


@numba.njit(cache=True)
def hollowed(u: float, s: float, z: float, trench: FloatArray, hollows: FloatArray) -> float:
    """Height over the level where ponds and basins are dug into a trench.

    Parameters
    ----------
    u, s : offset uphill of the lip and chainage, m
    z : the lower of ground and trench, over the level, m
    trench : base, depth and batter
    hollows : (k, 5) of `hollow_rows`

    Notes
    -----
    A pond's sides go on at the batter, its ends rise on ramps (`section.points.pond_m3`). What a
    basin cuts beyond the trench runs out in proportion over each end, so that half of it stays
    there, as the plan's volumes have it.
    """
    base, depth, batter = trench
    for k in range(hollows.shape[0]):
        start, end, added, below, run = hollows[k]
        inside = min(s - start, end - s)
        if inside < 0.0:
            continue
        share = 1.0 if inside >= run else inside / run
        if added > 0.0:
            wide = max(-u / batter, -depth, -depth + (u - batter * depth - base - added) / batter)
            z -= share * max(0.0, z - wide)
        foot = u - batter * depth
        down = min(below * share, foot / batter, (base - foot) / batter)
        if down > 0.0:
            z = min(z, -depth - down)
    return z
