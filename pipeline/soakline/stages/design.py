"""From conditioned ground to figures: swales placed, drained, cut and measured."""

from collections.abc import Callable
from functools import partial

import numpy as np

from soakline.findings import Finding
from soakline.inputs.types import Inputs
from soakline.outputs.designed import Designed, SwaleFigures
from soakline.overflow.ranking import JudgedExits
from soakline.overflow.routes import draw_routes
from soakline.overflow.weir import head_m
from soakline.planting.trees import Trees
from soakline.runfile.sections import RunFile
from soakline.section.design import SectionDesign
from soakline.section.trench import trenches_of
from soakline.siting.site import left_out
from soakline.siting.spacing import tree_spacing_m
from soakline.stages.crossing import built_crossings, track_works
from soakline.stages.digging import dug_along, dug_with_points, followed_lips
from soakline.stages.draining import Drained, drain, exits_of
from soakline.stages.following import followed_years
from soakline.stages.ground import survey_ground
from soakline.stages.keeping import KeptStages
from soakline.stages.laying import Laid
from soakline.stages.leading import dug_diversions
from soakline.stages.lips import laid_out_lips
from soakline.stages.measuring import concentration_of
from soakline.stages.placing import end_shapes, ways_over
from soakline.stages.planting import kept_clear, planted
from soakline.stages.pointing import swale_points
from soakline.stages.progress import Progress
from soakline.stages.routing import begun_aside
from soakline.stages.rules import (
    event_on,
    ratio_spacing_m,
    sill_rules,
    storms_of,
)
from soakline.stages.surveying import laid_as_dug, not_surveyed, survey_of
from soakline.stages.windbreaks import windbreaks_of
from soakline.terrain.condition import Terrain
from soakline.water.courses import courses_of
from soakline.water.event import arrivals_of
from soakline.water.failure import overtopped_by
from soakline.water.pools import depth_emptied_m, full_to_empty_h
from soakline.water.results import results_of


def design_swales(
    run: RunFile,
    inputs: Inputs,
    terrain: Terrain,
    design: SectionDesign,
    stages: KeptStages,
    progress: Progress,
    placed_by: Callable[[Callable[[], Trees], list[str]], Callable[[], Trees]],
) -> tuple[Designed, tuple[Finding, ...], tuple[str, ...]]:
    """Place, size and drain the swales of a property.

    Parameters
    ----------
    run : the run file
    inputs, terrain, design : of the stages before
    stages : results that are kept from run to run
    progress : is told of every stage
    placed_by : begins to place trees beside the stages that follow; see `of_trees`

    Returns
    -------
    the plan, findings made on the way, and notes for the run record
    """
    cells = terrain.grid.cells
    with progress.stage("excluded ground", cells):
        sectioned = (
            run.siting,
            run.section,
            run.soil,
            run.earthworks.shaping,
            run.land,
            run.overflow,
        )
        surveyed = stages.kept(
            "excluded ground",
            lambda: survey_ground(run, inputs, terrain, design).without_slope(),
            sectioned,
            ("siting", "section", "terrain", "water", "stages"),
        ).with_slope(terrain.slope_pct)
        site, land, property_cells = surveyed.site, surveyed.land, surveyed.property_cells
    with progress.stage("storms"):
        storms, notes = storms_of(run, inputs)
        event = event_on(land, storms, run)
    with progress.stage("lines", cells):
        by_rule, laid, measured, judged = laid_out_lips(
            run, inputs, terrain, surveyed, design, event, stages
        )
        placed = laid.placed
    rules = sill_rules(run)
    with progress.stage("water", cells):
        tc_h, tc_note = concentration_of(run, inputs, laid, land)
        arrivals = arrivals_of(event, tc_h)
        ways = ways_over(placed, terrain, site)
        tracks = track_works(laid, design, run.siting.crossing)

        def drained_over(laid: Laid, judged: JudgedExits) -> Drained:
            return drain(
                laid,
                arrivals,
                judged,
                ways,
                terrain.hollows,
                design,
                tracks,
                rules,
                run.section.max_drain_h,
            )

        drained = drained_over(laid, judged)
        as_planned_m3 = drained.pools.full_m3
        survey = not_surveyed(as_planned_m3.size)
        if inputs.works.as_built is not None:
            survey = survey_of(inputs.works.as_built, laid, drained.sections)
            laid = laid_as_dug(laid, survey, drained.sections, ways)
            placed = laid.placed
            judged = exits_of(placed, terrain.ground_m, terrain.grid, rules)
            drained = drained_over(laid, judged)
    routing, spacing_runoff = begun_aside(laid, drained, arrivals)
    with progress.stage("overflow", cells):
        level = laid.level_m
        sill_level = level - laid.sill_drop_m
        routes = draw_routes(
            drained.outlets,
            drained.peak_m3s,
            ways,
            sill_level,
            end_shapes(inputs, terrain, placed.lines),
            rules,
            run.overflow.cover,
            run.overflow.soil,
        )
    with progress.stage("sections", cells):
        sill_length = drained.outlets.built_m
        check_head = np.where(
            sill_length > 0,
            head_m(drained.peak_m3s, drained.pools.sill_m, rules.coefficient),
            design.sill_head_m,
        )
        mound_height = np.where(laid.spread, 0.0, check_head + design.freeboard_m)
        depth = trenches_of(drained.sections).depth_m
        crossings = built_crossings(
            tracks,
            laid,
            drained.sections,
            drained.outlets,
            drained.peak_m3s,
            drained.feeds,
            arrivals,
            terrain.grid,
            sill_level,
            level - depth,
            check_head + design.freeboard_m,
        )
        lips, pegs, closed = followed_lips(
            laid, drained, routes, design, terrain, inputs.elevation, site.excluded
        )
        works, points = dug_with_points(
            partial(
                dug_along,
                lips,
                closed,
                laid,
                drained,
                tracks,
                crossings,
                mound_height,
                check_head,
                design,
            ),
            lambda works: swale_points(
                run, inputs.features, laid, drained, tracks, works, design, terrain, site
            ),
        )
        figures = SwaleFigures(
            sections=drained.sections,
            level_m=level,
            sill_level_m=sill_level,
            crest_level_m=level + mound_height,
            length_m=laid.length_m,
            texture=laid.texture,
            soak_m_h=laid.soak_m_h,
            mound_height_m=mound_height,
            check_head_m=check_head,
            sill_length_m=sill_length,
            capacity_m3=drained.pools.full_m3,
            lip_low_m=survey.lowest_m,
            first_spill_m=survey.chainage_m,
            capacity_lost_m3=np.where(
                survey.measured, as_planned_m3 - drained.pools.full_m3, np.nan
            ),
            drain_down_h=full_to_empty_h(drained.pools),
            depth_in_time_m=depth_emptied_m(drained.pools, run.section.max_drain_h),
            ponded_m2=drained.feeds.ponded_m2,
            tc_h=tc_h,
            overtopped=overtopped_by(
                drained.outlets.chain,
                drained.pools.full_m3 + check_head * drained.feeds.ponded_m2,
                drained.feeds.ponded_m2,
                mound_height - check_head,
            ),
            slope_pct=laid.slope_pct,
            tree_height_m=measured.tree_height_m,
            spacing_above_m=measured.spacing_above_m,
            interval_above_m=measured.interval_above_m,
            spacing_tree_m=tree_spacing_m(measured.tree_height_m, laid.slope_pct),
            spacing_ratio_m=ratio_spacing_m(
                run,
                design,
                np.array([design.on(own).largest.top_width_m for own in laid.texture]),
                laid.slope_pct,
            ),
            spacing_runoff_m=spacing_runoff.result(),
            spacing_rule=by_rule.rule,
            level_interval_m=by_rule.interval_m,
            share_cut_off=measured.share_cut_off,
            landform=measured.landform,
        )
        results = results_of(
            event, drained.feeds.dry_m2, routing.result(), level - depth, level + mound_height
        )
        drains = dug_diversions(laid, event, run)
        clear = kept_clear(run, inputs, routes, drains, points, terrain, site)
        windbreaks = windbreaks_of(run, inputs, laid, figures, terrain)
        trees = placed_by(
            lambda: planted(
                run,
                inputs,
                laid,
                drained,
                tracks,
                works,
                figures,
                windbreaks.chosen,
                clear,
                terrain,
                site,
            ),
            placed.ids,
        )
        courses = courses_of(
            drained.pools,
            drained.outlets.chain,
            drained.outlets.travel_s,
            lambda storm: arrivals.inflow_m3(storm, drained.feeds),
            arrivals.step_s,
            [arrivals.rain_s(storm) for storm in range(len(event.storms))],
            results.governing,
        )
    years = followed_years(
        run, inputs, laid, drained, works, trees, land, terrain.grid, stages, progress
    )
    plan = Designed(
        run=run,
        inputs=inputs,
        terrain=terrain,
        site=site,
        placed=placed,
        design=design,
        diversions=drains,
        crossings=crossings,
        points=points,
        catchments=laid.catchments,
        catchment_ground=laid.catchment_ground,
        event=event,
        outlets=drained.outlets,
        routes=routes,
        results=results,
        courses=courses,
        pegs=pegs,
        works=works,
        planted=trees,
        years=years,
        windbreaks=windbreaks,
        figures=figures,
        below=measured.below,
        unserved_m2=measured.unserved_m2,
        property_cells=property_cells,
        step_s=arrivals.step_s,
    )
    return (
        plan,
        (
            *surveyed.findings,
            *by_rule.findings,
            *left_out(by_rule.fed, by_rule.spills, run.siting.min_catchment_m2),
            *laid.findings,
            *drained.findings,
        ),
        (*notes, *([tc_note] if tc_note else [])),
    )
