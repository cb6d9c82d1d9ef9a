"""Lips on the ground: placed by the rule, fed, and rings opened where their water leaves best."""

import numpy as np
import shapely

from soakline.findings import Finding
from soakline.grid import BoolArray, FloatArray
from soakline.inputs.types import Inputs
from soakline.overflow.openings import open_rings
from soakline.overflow.ranking import Ways
from soakline.runfile.sections import RunFile
from soakline.section.design import SectionDesign
from soakline.section.footprint import dug_ground, ponded_ground
from soakline.section.pegs import Pegs, set_pegs
from soakline.siting.excluded import ground_met
from soakline.siting.lines import END_ROOM_M, LipLine, cut_out, in_order
from soakline.siting.site import Placed, Site, place, small_catchments, ways_from
from soakline.stages.rules import interval_of, sill_rules
from soakline.terrain.condition import Terrain
from soakline.water.balance import SwaleWater, peak_bound_m3s
from soakline.water.network import chain_of
from soakline.water.storms import Storm

# A lip that is cut is looked at again: what is left may be cut once more.
_ROUNDS = 5


def ways_over(placed: Placed, terrain: Terrain, site: Site) -> Ways:
    """Lay the ground that ways run over beside the lips and ends that they run between."""
    return Ways(
        placed.lines,
        placed.clear_m,
        placed.catchments.burnt,
        placed.end_map,
        terrain.flow.direction,
        site.marks,
        terrain.ground_m,
        terrain.grid,
    )


def base_pegs(lines: list[LipLine], design: SectionDesign, terrain: Terrain) -> list[Pegs]:
    """Pegs without sills: the stations that volumes and footprints are measured at."""
    across = design.trench.top_width_m
    return [
        set_pegs(line.coordinates, line.level_m, [], across, terrain.ground_m, terrain.grid)
        for line in lines
    ]


def swale_water(
    placed: Placed, pegs: list[Pegs], design: SectionDesign, spread: BoolArray
) -> SwaleWater:
    """What the balance needs to know of each swale."""
    length = np.array([line.length_m for line in placed.lines])
    ponded = np.array([ponded_ground(p.stations, design.trench).area for p in pegs])
    full = np.where(spread, design.trench.depth_m - design.sill_head_m, design.trench.depth_m)
    return SwaleWater(
        dry_m2=np.maximum(placed.catchments.area_m2 - ponded, 0.0),
        ponded_m2=ponded,
        capacity_m3=design.trench.volume_below_m3(full, length),
        soak_m3_h=design.soak_m_h * design.trench.base_width_m * length,
    )


def clear_of_exclusions(
    lines: list[LipLine], site: Site, design: SectionDesign, terrain: Terrain
) -> list[LipLine]:
    """Lips shortened until what is dug along them keeps off excluded ground to the centimetre.

    Lines are trimmed by the slope of single cells; the trench is drawn by the slope across each
    peg. Where the two differ a corner may still reach into a setback.
    """
    clear: list[LipLine] = []
    doubtful = lines
    for _ in range(_ROUNDS):
        dug = np.empty(len(doubtful), dtype=object)
        pegs = base_pegs(doubtful, design, terrain)
        dug[:] = [dug_ground(own.stations, design.trench) for own in pegs]
        cut: list[LipLine] = []
        for line, bad in zip(doubtful, ground_met(dug, site.excluded), strict=True):
            if shapely.is_empty(bad):
                clear.append(line)
                continue
            lip = shapely.linestrings(line.coordinates)
            along = shapely.line_locate_point(lip, shapely.points(shapely.get_coordinates(bad)))
            from_m, to_m = float(along.min()) - END_ROOM_M, float(along.max()) + END_ROOM_M
            kept = cut_out(line, max(from_m, 0.0), min(to_m, line.length_m))
            cut += [piece for piece in kept if piece.length_m >= site.limits.min_length_m]
        if not cut:
            break
        doubtful = cut
    return in_order(clear)


def _own_check_peak(
    storms: tuple[Storm, ...], water: SwaleWater, curve_number: float
) -> FloatArray:
    """Peak bound of each swale's own catchment, greatest check storm, m³/s."""
    check = tuple(storm for storm in storms if storm.purpose == "check")
    alone = chain_of(water.dry_m2.size, [])
    bound = peak_bound_m3s(check, water, alone, curve_number)
    return np.asarray(bound.max(axis=1, initial=0.0))


def placed_lines(
    run: RunFile,
    inputs: Inputs,
    terrain: Terrain,
    site: Site,
    design: SectionDesign,
    storms: tuple[Storm, ...],
    curve_number: float,
) -> tuple[Placed, tuple[Finding, ...]]:
    """Lips with catchments, ends and exits; rings opened where their water leaves best."""
    interval = interval_of(run, design, site, terrain, storms, curve_number)
    lines = place(terrain, site, inputs.features, run.spacing, interval)
    lines = clear_of_exclusions(lines, site, design, terrain)
    placed = ways_from(lines, terrain, site, inputs.property, inputs.features)
    least_m2 = run.siting.min_catchment_m2
    fed = placed.catchments.area_m2 >= least_m2
    if any(line.closed for line in lines):
        pegs = base_pegs(lines, design, terrain)
        water = swale_water(placed, pegs, design, np.zeros(len(lines), dtype=bool))
        peak = _own_check_peak(storms, water, curve_number)
        lines = open_rings(placed.exits, ways_over(placed, terrain, site), peak, sill_rules(run))
    if not fed.all() or any(line.closed for line in placed.lines):
        # What a lip that is left out has caught goes on to the next one below.
        kept = [line for line, keep in zip(lines, fed, strict=True) if keep]
        placed = ways_from(kept, terrain, site, inputs.property, inputs.features)
    return placed, small_catchments(fed, least_m2)
