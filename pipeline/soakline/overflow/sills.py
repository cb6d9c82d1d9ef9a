"""Which exits each swale spills over, how long the sills are, and whether the water ends safely."""

from dataclasses import dataclass

import numpy as np

from soakline.grid import BoolArray, FloatArray, Grid, GroundArray
from soakline.overflow.hydraulics import reach_velocities
from soakline.siting.ends import EndMap
from soakline.siting.exits import Exit, exits_at
from soakline.siting.place import LipLine
from soakline.terrain.flow import Uint8Array
from soakline.terrain.paths import LabelArray
from soakline.water.network import Spill

LONGEST_SILL_M = 30.0
SHORTEST_SILL_M = 1.0
_APART_M = 1.0  # ground left between two sills of one lip
_ROUNDS = 4
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


@dataclass(frozen=True, eq=False, slots=True)
class Sill:
    """A level stretch of lip over which a swale spills.

    Parameters
    ----------
    way : Exit at the middle of the sill
    start_m, end_m : along the lip, m
    share : of the swale's overflow that leaves here
    peak_m3s : bound for the check storms
    """

    way: Exit
    start_m: float
    end_m: float
    share: float
    peak_m3s: float

    @property
    def length_m(self) -> float:
        return self.end_m - self.start_m


@dataclass(frozen=True, eq=False, slots=True)
class Outlets:
    """How the whole chain spills.

    Parameters
    ----------
    sills : for each swale, none where no way may be taken
    safe : (swales,) bool; whether all its water reaches a safe end
    wanted_m : (swales,) length of sill that the peak asks for
    peak_m3s : (swales,) bound for the check storms
    """

    sills: tuple[tuple[Sill, ...], ...]
    safe: BoolArray
    wanted_m: FloatArray
    peak_m3s: FloatArray


@dataclass(frozen=True, eq=False, slots=True)
class Ways:
    """The ground that ways run over, and the marks that tell where they may."""

    lines: list[LipLine]
    burnt: LabelArray
    end_map: EndMap
    direction: Uint8Array
    marks: Uint8Array
    ground_m: GroundArray
    grid: Grid


def wanted_sill_m(peak_m3s: float, rules: SillRules) -> float:
    """Length of sill for a peak at the greatest head, at least 1 m; L = Q / (C h^1.5)."""
    per_metre: float = rules.coefficient * rules.head_m**1.5
    return max(SHORTEST_SILL_M, peak_m3s / per_metre)


def ranked_exits(
    exits: list[Exit],
    peak_m3s: float,
    ways: Ways,
    rules: SillRules,
    safe_goal: BoolArray | None = None,
) -> list[Exit]:
    """Exits of one swale, the best first.

    Parameters
    ----------
    exits : places to try
    peak_m3s : that they are judged at, m³/s
    ways : Ways
    rules : SillRules
    safe_goal : (ends + 1,) whether each value of the end map is a safe end; None where that is not
        known yet

    Returns
    -------
    those that may be taken: safe ends before others; then ways that cross no track, no ground
    steeper than the limit and do not leave over the property's edge; then the slower, the end of
    the swale, the shorter
    """
    usable = [way for way in exits if _usable(way, ways)]
    keys = [
        _rank(way, peak_m3s, safe_goal is None or bool(safe_goal[way.goal]), ways, rules)
        for way in usable
    ]
    return [usable[j] for j in sorted(range(len(usable)), key=keys.__getitem__)]


def _rank(
    way: Exit, peak_m3s: float, safe_end: bool, ways: Ways, rules: SillRules
) -> tuple[bool, int, int, bool, float]:
    """What is compared between exits, the best first."""
    length = min(wanted_sill_m(peak_m3s, rules), LONGEST_SILL_M)
    flow = np.full(
        way.station_row.size - 1, min(peak_m3s, rules.coefficient * length * rules.head_m**1.5)
    )
    slope, velocity = reach_velocities(
        way.station_row,
        way.station_column,
        ways.ground_m,
        ways.grid.cell_m,
        flow,
        length,
        rules.manning_n,
    )
    edge = way.goal == 0 or ways.end_map.ends[way.goal - 1].kind == "property_edge"
    kind = 0
    if way.crosses_track:
        kind = 1
    if 100.0 * slope.max() > rules.max_slope_pct:
        kind = 2
    if edge:
        kind = 3
    return (
        not safe_end,
        kind,
        round(float(velocity.max()) / _VELOCITY_STEP_MS),
        not way.at_end,
        way.way_m,
    )


def _safe_goals(
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


def _safe_swales(
    goals: list[list[int]], ways: Ways, hollow_safe: BoolArray, rules: SillRules, *, every: bool
) -> BoolArray:
    """Swales with a safe goal (or all of whose goals are safe), from the lowest up."""
    safe = np.zeros(len(goals), dtype=bool)
    goal_safe = _safe_goals(safe, hollow_safe, ways, rules)
    for i in np.argsort([line.level_m for line in ways.lines], kind="stable"):
        # Swales are the first ends, in their order: value i + 1 of the map is swale i.
        own = [bool(goal_safe[goal]) for goal in goals[i]]
        safe[i] = bool(own) and (all(own) if every else any(own))
        goal_safe[i + 1] = safe[i]
    return safe


def _usable(way: Exit, ways: Ways) -> bool:
    """Whether a way may be taken at all: not over forbidden ground, and never uphill."""
    if way.forbidden:
        return False
    if way.goal > 0 and ways.end_map.ends[way.goal - 1].kind == "swale":
        to = ways.lines[ways.end_map.ends[way.goal - 1].index]
        return to.level_m < ways.lines[way.swale].level_m - _LEAST_FALL_M
    return True


def _free_span(way: Exit, used: list[tuple[float, float]]) -> tuple[float, float] | None:
    """The part of an exit's stretch around it that no sill takes yet."""
    low, high = way.stretch.start_m, way.stretch.end_m
    for start, end in used:
        if start - _APART_M < way.along_m < end + _APART_M:
            return None
        if end <= way.along_m:
            low = max(low, end + _APART_M)
        else:
            high = min(high, start - _APART_M)
    return (low, high) if high - low >= SHORTEST_SILL_M else None


def _lay_sills(
    ranked: list[Exit], wanted_m: float, safe_only: bool, safe_goal: BoolArray, ways: Ways
) -> list[tuple[Exit, float, float]]:
    """Sills over the best exits until they are long enough; each walked again from its middle."""
    laid: list[tuple[Exit, float, float]] = []
    missing = wanted_m
    for way in ranked:
        if missing < 1e-9:
            break
        span = _free_span(way, [(start, end) for _, start, end in laid])
        if span is None:
            continue
        length = min(LONGEST_SILL_M, max(missing, SHORTEST_SILL_M), span[1] - span[0])
        start = min(max(way.along_m - length / 2.0, span[0]), span[1] - length)
        middle = exits_at(
            ways.lines[way.swale],
            way.swale,
            [(way.stretch, start + length / 2.0, way.at_end)],
            ways.burnt,
            ways.end_map,
            ways.direction,
            ways.marks,
            ways.grid,
        )
        if not middle or not _usable(middle[0], ways):
            continue
        if safe_only and not safe_goal[middle[0].goal]:
            continue
        laid.append((middle[0], start, start + length))
        missing -= length
    return laid


def choose_outlets(
    exits: list[list[Exit]],
    ways: Ways,
    own_peak_m3s: FloatArray,
    hollow_safe: BoolArray,
    rules: SillRules,
) -> Outlets:
    """Least erosive exits of every swale, with sills for the whole chain spilling.

    Parameters
    ----------
    exits : places to try, by swale
    ways : Ways
    own_peak_m3s : (swales,) peak bound of each swale's own catchment, greatest check storm
    hollow_safe : (hollows,) bool; kept hollows that can take what reaches them, or pass it on
        safely
    rules : SillRules

    Returns
    -------
    Outlets

    Notes
    -----
    Exits are ranked at each swale's own peak first; where the peaks of the chain that follows
    change a choice, ranking and sizing are done again, up to four times.
    """
    exits = [[way for way in own if _usable(way, ways)] for own in exits]
    goals = [[way.goal for way in own] for own in exits]
    safe = _safe_swales(goals, ways, hollow_safe, rules, every=False)
    safe_goal = _safe_goals(safe, hollow_safe, ways, rules)
    order = np.argsort([-line.level_m for line in ways.lines], kind="stable")
    peak = own_peak_m3s.copy()
    sills: list[list[Sill]] = [[] for _ in exits]
    chosen: list[list[int]] = []
    for _ in range(_ROUNDS):
        ranked = [
            ranked_exits(own, float(peak[i]), ways, rules, safe_goal) for i, own in enumerate(exits)
        ]
        peak = own_peak_m3s.copy()
        for i in order:
            laid = _lay_sills(
                ranked[i], wanted_sill_m(float(peak[i]), rules), bool(safe[i]), safe_goal, ways
            )
            total = sum(end - start for _, start, end in laid)
            sills[i] = [
                Sill(way, start, end, (end - start) / total, float(peak[i]) * (end - start) / total)
                for way, start, end in laid
            ]
            for sill in sills[i]:
                if 0 < sill.way.goal <= len(exits):
                    peak[sill.way.goal - 1] += sill.peak_m3s
        goals = [[sill.way.goal for sill in own] for own in sills]
        if goals == chosen:
            break
        chosen = goals
    return Outlets(
        sills=tuple(tuple(own) for own in sills),
        safe=_safe_swales(goals, ways, hollow_safe, rules, every=True),
        wanted_m=np.array([wanted_sill_m(float(p), rules) for p in peak]),
        peak_m3s=peak,
    )


def spills_of(outlets: Outlets) -> list[Spill]:
    """Parts of every overflow, for the chain."""
    swales = len(outlets.sills)
    return [
        Spill(i, sill.way.goal - 1 if 0 < sill.way.goal <= swales else -1, sill.share)
        for i, own in enumerate(outlets.sills)
        for sill in own
    ]
