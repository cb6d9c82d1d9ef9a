"""From lines to figures: the swales' sections, water and overflow, in the order of the job."""

import numpy as np
import shapely

from soakline.findings import Finding
from soakline.grid import BoolArray, FloatArray
from soakline.inputs.rain_table import choose_columns
from soakline.inputs.types import Inputs
from soakline.outputs.designed import Designed, SwaleFigures
from soakline.overflow.openings import open_rings
from soakline.overflow.routes import EndShapes
from soakline.overflow.settle import settle_overflow
from soakline.overflow.sills import SillRules, Ways
from soakline.overflow.weir import head_m
from soakline.runfile.sections import RunFile
from soakline.section.design import SectionDesign
from soakline.section.footprint import ponded_ground
from soakline.section.pegs import Pegs, set_pegs
from soakline.section.works import works_of
from soakline.siting.catchments import share_cut_off
from soakline.siting.hazards import ground_below
from soakline.siting.lip import AIM_M
from soakline.siting.measure import spacing_above
from soakline.siting.place import LipLine
from soakline.siting.site import Placed, Site, geometry_of, place, survey_site, ways_from
from soakline.siting.spacing import runoff_spacing_m, tree_spacing_m, width_ratio
from soakline.siting.stations import OPEN
from soakline.terrain.cells import burn
from soakline.terrain.condition import Terrain
from soakline.terrain.hollows import hollow_outlines
from soakline.terrain.landform import landforms
from soakline.water.balance import SwaleWater, full_to_empty_h, peak_bound_m3s
from soakline.water.curve_number import antecedent_curve_number, runoff_mm
from soakline.water.network import chain_of
from soakline.water.results import storm_results
from soakline.water.storms import Storm, excess_duration_h, storms_for


def storms_of(run: RunFile, inputs: Inputs) -> tuple[tuple[Storm, ...], float, tuple[str, ...]]:
    """Storms of a run, the curve number of its ground, and how the columns were found."""
    columns = choose_columns(inputs.rain, run.rain.design, run.rain.check, run.rain.table)
    storms = storms_for(
        inputs.rain, columns.design, columns.check, run.rain.pattern, run.rain.uplift_pct
    )
    number = float(antecedent_curve_number(run.land.curve_number, run.rain.antecedent))
    return storms, number, columns.notes


def interval_of(
    run: RunFile,
    design: SectionDesign,
    site: Site,
    terrain: Terrain,
    storms: tuple[Storm, ...],
    curve_number: float,
) -> float:
    """Vertical interval that the chosen spacing rule asks for outside planting blocks, m.

    Rules that give a distance are turned into a level difference by the mean slope of the allowed
    ground, since all hillsides take the same levels.
    """
    tree = run.spacing.mature_tree_height_m
    if run.spacing.rule == "tree-height":
        return tree
    allowed = site.siteable.state == OPEN
    if not allowed.any():
        return tree
    slope = float(terrain.slope_pct[allowed].mean())
    if run.spacing.rule == "width-ratio":
        distance = float(ratio_spacing_m(run, design, np.array([slope]))[0])
        return max(0.1, distance * slope / 100.0)
    distance = runoff_spacing(design, storms, curve_number)
    return max(tree, distance * slope / 100.0) if np.isfinite(distance) else tree


def ratio_spacing_m(run: RunFile, design: SectionDesign, slope_pct: FloatArray) -> FloatArray:
    """Lip to lip by the width ratio: the gap, and the cut from lip to daylight; m."""
    ratio = run.spacing.width_ratio or width_ratio(run.rain.annual_mm)
    cut, _ = design.reach(AIM_M).at(slope_pct)
    return ratio * design.trench.top_width_m + cut


def runoff_spacing(design: SectionDesign, storms: tuple[Storm, ...], curve_number: float) -> float:
    """Widest spacing that holds the design storms, m; inf where none gives runoff."""
    own = [storm for storm in storms if storm.purpose == "design"]
    depth = np.array([storm.depth_mm for storm in own])
    return runoff_spacing_m(
        design.trench.area_m2,
        design.trench.top_width_m,
        design.trench.base_width_m,
        design.soak_m_h,
        runoff_mm(depth, curve_number),
        depth,
        np.array([excess_duration_h(storm, curve_number) for storm in own]),
    )


def sill_rules(run: RunFile) -> SillRules:
    """Rules of the run file for sills and ways."""
    return SillRules(
        head_m=run.overflow.sill_head_m,
        coefficient=run.overflow.weir_coefficient,
        manning_n=run.overflow.manning_n,
        max_slope_pct=run.siting.max_slope_pct,
        edge_allowed=run.overflow.allow_property_edge
        and bool(run.overflow.neighbour_consent.strip()),
    )


def _ways(placed: Placed, terrain: Terrain, site: Site) -> Ways:
    return Ways(
        placed.lines,
        placed.catchments.burnt,
        placed.end_map,
        terrain.flow.direction,
        site.marks,
        terrain.ground_m,
        terrain.grid,
    )


def _pegs(lines: list[LipLine], design: SectionDesign, terrain: Terrain) -> list[Pegs]:
    """Pegs without sills: the stations that volumes and footprints are measured at."""
    across = design.trench.top_width_m
    return [
        set_pegs(line.coordinates, line.level_m, [], across, terrain.ground_m, terrain.grid)
        for line in lines
    ]


def _water(
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


def _lines_placed(
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
        water = _water(placed, _pegs(lines, design, terrain), design, np.zeros(len(lines), bool))
        peak = _own_check_peak(storms, water, curve_number)
        opened = open_rings(placed.exits, _ways(placed, terrain, site), peak, sill_rules(run))
        placed = ways_from(opened, terrain, site, inputs.property, inputs.features)
    return placed, findings


def _own_check_peak(
    storms: tuple[Storm, ...], water: SwaleWater, curve_number: float
) -> FloatArray:
    """Peak bound of each swale's own catchment, greatest check storm, m³/s."""
    check = tuple(storm for storm in storms if storm.purpose == "check")
    alone = chain_of(water.dry_m2.size, [])
    bound = peak_bound_m3s(check, water, alone, curve_number)
    return np.asarray(bound.max(axis=1, initial=0.0))


def _tree_heights(run: RunFile, inputs: Inputs, lines: list[LipLine]) -> FloatArray:
    """Mature tree height of the ground that each line lies on; group k is planting block k − 1."""
    blocks = inputs.features.planting_blocks["mature_tree_height_m"].astype(float)
    heights = [run.spacing.mature_tree_height_m, *blocks]
    return np.array([heights[line.group] for line in lines], dtype=float)


def design_swales(
    run: RunFile, inputs: Inputs, terrain: Terrain, design: SectionDesign
) -> tuple[Designed, tuple[Finding, ...], tuple[str, ...]]:
    """Place, size and drain the swales of a property.

    Parameters
    ----------
    run : the run file
    inputs, terrain, design : of the stages before

    Returns
    -------
    the plan, findings made on the way, and notes for the run record
    """
    grid = terrain.grid
    storms, curve_number, notes = storms_of(run, inputs)
    site = survey_site(
        terrain,
        inputs.property,
        inputs.features,
        run.siting,
        design.trench.depth_m,
        design.reach(AIM_M),
    )
    placed, findings = _lines_placed(run, inputs, terrain, site, design, storms, curve_number)
    lines = placed.lines
    count = len(lines)
    pegs = _pegs(lines, design, terrain)
    slope = np.array([100.0 * float(p.stations.slope.mean()) for p in pegs])
    spread = slope < run.earthworks.spread_under_pct
    water = _water(placed, pegs, design, spread)
    level = np.array([line.level_m for line in lines])
    length = np.array([line.length_m for line in lines])
    sill_level = np.where(spread, level - design.sill_head_m, level)
    features = inputs.features
    lips = np.empty(count, dtype=object)
    lips[:] = [shapely.linestrings(line.coordinates) for line in lines]
    kept = [int(i) for i in np.flatnonzero(terrain.hollows.kept)]
    shapes = EndShapes(
        lips,
        terrain.drainage_line,
        geometry_of(features.dams),
        hollow_outlines(terrain.hollows, kept, grid),
        geometry_of(features.safe_points),
        inputs.property.area,
    )
    rules = sill_rules(run)
    overflow = settle_overflow(
        placed.exits,
        _ways(placed, terrain, site),
        sill_level,
        shapes,
        terrain.hollows,
        storms,
        water,
        curve_number,
        rules,
        run.overflow.cover,
        run.overflow.soil,
    )
    sill_length = np.array([sum(s.length_m for s in own) for own in overflow.outlets.sills])
    peak = overflow.outlets.peak_m3s
    check_head = np.full(count, design.sill_head_m)
    spills = sill_length > 0
    check_head[spills] = head_m(peak[spills], sill_length[spills], rules.coefficient)
    mound_height = np.where(spread, 0.0, check_head + design.freeboard_m)
    works = tuple(
        works_of(
            pegs[i],
            design.trench,
            design.mound,
            float(mound_height[i]),
            float(check_head[i]),
            [(sill.start_m, sill.end_m) for sill in overflow.outlets.sills[i]],
            design.spoil,
        )
        for i in range(count)
    )
    set_out = tuple(
        set_pegs(
            line.coordinates,
            line.level_m,
            [(s.start_m + s.end_m) / 2.0 for s in overflow.outlets.sills[i]],
            design.trench.top_width_m,
            terrain.ground_m,
            grid,
        )
        for i, line in enumerate(lines)
    )
    results = storm_results(
        storms,
        overflow.balance,
        design.trench,
        length,
        level,
        sill_level,
        sill_length,
        level + mound_height,
        water.soak_m3_h,
        rules.coefficient,
    )
    tree = _tree_heights(run, inputs, lines)
    measured_by = (
        tree
        if run.spacing.rule == "tree-height"
        else np.array([line.interval_m for line in lines], dtype=float)
    )
    spacing, interval = spacing_above(lines, measured_by, slope, terrain.drainage_line)
    middle = [len(p.kind) // 2 for p in pegs]
    at = {
        name: np.array([getattr(p.stations, name)[m] for p, m in zip(pegs, middle, strict=True)])
        for name in ("easting_m", "northing_m", "left_east", "left_north")
    }
    property_cells = burn(np.array([inputs.property.area], dtype=object), grid)
    figures = SwaleFigures(
        level_m=level,
        sill_level_m=sill_level,
        crest_level_m=level + mound_height,
        length_m=length,
        mound_height_m=mound_height,
        check_head_m=check_head,
        sill_length_m=sill_length,
        capacity_m3=water.capacity_m3,
        drain_down_h=full_to_empty_h(water),
        slope_pct=slope,
        tree_height_m=tree,
        spacing_above_m=spacing,
        interval_above_m=interval,
        spacing_tree_m=tree_spacing_m(tree, slope),
        spacing_ratio_m=ratio_spacing_m(run, design, slope),
        spacing_runoff_m=np.full(count, runoff_spacing(design, storms, curve_number)),
        share_cut_off=share_cut_off(placed.catchments, terrain.flow.direction, terrain.filled_m),
        landform=tuple(
            landforms(
                terrain.ground_m,
                grid,
                at["easting_m"],
                at["northing_m"],
                at["left_east"],
                at["left_north"],
                np.minimum(tree_spacing_m(tree, slope), 100.0),
            )
        ),
    )
    below = ground_below(
        lines, terrain, features, property_cells, run.siting.setback_m.steep_ground_below
    )
    plan = Designed(
        run,
        inputs,
        terrain,
        site,
        placed,
        design,
        storms,
        water,
        overflow,
        results,
        set_out,
        works,
        figures,
        below,
        property_cells,
        curve_number,
    )
    return plan, (*design.findings, *findings, *overflow.findings), notes
