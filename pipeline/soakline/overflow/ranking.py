"""Which way of spilling is better: safe ends first, then the least erosive way."""

from dataclasses import dataclass, field

import numpy as np

from soakline.grid import BoolArray, FloatArray, Grid, GroundArray
from soakline.overflow.hydraulics import way_maxima
from soakline.section.stations import starts_of
from soakline.siting.ends import EndMap
from soakline.siting.exits import Exit, exits_at, lip_stations
from soakline.siting.lines import LipLine
from soakline.siting.stations import Stations
from soakline.siting.stretches import Stretch
from soakline.terrain.flow import Uint8Array
from soakline.terrain.paths import LabelArray

LONGEST_SILL_M = 30.0
SHORTEST_SILL_M = 1.0
# Velocities closer than this are alike: the end of the swale, then the shorter way decides.
_VELOCITY_STEP_MS = 0.1
# A swale takes water only from one that stands at least this much higher.
_LEAST_FALL_M = 0.02


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
    """The ground that ways run over, and the marks that tell where they may.

    Parameters
    ----------
    lines : lips, in the order of their numbers
    clear_m : (lines,) from each lip to its mound's toe, m
    burnt : (rows, columns) int32, cells of the lips
    end_map, direction, marks, ground_m, grid : as for `find_exits`
    followed : exits at the middle of sills, remembered: most stay the same from one round of
        choosing to the next
    stations : of lips that sills were laid on, remembered likewise
    """

    lines: list[LipLine]
    clear_m: FloatArray
    burnt: LabelArray
    end_map: EndMap
    direction: Uint8Array
    marks: Uint8Array
    ground_m: GroundArray
    grid: Grid
    followed: dict[tuple[int, float], Exit | None] = field(default_factory=dict)
    stations: dict[int, Stations] = field(default_factory=dict)

    def exit_at(self, stretch: Stretch, swale: int, along_m: float, at_end: bool) -> Exit | None:
        """Exit at a place of a lip; None where the way leads back into the own swale."""
        key = (swale, along_m)
        if key not in self.followed:
            if swale not in self.stations:
                self.stations[swale] = lip_stations(self.lines[swale])
            found = exits_at(
                self.stations[swale],
                swale,
                [(stretch, along_m, at_end)],
                float(self.clear_m[swale]),
                self.burnt,
                self.end_map,
                self.direction,
                self.marks,
                self.grid,
            )
            self.followed[key] = found[0] if found else None
        return self.followed[key]


def wanted_sill_m(peak_m3s: float, rules: SillRules) -> float:
    """Length of sill for a peak at the greatest head, at least 1 m; L = Q / (C h^1.5)."""
    return max(SHORTEST_SILL_M, peak_m3s / rules.flow_m2s)


def usable_exit(way: Exit, ways: Ways) -> bool:
    """Whether a way may be taken at all: not over forbidden ground, and never uphill."""
    if way.forbidden:
        return False
    if way.goal > 0 and ways.end_map.ends[way.goal - 1].kind == "swale":
        to = ways.lines[ways.end_map.ends[way.goal - 1].index]
        return to.level_m < ways.lines[way.swale].level_m - _LEAST_FALL_M
    return True


@dataclass(frozen=True, eq=False, slots=True)
class JudgedExits:
    """Exits that may be taken, and how water would run down from them.

    Parameters
    ----------
    exits : by swale
    steepest, fastest : (exits,) greatest slope, m/m, and velocity, m/s, swale after swale
    """

    exits: list[list[Exit]]
    steepest: FloatArray
    fastest: FloatArray


def judged_exits(
    exits: list[list[Exit]], peak_m3s: FloatArray, ways: Ways, rules: SillRules
) -> JudgedExits:
    """Those exits that may be taken, judged at the peaks of their swales.

    Parameters
    ----------
    exits : places to try, by swale
    peak_m3s : (swales,) m³/s
    ways : Ways
    rules : SillRules

    Returns
    -------
    JudgedExits
    """
    usable = [[way for way in own if usable_exit(way, ways)] for own in exits]
    flat = [way for own in usable for way in own]
    if not flat:
        return JudgedExits(usable, np.zeros(0), np.zeros(0))
    peak = peak_m3s[[way.swale for way in flat]]
    length = np.minimum(np.maximum(peak / rules.flow_m2s, SHORTEST_SILL_M), LONGEST_SILL_M)
    stations = np.array([way.station_row.size for way in flat])
    steepest, fastest = way_maxima(
        starts_of(stations),
        np.concatenate([way.station_row for way in flat]),
        np.concatenate([way.station_column for way in flat]),
        ways.ground_m,
        ways.grid.cell_m,
        np.repeat(np.minimum(peak, rules.flow_m2s * length), stations - 1),
        length,
        rules.manning_n,
    )
    return JudgedExits(usable, steepest, fastest)


def ranked_exits(
    judged: JudgedExits, ways: Ways, rules: SillRules, safe_goal: BoolArray | None = None
) -> list[list[Exit]]:
    """Exits of every swale, the best first.

    Parameters
    ----------
    judged : JudgedExits
    ways : Ways
    rules : SillRules
    safe_goal : (ends + 1,) whether each value of the end map is a safe end; None where that is not
        known yet

    Returns
    -------
    by swale: safe ends before others, natural sills before those cut in; then ways that cross no
    track, no ground steeper than the limit and do not leave over the property's edge; then the
    slower, the end of the swale, the shorter
    """
    ranked = []
    slope_and_speed = zip(judged.steepest.tolist(), judged.fastest.tolist(), strict=True)
    for own in judged.exits:
        keyed = []
        for j, way in enumerate(own):
            safe_end = safe_goal is None or bool(safe_goal[way.goal])
            keyed.append((_rank(way, *next(slope_and_speed), safe_end, ways, rules), j))
        ranked.append([own[j] for _, j in sorted(keyed)])
    return ranked


def _rank(
    way: Exit, steepest: float, fastest: float, safe_end: bool, ways: Ways, rules: SillRules
) -> tuple[bool, bool, int, int, bool, float]:
    """What is compared between exits, the best first."""
    edge = way.goal == 0 or ways.end_map.ends[way.goal - 1].kind == "property_edge"
    kind = 0
    if way.crosses_track:
        kind = 1
    if 100.0 * steepest > rules.max_slope_pct:
        kind = 2
    if edge:
        kind = 3
    return (
        not safe_end,
        way.stretch.cut_in,
        kind,
        round(fastest / _VELOCITY_STEP_MS),
        not way.at_end,
        way.way_m,
    )


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
    goals: list[list[int]], ways: Ways, hollow_safe: BoolArray, rules: SillRules, *, every: bool
) -> BoolArray:
    """Swales with a safe goal (or all of whose goals are safe), from the lowest up."""
    safe = np.zeros(len(goals), dtype=bool)
    goal_safe = safe_goals(safe, hollow_safe, ways, rules)
    for i in np.argsort([line.level_m for line in ways.lines], kind="stable"):
        # Swales are the first ends, in their order: value i + 1 of the map is swale i.
        own = [bool(goal_safe[goal]) for goal in goals[i]]
        safe[i] = bool(own) and (all(own) if every else any(own))
        goal_safe[i + 1] = safe[i]
    return safe
