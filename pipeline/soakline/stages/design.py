"""From conditioned ground to figures: swales placed, drained, cut and measured."""

from concurrent.futures import ThreadPoolExecutor

import numpy as np
import shapely

from soakline.findings import Finding
from soakline.grid import FloatArray
from soakline.inputs.types import Inputs
from soakline.outputs.designed import Designed, SwaleFigures
from soakline.overflow.settle import Overflow
from soakline.overflow.weir import head_m
from soakline.runfile.sections import RunFile
from soakline.section.design import SectionDesign
from soakline.section.pegs import Pegs, set_pegs
from soakline.section.works import SwaleWorks, without_mound_on, works_of
from soakline.siting.catchments import share_cut_off
from soakline.siting.excluded import ground_met
from soakline.siting.hazards import ground_below
from soakline.siting.lines import LipLine
from soakline.siting.lip import AIM_M
from soakline.siting.measure import spacing_above
from soakline.siting.site import Placed, Site, survey_site
from soakline.siting.spacing import tree_spacing_m
from soakline.stages.draining import drain
from soakline.stages.placing import placed_lines
from soakline.stages.progress import Progress
from soakline.stages.rules import ratio_spacing_m, runoff_spacing, storms_of
from soakline.terrain.cells import burn
from soakline.terrain.condition import Terrain
from soakline.terrain.landform import landforms
from soakline.water.balance import full_to_empty_h
from soakline.water.results import storm_results

# Curvature is measured at the swales' own spacing, but no wider than this.
_WIDEST_LANDFORM_M = 100.0
# Beside the middle of a route no spoil is left this near.
_PASSAGE_M = 0.5


def design_swales(
    run: RunFile, inputs: Inputs, terrain: Terrain, design: SectionDesign, progress: Progress
) -> tuple[Designed, tuple[Finding, ...], tuple[str, ...]]:
    """Place, size and drain the swales of a property.

    Parameters
    ----------
    run : the run file
    inputs, terrain, design : of the stages before
    progress : is told of every stage

    Returns
    -------
    the plan, findings made on the way, and notes for the run record
    """
    cells = terrain.grid.cells
    features = inputs.features
    storms, curve_number, notes = storms_of(run, inputs)
    with progress.stage("excluded ground", cells):
        reach = design.reach(AIM_M)
        depth_m = design.trench.depth_m
        site = survey_site(terrain, inputs.property, features, run.siting, depth_m, reach)
    with progress.stage("lines", cells):
        placed, findings = placed_lines(run, inputs, terrain, site, design, storms, curve_number)
    with progress.stage("overflow", cells):
        drained, left_out = drain(placed, run, inputs, terrain, site, design, storms, curve_number)
    placed, pegs, slope, overflow = (
        drained.placed,
        drained.pegs,
        drained.slope_pct,
        drained.overflow,
    )
    water, spread = drained.water, drained.spread
    level, sill_level = drained.level_m, drained.sill_level_m
    with progress.stage("sections", cells):
        sill_length, check_head = _check_heads(overflow, run, design)
        mound_height = np.where(spread, 0.0, check_head + design.freeboard_m)
        works, set_out = _dug(
            placed.lines, pegs, overflow, mound_height, check_head, design, terrain, site
        )
        length = np.array([line.length_m for line in placed.lines])
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
            run.overflow.weir_coefficient,
        )
        tree = _tree_heights(run, inputs, placed.lines)
        spacing, interval = spacing_above(
            placed.lines, _measured_by(run, placed.lines, tree), slope, terrain.drainage_line
        )
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
            spacing_runoff_m=np.full(length.size, runoff_spacing(design, storms, curve_number)),
            share_cut_off=_cut_off(placed, terrain),
            landform=_landforms(terrain, pegs, tree_spacing_m(tree, slope)),
        )
        property_cells = burn(np.array([inputs.property.area], dtype=object), terrain.grid)
        below = ground_below(
            placed.lines, terrain, features, property_cells, run.siting.setback_m.steep_ground_below
        )
    plan = Designed(
        run=run,
        inputs=inputs,
        terrain=terrain,
        site=site,
        placed=placed,
        design=design,
        storms=storms,
        water=water,
        overflow=overflow,
        results=results,
        pegs=set_out,
        works=works,
        figures=figures,
        below=below,
        property_cells=property_cells,
        curve_number=curve_number,
    )
    return plan, (*design.findings, *findings, *left_out, *overflow.findings), notes


def _check_heads(
    overflow: Overflow, run: RunFile, design: SectionDesign
) -> tuple[FloatArray, FloatArray]:
    """Length of all sills of each swale, and the head over them in the check storm, m."""
    sills = overflow.outlets.sills
    length = np.array([sum(sill.length_m for sill in own) for own in sills], dtype=float)
    head = np.full(length.size, design.sill_head_m)
    built = length > 0
    head[built] = head_m(
        overflow.outlets.peak_m3s[built], length[built], run.overflow.weir_coefficient
    )
    return length, head


def _dug(
    lines: list[LipLine],
    pegs: list[Pegs],
    overflow: Overflow,
    mound_height_m: FloatArray,
    check_head_m: FloatArray,
    design: SectionDesign,
    terrain: Terrain,
    site: Site,
) -> tuple[tuple[SwaleWorks, ...], tuple[Pegs, ...]]:
    """Ground works of every swale, and the pegs that set it out, sills included."""

    def dug(i: int) -> tuple[SwaleWorks, Pegs]:
        sills = [(sill.start_m, sill.end_m) for sill in overflow.outlets.sills[i]]
        works = works_of(
            pegs[i],
            design.trench,
            design.mound,
            float(mound_height_m[i]),
            float(check_head_m[i]),
            sills,
            design.spoil,
        )
        set_out = set_pegs(
            lines[i].coordinates,
            lines[i].level_m,
            [(start + end) / 2.0 for start, end in sills],
            design.trench.top_width_m,
            terrain.ground_m,
            terrain.grid,
        )
        return works, set_out

    # Geometry is united in compiled code that lets other threads run.
    with ThreadPoolExecutor() as threads:
        both = list(threads.map(dug, range(len(lines))))
    works = _spoil_kept_off([own for own, _ in both], overflow, site)
    return works, tuple(set_out for _, set_out in both)


def _spoil_kept_off(
    works: list[SwaleWorks], overflow: Overflow, site: Site
) -> tuple[SwaleWorks, ...]:
    """Mounds cut back where they would lie in excluded ground, or in their own spill's way."""
    mounds = np.empty(len(works), dtype=object)
    mounds[:] = [own.footprint.mound for own in works]
    ways: list[list[shapely.LineString]] = [[] for _ in works]
    for route in overflow.routes:
        ways[route.swale].append(shapely.LineString(route.coordinates[:, :2]))
    kept = []
    for own, way, excluded in zip(works, ways, ground_met(mounds, site.excluded), strict=True):
        passage = shapely.MultiLineString(way).buffer(_PASSAGE_M)
        clear = passage.union(excluded.buffer(0.01))
        meets = shapely.intersects(own.footprint.mound, clear)
        kept.append(without_mound_on(own, clear) if meets else own)
    return tuple(kept)


def _tree_heights(run: RunFile, inputs: Inputs, lines: list[LipLine]) -> FloatArray:
    """Mature tree height where each line lies; group k is planting block k − 1."""
    blocks = inputs.features.planting_blocks["mature_tree_height_m"].astype(float)
    heights = [run.spacing.mature_tree_height_m, *blocks]
    return np.array([heights[line.group] for line in lines], dtype=float)


def _measured_by(run: RunFile, lines: list[LipLine], tree_height_m: FloatArray) -> FloatArray:
    """Interval that spacing is measured against: the tree height, or what replaced it."""
    if run.spacing.rule == "tree-height":
        return tree_height_m
    return np.array([line.interval_m for line in lines], dtype=float)


def _cut_off(placed: Placed, terrain: Terrain) -> FloatArray:
    return share_cut_off(placed.catchments, terrain.flow.direction, terrain.filled_m)


def _landforms(terrain: Terrain, pegs: list[Pegs], spacing_m: FloatArray) -> tuple[str, ...]:
    """Landform at the middle peg of each swale."""
    middle = [len(p.kind) // 2 for p in pegs]

    def at(name: str) -> FloatArray:
        own = [getattr(p.stations, name)[m] for p, m in zip(pegs, middle, strict=True)]
        return np.array(own, dtype=float)

    scale = np.minimum(spacing_m, _WIDEST_LANDFORM_M)
    return tuple(
        landforms(
            terrain.ground_m,
            terrain.grid,
            at("easting_m"),
            at("northing_m"),
            at("left_east"),
            at("left_north"),
            scale,
        )
    )
