"""Pegs of ponds, basins and pits: start, middle and end of each floor, along its centre."""

from dataclasses import dataclass

import numpy as np
import shapely

from soakline.setout.breaklines import on_lip
from soakline.setout.hollows import Hollow
from soakline.setout.plan import SetOutPlan
from soakline.setout.swale import Swale


@dataclass(frozen=True, slots=True)
class PointPeg:
    """One place on a floor.

    Parameters
    ----------
    name : the point's id and 1, 2 or 3, for start, middle and end
    kind : of the point
    easting, northing, level_m : of the floor that is dug to, m
    description : in words, without commas
    """

    name: str
    kind: str
    easting: float
    northing: float
    level_m: float
    description: str


def point_pegs(plan: SetOutPlan) -> list[PointPeg]:
    """Pegs of all points, by swale and along it; none where the plan has no points."""
    return [
        peg for swale in plan.swales for hollow in swale.hollows for peg in _pegs(swale, hollow)
    ]


def words_of(hollow: Hollow) -> str:
    """What a point is and its floor, short enough for a controller's screen."""
    if hollow.kind == "basin":
        shape = f"BASIN base {hollow.width_m:.2f} wider uphill"
    else:
        name = "POND" if hollow.kind == "pond" else "PIT"
        shape = f"{name} {hollow.depth_m:.2f} below base"
    again = " filled in again" if hollow.kind == "organic_pit" else ""
    return f"{shape} floor {hollow.floor_level_m:.3f}{again}"


def _pegs(swale: Swale, hollow: Hollow) -> list[PointPeg]:
    run = hollow.end_run_m(swale.trench)
    along = np.array([hollow.start_m + run, hollow.chainage_m, hollow.end_m - run])
    middle = np.array([hollow.easting, hollow.northing])
    uphill = float(shapely.LineString(swale.lip).distance(shapely.Point(middle)))
    place, left = on_lip(swale, along)
    place = place + uphill * left
    place[1] = middle  # the plan's own
    ends = f"of {hollow.start_m:.2f} to {hollow.end_m:.2f}"
    return [
        PointPeg(
            f"{hollow.point_id}-{k + 1}",
            hollow.kind,
            float(place[k, 0]),
            float(place[k, 1]),
            hollow.floor_level_m,
            f"{swale.swale_id} {words_of(hollow)} {name} ch {along[k]:.2f} {ends}",
        )
        for k, name in enumerate(("start", "middle", "end"))
    ]
