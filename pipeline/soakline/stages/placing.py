"""Lips on the ground: placed by the rule, fed, and rings opened where their water leaves best."""

import numpy as np

from soakline.findings import Finding
from soakline.grid import BoolArray, FloatArray
from soakline.inputs.types import Inputs
from soakline.overflow.openings import open_rings
from soakline.overflow.sills import Ways
from soakline.runfile.sections import RunFile
from soakline.section.design import SectionDesign
from soakline.section.footprint import ponded_ground
from soakline.section.pegs import Pegs, set_pegs
from soakline.siting.place import LipLine
from soakline.siting.site import Placed, Site, place, ways_from
from soakline.stages.rules import interval_of, sill_rules
from soakline.terrain.condition import Terrain
from soakline.water.balance import SwaleWater, peak_bound_m3s
from soakline.water.network import chain_of
from soakline.water.storms import Storm


def ways_over(placed: Placed, terrain: Terrain, site: Site) -> Ways:
    """Lay the ground that ways run over beside the lips and ends that they run between."""
    return Ways(
        placed.lines,
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
    lines, findings = place(
        terrain, site, inputs.features, run.spacing, run.siting.min_catchment_m2, interval
    )
    placed = ways_from(lines, terrain, site, inputs.property, inputs.features)
    if any(line.closed for line in lines):
        water = swale_water(
            placed, base_pegs(lines, design, terrain), design, np.zeros(len(lines), bool)
        )
        peak = _own_check_peak(storms, water, curve_number)
        opened = open_rings(placed.exits, ways_over(placed, terrain, site), peak, sill_rules(run))
        placed = ways_from(opened, terrain, site, inputs.property, inputs.features)
    return placed, findings
