"""Which way of spilling is better: safe ends first, then the least erosive way."""

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np

from soakline.grid import BoolArray, FloatArray, Grid, GroundArray
from soakline.overflow.hydraulics import way_maxima
from soakline.section.stations import IntArray
from soakline.siting.ends import End, EndMap
from soakline.siting.exits import Exit, Exits, WayGround
from soakline.siting.lines import LipLine
from soakline.siting.stretches import Stretch
from soakline.terrain.flow import Uint8Array

LONGEST_SILL_M = 30.0
SHORTEST_SILL_M = 1.0
# Velocities closer than this are alike: the end of the swale, then the shorter way decides.
_VELOCITY_STEP_MS = 0.1


@dataclass(frozen=True, slots=True)
class SillRules:
    """Keys of the run file that shape sills and ways.

    Parameters
    ----------
    head_m : greatest head over a sill in the check storm
    coefficient : weir coefficient, m^0.5/s
    manning_n : s/m^(1/3)
    max_slope_pct : a way over steeper ground is ranked after others
    edge_allowed : water may leave over the property's edge, with the neighbour's consent
    """

    head_m: float
    coefficient: float
    manning_n: float
    max_slope_pct: float
    edge_allowed: bool

    @property
    def flow_m2s(self) -> float:
        """Flow over each metre of sill at the greatest head, m³/s; C h^1.5."""
        return float(self.coefficient * self.head_m**1.5)


@dataclass(frozen=True, eq=False, slots=True)
class Ways:
    """Lips, and the ground that their water runs over.

    Parameters
    ----------
    lines : lips, in the order of their numbers
    ground : WayGround
    ground_m : (rows, columns) float32, m
    followed : exits at the middle of sills, remembered: most stay the same from one round of
        choosing to the next
    """

    lines: list[LipLine]
    ground: WayGround
    ground_m: GroundArray
    followed: dict[tuple[int, float], Exit | None] = field(default_factory=dict)

    @property
    def end_map(self) -> EndMap:
        return self.ground.end_map

    @property
    def direction(self) -> Uint8Array:
        return self.ground.direction

    @property
    def grid(self) -> Grid:
        return self.ground.grid

    def off_edge(self, way: Exit) -> bool:
        """Whether a way leaves over the property's edge, or leads to no end."""
        return way.goal <= 0 or self.end_map.ends[way.goal - 1].kind == "property_edge"

    def exit_at(self, stretch: Stretch, swale: int, along_m: float, at_end: bool) -> Exit | None:
        """Exit at a place of a lip; None where it may not be taken."""
        key = (swale, along_m)
        if key not in self.followed:
            self.followed[key] = self.ground.exit_at(stretch, swale, along_m, at_end)
        return self.followed[key]


def wanted_sill_m(peak_m3s: FloatArray, rules: SillRules) -> FloatArray:
    """Length of sill for peaks at the greatest head, at least 1 m; L = Q / (C h^1.5)."""
    return np.asarray(np.maximum(SHORTEST_SILL_M, peak_m3s / rules.flow_m2s))


@dataclass(frozen=True, eq=False, slots=True)
class JudgedExits:
    """Exits, and how water would run down from them.

    Parameters
    ----------
    exits : Exits, n of them
    steepest, fastest : (n,) greatest slope, m/m, and velocity, m/s
    """

    exits: Exits
    steepest: FloatArray
    fastest: FloatArray


def judged_exits(
    exits: Exits, sill_m: FloatArray, ground_m: GroundArray, grid: Grid, rules: SillRules
) -> JudgedExits:
    """Exits judged with their sills running at the greatest head.

    Parameters
    ----------
    exits : places to try
    sill_m : (swales,) length of the sills, or what they would be for their peaks; at most
        `LONGEST_SILL_M` run to one exit
    ground_m : (rows, columns) float32, m
    grid : Grid
    rules : SillRules

    Returns
    -------
    JudgedExits
    """
    width = np.minimum(sill_m, LONGEST_SILL_M)[exits.swale]
    steepest, fastest = way_maxima(
        exits.first_station,
        exits.station_row,
        exits.station_column,
        ground_m,
        grid.cell_m,
        np.repeat(rules.flow_m2s * width, np.diff(exits.first_station) - 1),
        width,
        rules.manning_n,
    )
    return JudgedExits(exits, steepest, fastest)


def ranked_exits(
    judged: JudgedExits,
    ends: Sequence[End],
    rules: SillRules,
    safe_goal: BoolArray | None = None,
) -> list[IntArray]:
    """Places in `judged.exits` of every swale's exits, the best first.

    Parameters
    ----------
    judged : JudgedExits
    ends : of the end map
    rules : SillRules
    safe_goal : (ends + 1,) whether each value of the end map is a safe end; None where that is not
        known yet

    Returns
    -------
    by swale: safe ends before others, natural sills before those cut in; then ways that cross no
    track, no ground steeper than the limit and do not leave over the property's edge; then the
    slower, the end of the swale, the shorter
    """
    exits = judged.exits
    edge = np.array([True, *(end.kind == "property_edge" for end in ends)])
    kind = np.select(
        [edge[exits.goal], 100.0 * judged.steepest > rules.max_slope_pct, exits.crosses_track],
        [3, 2, 1],
        0,
    )
    unsafe = np.zeros(exits.goal.size, bool) if safe_goal is None else ~safe_goal[exits.goal]
    order = np.lexsort(
        (
            exits.way_m,
            ~exits.at_end,
            np.rint(judged.fastest / _VELOCITY_STEP_MS),
            kind,
            exits.cut_in,
            unsafe,
            exits.swale,
        )
    )
    return np.split(order, exits.first[1:-1])


def safe_goals(
    swale_safe: BoolArray, hollow_safe: BoolArray, ways: Ways, rules: SillRules
) -> BoolArray:
    """Whether each value of the end map is a safe end; 0, no end, is not."""
    by_kind = {
        "swale": swale_safe,
        "hollow": hollow_safe,
        "property_edge": np.array([rules.edge_allowed]),
    }
    safe = [
        bool(by_kind[end.kind][end.index]) if end.kind in by_kind else True
        for end in ways.end_map.ends
    ]
    return np.array([False, *safe])


def safe_swales(
    goals: Sequence[IntArray],
    ways: Ways,
    hollow_safe: BoolArray,
    overloaded: BoolArray,
    rules: SillRules,
    *,
    every: bool,
) -> BoolArray:
    """Swales with a safe goal (or all of whose goals are safe), from the lowest up.

    None of those that are overloaded, (swales,) bool, is safe.
    """
    safe = np.zeros(len(goals), dtype=bool)
    goal_safe = safe_goals(safe, hollow_safe, ways, rules)
    for i in np.argsort([line.level_m for line in ways.lines], kind="stable"):
        # Swales are the first ends, in their order: value i + 1 of the map is swale i.
        own = goal_safe[goals[i]]
        safe[i] = own.size > 0 and bool(own.all() if every else own.any()) and not overloaded[i]
        goal_safe[i + 1] = safe[i]
    return safe
