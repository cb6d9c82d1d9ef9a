"""Storms sent down the chain: sections sized, sills and ways chosen, every storm routed."""

from dataclasses import dataclass

import numpy as np

from soakline.findings import Finding
from soakline.grid import FloatArray, Grid, GroundArray
from soakline.overflow.hollows import HollowCheck, check_hollows
from soakline.overflow.ranking import (
    JudgedExits,
    SillRules,
    Ways,
    judged_exits,
    wanted_sill_m,
)
from soakline.overflow.sills import (
    Outlets,
    lay_outlets,
    rank_for,
)
from soakline.section.design import SectionDesign
from soakline.section.trench import Trench
from soakline.siting.site import Placed
from soakline.stages.basins import Basins
from soakline.stages.crossing import TrackWorks
from soakline.stages.laying import Laid
from soakline.terrain.hollows import Hollows
from soakline.water.cascade import StormRouting, chain_arrays, route_storms
from soakline.water.event import Arrivals, Event, Feeds, feeds_of, own_bound_m3s
from soakline.water.pools import Pools
from soakline.water.sizing import size_down_chain

# Sills are laid anew once, and ways again where a hollow or a swale turns out to be no end.
_ROUNDS = 24
_SETTLING_ROUNDS, _WHOLE_ROUNDS = 4, 2
# Ways are judged as for this much rain running off each catchment: no storm of the table, so that
# new rain leaves them where they are.
_JUDGED_RAIN_M_S = 0.1 / 3600.0
# Sills are laid for a little more than was routed: longer sills above let peaks through faster.
_SPARE = 1.01


@dataclass(frozen=True, eq=False, slots=True)
class Drained:
    """Swales with their sections, and how the chain spills in the check storms.

    Parameters
    ----------
    sections : of each swale
    feeds, pools : Feeds and Pools with these sections
    outlets : Outlets
    routing : the check storms, in their order
    peak_m3s : (swales,) greatest spill rate in the check storms
    findings : on hollows that receive water
    """

    sections: tuple[Trench, ...]
    feeds: Feeds
    pools: Pools
    outlets: Outlets
    routing: StormRouting
    peak_m3s: FloatArray
    findings: tuple[Finding, ...]


def exits_of(placed: Placed, ground_m: GroundArray, grid: Grid, rules: SillRules) -> JudgedExits:
    """Exits judged at the greatest head over their sills, whatever the rain of the table is.

    Every sill is built as long as its check peak asks for at that head: what runs off each metre of
    it is known before the peak, and so is how fast, for sills about as long as their catchments ask
    for. Ways that new rain does not move are what a chain can be compared by.
    """
    peak = placed.catchments.area_m2 * _JUDGED_RAIN_M_S
    return judged_exits(placed.exits, wanted_sill_m(peak, rules), ground_m, grid, rules)


def drain(
    laid: Laid,
    arrivals: Arrivals,
    judged: JudgedExits,
    ways: Ways,
    hollows: Hollows,
    design: SectionDesign,
    tracks: TrackWorks,
    rules: SillRules,
    max_drain_h: float,
) -> Drained:
    """Size, drain and route the swales of a plan.

    Parameters
    ----------
    laid : Laid
    arrivals : what every storm brings
    judged : exits as of `exits_of`
    ways : Ways
    hollows : Hollows
    design : sections to choose from
    tracks : TrackWorks; the fill of causeways holds no water
    rules : SillRules
    max_drain_h : longest time from full to empty

    Returns
    -------
    Drained

    Notes
    -----
    Sills are laid for the bound of each swale's own peak, then twice for the peaks of the round
    before, and once more where the last routing brought more than they pass at the greatest head. A
    kept hollow that cannot take what reaches it, nor pass it on safely, is no end any more, nor is
    a swale whose safe ways have no room for the sills that it is asked for; then ways are chosen
    again.
    """
    basin = Basins(laid, design, tracks, rules.coefficient)
    event = arrivals.event
    check = event.of("check")
    bound = own_bound_m3s(event, feeds_of(laid.area_m2, np.zeros(laid.length_m.size), event.land))
    peak = bound[:, check].max(axis=1, initial=0.0)
    round_of = _Round(basin, arrivals, _governing(laid, arrivals), max_drain_h)
    hollow_check = HollowCheck((), hollows.kept.copy())
    asked = _deciding(event)
    overloaded = np.zeros(laid.length_m.size, dtype=bool)
    ranked = rank_for(judged, ways, hollow_check.safe, overloaded, rules)
    rounds = 0
    for _ in range(_ROUNDS):
        if not ranked.stands(hollow_check.safe, overloaded):
            ranked = rank_for(judged, ways, hollow_check.safe, overloaded, rules)
            rounds = 0
        outlets, wanted = lay_outlets(ranked, ways, peak, rules), wanted_sill_m(peak, rules)
        sections = round_of.sized(outlets)
        routing = round_of.routed(outlets, sections, asked)
        before, peak = peak, _SPARE * routing.peak_spill_m3s.max(axis=1, initial=0.0)
        hollow_check = check_hollows(
            hollow_check, outlets, ways, hollows, laid.hollow_area_m2, event, asked, routing,
            edge_allowed=rules.edge_allowed,
        )  # fmt: skip
        rounds += 1
        # The first sills over these ways were laid for peaks of others, or for bounds.
        if rounds == 1:
            continue
        too_full, settled = ranked.now_overloaded(outlets, wanted), _alike(peak, before)
        if ranked.stands(hollow_check.safe, too_full) and (settled or not too_full.any()):
            break
        if settled:
            overloaded = too_full
    # Ways and sections stay, and sills only grow from here on. The few storms that decide settle
    # them; then every check storm is routed over them.
    outlets = lay_outlets(ranked, ways, peak, rules)
    for storms, rounds in ((asked, _SETTLING_ROUNDS), (check, _WHOLE_ROUNDS)):
        for left in reversed(range(rounds)):
            routing = round_of.routed(outlets, sections, storms)
            found = routing.peak_spill_m3s.max(axis=1, initial=0.0)
            if left == 0 or np.all(found <= peak):
                break
            peak = np.maximum(peak, _SPARE * found)
            outlets = lay_outlets(ranked, ways, peak, rules)
    return Drained(
        sections=sections,
        feeds=round_of.feeds(sections),
        pools=round_of.pools(outlets, sections),
        outlets=outlets,
        routing=routing,
        peak_m3s=found,
        findings=hollow_check.findings,
    )


def _alike(peak_m3s: FloatArray, before_m3s: FloatArray) -> bool:
    """Whether peaks stay from one round to the next."""
    return bool(np.all(np.abs(peak_m3s - before_m3s) <= 0.01 * before_m3s + 0.001))


def routed(
    pools: Pools,
    outlets: Outlets,
    feeds: Feeds,
    arrivals: Arrivals,
    storms: list[int],
    spared_cores: int = 0,
) -> StormRouting:
    """Some of the storms, on all cores but those spared."""
    return route_storms(
        pools,
        outlets.chain,
        outlets.travel_s,
        lambda k: arrivals.inflow_m3(storms[k], feeds),
        arrivals.step_s,
        [arrivals.rain_s(storm) for storm in storms],
        spared_cores,
    )


def _deciding(event: Event) -> list[int]:
    """Check storms that bring the peaks before all are routed.

    Alternating blocks nest: the longest such storm holds all shorter ones. Steady rain decides only
    where nothing else is asked for.
    """
    check = event.of("check")
    blocks = [k for k in check if event.storms[k].pattern == "alternating"]
    longest = sorted(blocks, key=lambda k: event.storms[k].duration_min)[-1:]
    own = [k for k in check if event.storms[k].pattern not in ("alternating", "uniform")]
    return longest + own or check


@dataclass(frozen=True, eq=False, slots=True)
class _Governing:
    """The design storm that asks most, and what it brings.

    Parameters
    ----------
    shed_m3 : (swales, steps) of whole catchments, as if none of it were water
    rain_m : (steps,)
    """

    shed_m3: FloatArray
    rain_m: FloatArray


def _governing(laid: Laid, arrivals: Arrivals) -> _Governing:
    """The design storm to size sections by.

    Alternating blocks nest: the longest such storm holds all shorter ones. Where no storm is built
    so, the one that sheds most is taken.
    """
    event = arrivals.event
    storm = max(
        event.of("design"),
        key=lambda k: (
            event.storms[k].pattern != "uniform",
            event.storms[k].depth_mm,
            event.storms[k].duration_min,
        ),
    )
    whole = feeds_of(laid.area_m2, np.zeros(laid.length_m.size), event.land)
    return _Governing(arrivals.inflow_m3(storm, whole), arrivals.rain_m(storm))


@dataclass(frozen=True, eq=False, slots=True)
class _Round:
    """What is done anew whenever sills are laid: sections sized, storms routed."""

    basin: Basins
    arrivals: Arrivals
    design: _Governing
    max_drain_h: float

    def feeds(self, sections: tuple[Trench, ...]) -> Feeds:
        """Catchments with the swales' water drawn for their sections."""
        area, land = self.basin.laid.area_m2, self.arrivals.event.land
        return feeds_of(area, self.basin.ponded_m2(sections), land)

    def pools(self, outlets: Outlets, sections: tuple[Trench, ...]) -> Pools:
        """Level pools with the sills that were laid."""
        return self.basin.pools(sections, self.basin.ponded_m2(sections), outlets.built_m)

    def sized(self, outlets: Outlets) -> tuple[Trench, ...]:
        """Section of each swale by the design storm that asks most, for these ways."""
        basin, step_s = self.basin, self.arrivals.step_s
        if basin.laid.length_m.size == 0:
            return ()
        sizes = size_down_chain(
            basin.choices(outlets.built_m),
            chain_arrays(outlets.chain, outlets.travel_s, step_s),
            self.design.shed_m3,
            self.design.rain_m,
            basin.laid.area_m2.sum(axis=1),
            step_s,
            self.max_drain_h,
        )
        return tuple(basin.steps[k][i] for i, k in enumerate(sizes.choice.tolist()))

    def routed(
        self, outlets: Outlets, sections: tuple[Trench, ...], storms: list[int]
    ) -> StormRouting:
        """Some of the storms, routed over given sections."""
        pools, feeds = self.pools(outlets, sections), self.feeds(sections)
        return routed(pools, outlets, feeds, self.arrivals, storms)
