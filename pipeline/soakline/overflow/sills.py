"""Which exits each swale spills over, how long the sills are, and whether the water ends safely."""

from dataclasses import dataclass

import numpy as np

from soakline.grid import BoolArray, FloatArray
from soakline.overflow.ranking import (
    LONGEST_SILL_M,
    SHORTEST_SILL_M,
    SillRules,
    Ways,
    ranked_exits,
    safe_goals,
    safe_swales,
    usable_exit,
    wanted_sill_m,
)
from soakline.siting.exits import Exit
from soakline.water.network import Spill

_APART_M = 1.0  # ground left between two sills of one lip
_ROUNDS = 4
_SHORT_M = 0.01


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

    @property
    def overloaded(self) -> BoolArray:
        """Swales on whose lip the sills that their peak asks for find no room."""
        built = np.array([sum(s.length_m for s in own) for own in self.sills], dtype=float)
        return (built > 0) & (built < self.wanted_m - _SHORT_M)


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
        # From its middle a long sill may lead elsewhere than the exit: then a shorter one serves.
        while length >= SHORTEST_SILL_M:
            start = min(max(way.along_m - length / 2.0, span[0]), span[1] - length)
            middle = ways.exit_at(way.stretch, way.swale, start + length / 2.0, way.at_end)
            if (
                middle is not None
                and usable_exit(middle, ways)
                and (safe_goal[middle.goal] or not safe_only)
            ):
                laid.append((middle, start, start + length))
                missing -= length
                break
            length = length / 2.0 if length > SHORTEST_SILL_M * 2.0 else length - SHORTEST_SILL_M
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
    exits = [[way for way in own if usable_exit(way, ways)] for own in exits]
    goals = [[way.goal for way in own] for own in exits]
    safe = safe_swales(goals, ways, hollow_safe, rules, every=False)
    safe_goal = safe_goals(safe, hollow_safe, ways, rules)
    order = np.argsort([-line.level_m for line in ways.lines], kind="stable")
    peak = own_peak_m3s.copy()
    sills: list[list[Sill]] = [[] for _ in exits]
    chosen: list[list[int]] = []
    for _ in range(_ROUNDS):
        ranked = ranked_exits(exits, peak, ways, rules, safe_goal)
        peak = own_peak_m3s.copy()
        for i in order:
            wanted = wanted_sill_m(float(peak[i]), rules)
            laid = _lay_sills(ranked[i], wanted, bool(safe[i]), safe_goal, ways)
            if not laid:
                laid = _lay_sills(ranked[i], wanted, False, safe_goal, ways)
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
        safe=safe_swales(goals, ways, hollow_safe, rules, every=True),
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
