"""Ponds, basins and organic pits at points along a swale: which soil, what fits, what they hold.

The swale's level, lip and sill stay as they are. A pond is dug into the base: its sides go on at
the batter, its ends rise on ramps. A basin is a length on which the base is wider on its uphill
side. A pit is dug below the base and filled up again.
"""

from dataclasses import dataclass
from functools import cache
from math import inf

import numpy as np
import numpy.typing as npt

from soakline import tables
from soakline.grid import FloatArray
from soakline.problems import InputProblem
from soakline.runfile.swale_point_section import PointKind, SwalePointKeys
from soakline.section.stations import IntArray
from soakline.section.trench import Trenches
from soakline.terrain.cells import GeometryArray

Measure = float | FloatArray

# Between one pond, basin or pit and the next, and beside sills and tracks; common practice, no
# source.
APART_M = 2.0


@dataclass(frozen=True, slots=True)
class PointRule:
    """What soil a kind of point is for, and its least shape.

    Parameters
    ----------
    groups : of soils
    least_soak_mm_h, most_soak_mm_h : soaking rate of the ground, clogging counted
    end_ramp : of the floor's ends, horizontal per 1 vertical
    least_floor_m : narrowest floor that is dug
    """

    groups: tuple[str, ...]
    least_soak_mm_h: float
    most_soak_mm_h: float
    end_ramp: float
    least_floor_m: float

    def suits(self, group: str, soak_mm_h: float) -> bool:
        """Whether a soil is of the kind that this is dug in."""
        return group in self.groups and self.least_soak_mm_h <= soak_mm_h <= self.most_soak_mm_h


@cache
def point_rules() -> dict[str, PointRule]:
    """Every row of `config/swale_points.csv` by its kind.

    Examples
    --------
    >>> point_rules()["pond"].suits("clayey", 0.3), point_rules()["pond"].suits("sandy", 105.0)
    (True, False)

    Volcanic soil is loam to the hand and soaks like sand:

    >>> point_rules()["basin"].suits("loamy", 60.0)
    True
    """
    return {
        row["kind"]: PointRule(
            tuple(row["groups"].split()),
            float(row["least_soak_mm_h"]),
            float(row["most_soak_mm_h"]) or inf,
            float(row["end_ramp"]),
            float(row["least_floor_m"]),
        )
        for row in tables.rows("swale_points.csv")
    }


def point_problems(keys: SwalePointKeys, file: str) -> list[InputProblem]:
    """Sizes of the run file that leave no floor, or no ground between two pits.

    Parameters
    ----------
    keys : the run file's `[swale_points]`
    file : the run file, as the user knows it
    """
    problems = []
    rule = point_rules()["pond"]
    least_m = 2.0 * rule.end_ramp * keys.pond_depth_m + rule.least_floor_m
    if keys.pond_length_m < least_m:
        problems.append(
            InputProblem(
                file,
                "swale_points.pond_length_m",
                f"{keys.pond_length_m:g} m with a pond_depth_m of {keys.pond_depth_m:g} m",
                f"at least {least_m:g} m, for ramps of 1 in {rule.end_ramp:g} and a floor of "
                f"{rule.least_floor_m:g} m between them",
                "make ponds longer or shallower",
            )
        )
    least_m = keys.organic_pit_length_m + APART_M
    if 0.0 < keys.organic_pit_every_m < least_m:
        problems.append(
            InputProblem(
                file,
                "swale_points.organic_pit_every_m",
                f"{keys.organic_pit_every_m:g} m with pits {keys.organic_pit_length_m:g} m long",
                f"at least {least_m:g} m, {APART_M:g} m of ground between two pits, or 0 (none)",
                "set pits farther apart, or make them shorter",
            )
        )
    return problems


def deepest_pond_m(trench: Trenches, length_m: FloatArray, rule: PointRule) -> FloatArray:
    """Greatest depth of a pond below the base of its swale, for sides and ramps to meet a floor.

    Parameters
    ----------
    trench : (n,) Trenches
    length_m : (n,) of the ponds along the swale, m
    rule : PointRule

    Returns
    -------
    (n,) m; 0 where the base leaves no floor at all
    """
    across = (trench.base_width_m - rule.least_floor_m) / (2.0 * trench.batter)
    along = (length_m - rule.least_floor_m) / (2.0 * rule.end_ramp)
    return np.asarray(np.maximum(np.minimum(across, along), 0.0), dtype=float)


def pond_m3(
    base_width_m: Measure, batter: Measure, length_m: Measure, depth_m: Measure, end_ramp: float
) -> FloatArray:
    """Volume of a pond below the base of its swale: dug, and held once it is full.

    Parameters
    ----------
    base_width_m, batter : of the swale
    length_m : along the swale, at its base
    depth_m : below its base
    end_ramp : horizontal per 1 vertical

    Returns
    -------
    m³

    Notes
    -----
    At u below the base it is b − 2 m u wide and L − 2 r u long; their product from 0 to p is
    b L p − (b r + L m) p² + 4 m r p³ / 3.

    Examples
    --------
    With upright sides and ends a box, with both it is a wedge shorter:

    >>> float(pond_m3(2.0, 0.0, 5.0, 0.5, 0.0)), float(pond_m3(2.0, 0.0, 5.0, 0.5, 2.0))
    (5.0, 4.0)
    """
    b, m, length, p, r = base_width_m, batter, length_m, depth_m, end_ramp
    return np.asarray(b * length * p - (b * r + length * m) * p**2 + 4.0 * m * r * p**3 / 3.0)


def basin_m3(
    width_m: Measure, batter: Measure, length_m: Measure, depth_m: Measure, water_m: Measure
) -> FloatArray:
    """Water that the wider base of a basin holds beside what the swale holds.

    Parameters
    ----------
    width_m : added to the base
    batter : of the swale; the ends slope in at it
    length_m : along the swale, at the level
    depth_m : from the level to the base
    water_m : depth of the full water, less than that where the sill is cut lower

    Returns
    -------
    m³; w (L h − 2 m d h + m h²), which for h = d is w (L d − m d²)
    """
    h = water_m
    return np.asarray(width_m * (length_m * h - 2.0 * batter * depth_m * h + batter * h**2))


@dataclass(frozen=True, slots=True)
class LeftOut:
    """A point of the features file that nothing is built at.

    Parameters
    ----------
    row : in the file's order, from 0
    kind : of the point
    why : in words
    """

    row: int
    kind: str
    why: str


@dataclass(frozen=True, slots=True)
class Search:
    """How the search for places of one kind went, in swales.

    Parameters
    ----------
    kind : of the points
    placed : with a point now
    chosen : with a point of that kind already chosen
    short : shorter than the least length
    other_soil : where the soil at the places tried asks for none
    narrow : whose base, or reach, leaves no floor at the depth asked for
    no_room : without a clear reach of the size, ground clear of works beside it, or depth of soil
    """

    kind: PointKind
    placed: int
    chosen: int
    short: int
    other_soil: int
    narrow: int
    no_room: int


@dataclass(frozen=True, eq=False, slots=True)
class SwalePoints:
    """Ponds, basins and pits with their figures; all (n,), by swale and along it.

    Parameters
    ----------
    lip : of the swale
    kind : PointKind
    row : of the point in the features file; −1 where none was chosen
    texture : of the soil there
    easting_m, northing_m : middle of the floor
    at_m : of the middle, along the lip
    length_m : along the swale
    width_m : of the base (pond), added to it (basin), of the pit
    depth_m : of the floor below the swale's base; 0 at a basin
    asked_m : depth that was asked for
    area_m2 : at the swale's base: of the pond, of the floor that is added, of the pit
    storage_m3 : held beyond the swale's capacity
    cut_m3 : dug beyond the swale's cut, bank volume
    organic_m3 : filled in
    soak_m_h : of the ground there, clogging counted, amendment not
    face_m : highest cut face, from the floor up
    daylight_m : farthest from the lip that is dug
    rock_m, water_m : depths to rock and water table of the soils there; NaN where not known
    outline : ground that it takes
    left_out : points of the features file that nothing is built at
    searched : Search of each kind that points were looked for
    """

    lip: IntArray
    kind: npt.NDArray[np.str_]
    row: IntArray
    texture: tuple[str, ...]
    easting_m: FloatArray
    northing_m: FloatArray
    at_m: FloatArray
    length_m: FloatArray
    width_m: FloatArray
    depth_m: FloatArray
    asked_m: FloatArray
    area_m2: FloatArray
    storage_m3: FloatArray
    cut_m3: FloatArray
    organic_m3: FloatArray
    soak_m_h: FloatArray
    face_m: FloatArray
    daylight_m: FloatArray
    rock_m: FloatArray
    water_m: FloatArray
    outline: GeometryArray
    left_out: tuple[LeftOut, ...]
    searched: tuple[Search, ...]
