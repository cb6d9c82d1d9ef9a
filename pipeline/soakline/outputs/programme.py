"""The works of a plan as a programme: what they come to, in which order, in which phases."""

from dataclasses import dataclass, replace

import numpy as np
import shapely

from soakline.grid import BoolArray, FloatArray
from soakline.inputs.quantity_items import UNITS
from soakline.outputs.amended import CUT_BELOW, amendment_entries
from soakline.outputs.crossings import crossing_amounts
from soakline.outputs.designed import Designed
from soakline.outputs.earthworks import topsoil_of
from soakline.outputs.points import CUT, point_entries
from soakline.outputs.trees import tree_entries
from soakline.outputs.windbreaks import wind_entries
from soakline.overflow.aprons import linings, linings_of
from soakline.section.stations import IntArray
from soakline.works.bill import Bill, Entry
from soakline.works.hours import machine_hours, texture_shares
from soakline.works.phases import build_order, phases_given, phases_of, safe_throughout
from soakline.works.uphill import uphill_pairs

HOURS = "machine hours"


@dataclass(frozen=True, eq=False, slots=True)
class Programme:
    """How the works are carried out.

    Parameters
    ----------
    bill : Bill
    hours : (swales,) of the machine
    phase : (swales,) from 1, 0 of those that are built; None where all is dug at once
    weight : (swales,) that each takes from the limit of a phase
    limit : of one phase; 0 where nothing limits it
    limit_unit : of weight and limit, in words
    sound : (swales,) bool; whether the water reaches a safe end all the way
    uphill : pairs of an upper and a lower swale; none where all is dug at once
    order : (swales,) from 1
    """

    bill: Bill
    hours: FloatArray
    phase: IntArray | None
    weight: FloatArray
    limit: float
    limit_unit: str
    sound: BoolArray
    uphill: list[tuple[int, int]]
    order: IntArray


def programme_of(plan: Designed) -> Programme:
    """Bill, phases and build order of a plan."""
    bill = _bill(plan)
    swales = plan.figures.level_m.size
    hours = np.sum([own.amount for own in bill.entries if own.rate_item == HOURS], axis=0)
    hours = np.broadcast_to(hours, swales).astype(float)
    chain = plan.outlets.chain
    sound = safe_throughout(chain, plan.outlets.safe)
    weight, limit, unit = _limit(plan, bill, hours)
    phase: IntArray | None = None
    uphill: list[tuple[int, int]] = []
    given = plan.inputs.works.phases
    if limit > 0.0 or given is not None:
        land = plan.catchments
        uphill = uphill_pairs(land.burnt, land.label, plan.terrain.flow.direction)
    if given is not None:
        phase = phases_given(given, [line.swale_id for line in plan.placed.lines])
    elif limit > 0.0:
        phase = phases_of(chain, sound, weight, plan.figures.capacity_m3, limit, uphill)
    at_once = np.ones(swales, dtype=np.int64)
    # What is built stands before the first phase.
    stage = np.where(to_dig(plan), at_once if phase is None else phase, 0)
    if phase is not None:
        phase = stage
    order = build_order(chain, plan.figures.level_m, stage)
    return Programme(bill, hours, phase, weight, limit, unit, sound, uphill, order)


def to_dig(plan: Designed) -> BoolArray:
    """Swales that are not built yet; (swales,)."""
    return np.array([line.state != "built" for line in plan.placed.lines], dtype=bool)


def _limit(plan: Designed, bill: Bill, hours: FloatArray) -> tuple[FloatArray, float, str]:
    """What each swale takes from a phase, the phase's limit, and the unit of both."""
    keys = plan.run.earthworks
    if keys.phase == "budget":
        cost = bill.swale_cost
        return np.zeros_like(hours) if cost is None else cost, keys.budget, "of cost"
    if keys.phase == "year" and keys.hours_per_year > 0.0:
        return hours, keys.hours_per_year, "machine hours"
    return to_dig(plan).astype(float), float(keys.swales_per_year), "swales"


def _bill(plan: Designed) -> Bill:
    """All that is still to be dug and bought; water is held by built swales too."""
    left = to_dig(plan).astype(float)
    figures, works, drains = plan.figures, plan.works, plan.diversions
    swales = figures.level_m.size
    footprint = works.footprint
    sills = plan.outlets.sills
    drain_m = np.zeros(swales)
    drain_m3 = np.zeros(swales)
    for drain, section in zip(drains.drains, drains.sections, strict=True):
        area_m2 = (section.base_width_m + section.batter * section.depth_m) * section.depth_m
        drain_m[drain.swale] += drain.length_m
        drain_m3[drain.swale] += drain.length_m * area_m2
    route_m = np.zeros(swales)
    for route in plan.routes:
        route_m[route.swale] += route.length_m
    topsoil_m3 = topsoil_of(plan).stripped_m3
    of_swales: dict[str, FloatArray] = {
        "swales": np.ones(swales),
        "lip": figures.length_m,
        "cut": works.volumes.cut_m3,
        "fill, settled": works.volumes.fill_m3,
        "topsoil stripped": topsoil_m3,
        "topsoil spread back": topsoil_m3,
        "spoil left over": works.volumes.surplus_m3,
        "spoil short": works.volumes.short_m3,
        "footprint": footprint.area_m2,
        "bare earth to seed": shapely.area(footprint.mound) + shapely.area(footprint.cut_slope),
        "spillways": np.array([len(own) for own in sills], dtype=float),
        "sill": np.array([sum(sill.length_m for sill in own) for own in sills], dtype=float),
        "cut for sills": works.volumes.sill_cut_m3,
        **_apron_amounts(plan),
        "overflow route": route_m,
        **crossing_amounts(plan.crossings, swales),
        "pegs": _pegs(plan),
    }
    amounts = {
        **{item: left * amount for item, amount in of_swales.items()},
        # Held by all, and dug for all.
        "water held": figures.capacity_m3,
        "diversion drain": drain_m,
        "diversion drain, cut": drain_m3,
    }
    entries = [
        Entry(item, unit, amounts[item], item) for item, unit in UNITS.items() if item in amounts
    ]
    treated = [replace(own, amount=left * own.amount) for own in amendment_entries(plan)]
    below_m3 = sum((own.amount for own in treated if own.rate_item == CUT_BELOW), np.zeros(swales))
    pointed = point_entries(plan)
    pointed_m3 = sum((own.amount for own in pointed if own.item == CUT), np.zeros(swales))
    entries += [*treated, *pointed, *wind_entries(plan), *tree_entries(plan)]
    machine = plan.inputs.works.machine
    shares = texture_shares(
        [line.coordinates for line in plan.placed.lines],
        plan.inputs.features.soils,
        plan.run.soil.texture,
    )
    volumes = works.volumes
    dug = volumes.cut_m3 + volumes.between_m3 + volumes.track_cut_m3 + volumes.sill_cut_m3
    dug = left * dug + drain_m3 + below_m3 + pointed_m3
    for texture, hours in machine_hours(dug, shares, machine).items():
        entries.append(Entry(f"{HOURS}, {machine.name} in {texture}", UNITS[HOURS], hours, HOURS))
    return Bill(tuple(entries), plan.inputs.works.rates)


def _apron_amounts(plan: Designed) -> dict[str, FloatArray]:
    """Lined area of sills and aprons by their lining, (swales,) m² each."""
    swales = plan.figures.level_m.size
    amounts = {f"sill and apron, {own.name}": np.zeros(swales) for own in linings()}
    used = linings_of(plan.routes, plan.figures.texture)
    for route, own in zip(plan.routes, used, strict=True):
        amounts[f"sill and apron, {own.name}"][route.swale] += own.area_m2(route.sill.length_m)
    return amounts


def _pegs(plan: Designed) -> FloatArray:
    """Pegs of each swale, (swales,)."""
    pegs = np.bincount(plan.pegs.stations.at.lip, minlength=plan.figures.level_m.size)
    return pegs.astype(np.float64) * plan.pegs_are_set
