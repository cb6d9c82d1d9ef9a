"""Which exits each swale spills over, how long the sills are, and whether the water ends safely."""

from dataclasses import dataclass, field

import numpy as np

from soakline.grid import BoolArray, FloatArray
from soakline.overflow.ranking import (
    JudgedExits,
    SillRules,
    Ways,
    ranked_exits,
    safe_goals,
    safe_swales,
    wanted_sill_m,
)
from soakline.overflow.room import sills_laid
from soakline.overflow.velocity import travel_time_s
from soakline.section.stations import IntArray
from soakline.section.stretches import Span
from soakline.siting.exits import Exit, Exits
from soakline.water.network import Chain, Spill, chain_of

_SAME_M = 1e-6


@dataclass(frozen=True, eq=False, slots=True)
class Sill:
    """A level stretch of lip over which a swale spills.

    Parameters
    ----------
    way : Exit at the middle of the sill
    start_m, end_m : along the lip, m
    share : of the swale's overflow that leaves here
    """

    way: Exit
    start_m: float
    end_m: float
    share: float

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
    chain : Chain that these sills make
    travel_s : time to arrival of each spill of the chain, s
    """

    sills: tuple[tuple[Sill, ...], ...]
    safe: BoolArray
    chain: Chain
    travel_s: FloatArray

    @property
    def built_m(self) -> FloatArray:
        """Length of all sills of each swale, (swales,) m; 0 where there is none."""
        return np.array([sum(s.length_m for s in own) for own in self.sills], dtype=float)

    def spans(self) -> list[list[Span]]:
        """Where the sills of each swale lie along its lip."""
        return [[(sill.start_m, sill.end_m) for sill in own] for own in self.sills]


@dataclass(frozen=True, eq=False, slots=True)
class RankedExits:
    """Exits of every swale in the order that sills are laid on them.

    Parameters
    ----------
    exits : Exits
    best : by swale, places in `exits`, the best first
    safe : (swales,) bool; whether some way of it leads to a safe end
    safe_goal : (ends + 1,) bool, of each value of the end map
    hollow_safe : (hollows,) bool; kept hollows that may be ends
    overloaded : (swales,) bool; swales asked for longer sills than their safe ways have room for
    laid : sills of a swale for a length wanted, remembered: most peaks stay from round to round
    """

    exits: Exits
    best: list[IntArray]
    safe: BoolArray
    safe_goal: BoolArray
    hollow_safe: BoolArray
    overloaded: BoolArray
    laid: dict[tuple[int, float], tuple[Sill, ...]] = field(default_factory=dict)

    def stands(self, hollow_safe: BoolArray, overloaded: BoolArray) -> bool:
        """Whether it was made for these ends."""
        return np.array_equal(self.hollow_safe, hollow_safe) and np.array_equal(
            self.overloaded, overloaded
        )

    def now_overloaded(self, outlets: "Outlets", wanted_m: FloatArray) -> BoolArray:
        """Swales overloaded so far, and those that could spill safely but for sills too short,
        (swales,) m wanted, or laid over other ways.
        """
        astray = [not all(self.safe_goal[s.way.goal] for s in own) for own in outlets.sills]
        short = outlets.built_m < wanted_m - _SAME_M
        return np.asarray(self.overloaded | (self.safe & (np.array(astray, dtype=bool) | short)))

    def sills_of(self, swale: int, wanted_m: float, ways: Ways) -> tuple[Sill, ...]:
        """Sills of a swale, as long as wanted where its lip has room for them.

        Over safe ways first; over others where these are too few, so that no more water than the
        sills are made for ever stands against the mound.
        """
        key = (swale, wanted_m)
        if key not in self.laid:
            best, anywhere = self.best[swale], np.ones_like(self.safe_goal)
            laid = sills_laid(self.exits, best, wanted_m, self.safe_goal, ways)
            laid = sills_laid(self.exits, best, wanted_m, anywhere, ways, laid)
            total = sum(end - start for _, start, end in laid)
            self.laid[key] = tuple(
                Sill(way, start, end, (end - start) / total) for way, start, end in laid
            )
        return self.laid[key]


def rank_for(
    judged: JudgedExits,
    ways: Ways,
    hollow_safe: BoolArray,
    overloaded: BoolArray,
    rules: SillRules,
) -> RankedExits:
    """Rank all exits, safe ends first, then the least erosive.

    Parameters
    ----------
    judged : JudgedExits
    ways : Ways
    hollow_safe : (hollows,) bool; kept hollows that can take what reaches them, or pass it on
        safely
    overloaded : (swales,) bool; swales that no other shall spill into, if it can be helped
    rules : SillRules

    Returns
    -------
    RankedExits
    """
    exits = judged.exits
    goals = np.split(exits.goal, exits.first[1:-1])
    safe = safe_swales(goals, ways, hollow_safe, overloaded, rules, every=False)
    safe_goal = safe_goals(safe, hollow_safe, ways, rules)
    best = ranked_exits(judged, ways.end_map.ends, rules, safe_goal)
    return RankedExits(exits, best, safe, safe_goal, hollow_safe, overloaded)


def lay_outlets(ranked: RankedExits, ways: Ways, peak_m3s: FloatArray, rules: SillRules) -> Outlets:
    """Sills long enough for each swale's peak, over its exits in their order.

    Parameters
    ----------
    ranked : RankedExits
    ways : Ways
    peak_m3s : (swales,) greatest spill rate in the check storms
    rules : SillRules

    Returns
    -------
    Outlets
    """
    wanted = wanted_sill_m(peak_m3s, rules).tolist()
    sills = [ranked.sills_of(i, length, ways) for i, length in enumerate(wanted)]
    goals = [np.array([sill.way.goal for sill in own], dtype=np.int64) for own in sills]
    return Outlets(
        sills=tuple(sills),
        safe=safe_swales(
            goals, ways, ranked.hollow_safe, np.zeros(len(sills), bool), rules, every=True
        ),
        chain=chain_of(len(sills), _spills(sills)),
        travel_s=_travel_s(sills, ways, rules),
    )


def _spills(sills: list[tuple[Sill, ...]]) -> list[Spill]:
    """Parts of every overflow, for the chain."""
    return [
        Spill(i, sill.way.goal - 1 if 0 < sill.way.goal <= len(sills) else -1, sill.share)
        for i, own in enumerate(sills)
        for sill in own
    ]


def _travel_s(sills: list[tuple[Sill, ...]], ways: Ways, rules: SillRules) -> FloatArray:
    """Time that spilled water takes to the swale it comes to, for each spill of the chain, s.

    Sills pass the check peak at the greatest head, so each metre's flow is known before the peak.
    """
    into = [sill for own in sills for sill in own if 0 < sill.way.goal <= len(sills)]
    return travel_time_s(
        np.array([sill.way.way_m for sill in into], dtype=float),
        np.array(
            [
                ways.lines[sill.way.swale].level_m - ways.lines[sill.way.goal - 1].level_m
                for sill in into
            ],
            dtype=float,
        ),
        rules.flow_m2s,
        rules.manning_n,
    )
