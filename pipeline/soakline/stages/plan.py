"""The main job, in order: reading, terrain, swales, layers, one GeoPackage."""

import sqlite3
from collections.abc import Mapping
from contextlib import ExitStack
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

import geopandas as gpd
import pandas as pd
from pyproj import CRS, Transformer

from soakline import __version__
from soakline.beside import NotBeside
from soakline.findings import Finding
from soakline.lean import kept_low
from soakline.outputs.calendar import calendar_table
from soakline.outputs.cautions import swale_findings
from soakline.outputs.cautions_bends import bend_findings
from soakline.outputs.cautions_drains import drain_findings
from soakline.outputs.cautions_given import given_findings
from soakline.outputs.cautions_points import point_findings
from soakline.outputs.cautions_room import room_findings
from soakline.outputs.cautions_soil import soil_findings
from soakline.outputs.cautions_trees import tree_findings
from soakline.outputs.cautions_ways import drainage_findings, route_findings
from soakline.outputs.cautions_works import works_findings
from soakline.outputs.cautions_years import year_findings
from soakline.outputs.columns import SCHEMAS, frame
from soakline.outputs.crossings import crossing_findings, crossing_layer
from soakline.outputs.designed import Designed
from soakline.outputs.diversions import diversion_layer
from soakline.outputs.earthworks import earthworks_table
from soakline.outputs.empty_plan import EmptyPlan
from soakline.outputs.general import whole_findings
from soakline.outputs.geopackage import Layers, write_plan
from soakline.outputs.iso_metadata import PlanDescription
from soakline.outputs.land import excluded_layer, listed_hollows, small_hollows
from soakline.outputs.overflow import (
    route_layer,
    safe_point_layer,
    spillway_layer,
    storm_course_table,
    storm_table,
    swale_storm_table,
)
from soakline.outputs.points import point_ground_layer, point_layer
from soakline.outputs.programme import Programme, programme_of
from soakline.outputs.quantities import quantity_table
from soakline.outputs.record import record_table
from soakline.outputs.swales import (
    catchment_layer,
    ground_layer,
    peg_cut_table,
    peg_layer,
    swale_layer,
)
from soakline.outputs.tree_projection import projection_layer
from soakline.outputs.trees import growth_table, tree_layer
from soakline.outputs.years import water_years_table
from soakline.runfile.defaults import used_keys
from soakline.runfile.sections import RunFile
from soakline.stages.design import design_swales
from soakline.stages.keeping import read_kept
from soakline.stages.of_land import begin, land_under_way
from soakline.stages.of_trees import TreesUnderWay, trees_under_way
from soakline.stages.progress import Progress
from soakline.store.stage_store import StageStore
from soakline.terrain.condition import condition_ground
from soakline.terrain.surfaces import SurfaceMaker, whole_surfaces

Frames = dict[str, gpd.GeoDataFrame | pd.DataFrame]


@dataclass(frozen=True, slots=True)
class PlanOutcome:
    """What a run came to.

    Parameters
    ----------
    path : the plan
    stops : findings at stop
    """

    path: Path
    stops: int


@kept_low()
def make_plan(
    run: RunFile,
    out: Path,
    progress: Progress,
    map_path: Path | None = None,
    rain_table: Path | None = None,
    store: StageStore | None = None,
    surfaces: SurfaceMaker = whole_surfaces,
) -> PlanOutcome:
    """Plan a property and write the plan whole or not at all.

    Parameters
    ----------
    run : the run file
    out : the GeoPackage
    progress : is told of every stage
    map_path : picture of the plan; None for none
    rain_table : instead of the run file's
    store : results of stages that are kept from run to run; None keeps none
    surfaces : makes the terrain's layers of cells, whole or in tiles: they are the same

    Returns
    -------
    PlanOutcome

    Raises
    ------
    InputRefused
        With every problem of the inputs; nothing is written.
    """
    store = store or StageStore(None, 0.0, False, print)
    started = datetime.now(UTC).isoformat(timespec="milliseconds")
    with progress.stage("reading"):
        inputs, design, stages = read_kept(run, store, progress, rain_table)
    cells = inputs.elevation.grid.cells
    with progress.stage("terrain", cells) as stage:
        terrain = stages.kept(
            "terrain",
            lambda: condition_ground(inputs.elevation, run.terrain, stage.advanced, surfaces),
            (run.terrain,),
            ("terrain", "grid"),
        )
    crs = terrain.grid.crs_wkt
    with ExitStack() as all_of_them:
        begun, land_made = all_of_them.enter_context(
            land_under_way(stages, run, inputs, terrain, out)
        )
        trees = all_of_them.enter_context(trees_under_way(begun, crs))
        plan, findings, notes = design_swales(
            run, inputs, terrain, design, stages, progress, trees.placed_by
        )
        with progress.stage("layers", cells):
            layers = ground_layers(plan)
            programme = programme_of(plan)
            layers |= programme_layers(plan, programme)
            told = all_findings(plan, programme, findings)
            layers["findings"] = finding_table(told)
        with progress.stage("layers of the land", cells):
            land = land_made()
            layers |= land.layers
        # Done beside the other stages, so that it is no stage of its own.
        progress.timings_s["copying rasters"] = land.copied_s
        if map_path is not None:
            with progress.stage("map", cells):
                from soakline.outputs.picture import drawn_map  # noqa: PLC0415 - a second to load

                title = run.property.name or run.file.stem
                drawn = layers | {"trees": tree_layer(plan.trees, plan.placed.ids, crs)}
                picture = drawn_map(map_path, terrain.grid, terrain.ground_m, drawn, title)
                all_of_them.enter_context(picture)
        with progress.stage("writing"):
            finished = datetime.now(UTC).isoformat(timespec="milliseconds")
            layers["run_record"] = record_table(plan, notes, started, finished, progress.timings_s)
            write_plan(
                out,
                layers,
                crs,
                _described(plan),
                land.empty,
                begun,
                lambda: _tree_rows(trees, plan, begun, land.empty),
            )
    stops = sum(finding.severity == "stop" for finding in told)
    _tell(told, progress)
    return PlanOutcome(out, stops)


def ground_layers(plan: Designed) -> Frames:
    """Layers and tables of ground and water, for which no tree need have been placed."""
    crs = plan.terrain.grid.crs_wkt
    return {
        "swale_ground": ground_layer(plan, crs),
        "swale_catchments": catchment_layer(plan, crs),
        "spillways": spillway_layer(plan, crs),
        "overflow_routes": route_layer(plan, crs),
        "safe_points": safe_point_layer(plan, crs),
        "excluded_ground": excluded_layer(plan.site.excluded, crs),
        "pegs": peg_layer(plan, crs),
        "tree_projection": projection_layer(plan, crs),
        "diversions": diversion_layer(plan, crs),
        "crossings": crossing_layer(plan, crs),
        "swale_points": point_layer(plan, crs),
        "swale_point_ground": point_ground_layer(plan, crs),
        "storms": storm_table(plan),
        "swale_storms": swale_storm_table(plan),
        "storm_courses": storm_course_table(plan),
        "peg_cuts": peg_cut_table(plan),
        "earthworks": earthworks_table(plan),
    }


def programme_layers(plan: Designed, programme: Programme) -> Frames:
    """Layers and tables of what is built, planted and done, but the trees themselves."""
    return {
        "swales": swale_layer(plan, programme, plan.terrain.grid.crs_wkt),
        "tree_growth": growth_table(plan),
        "water_years": water_years_table(plan),
        "calendar": calendar_table(plan, programme),
        "quantities": quantity_table(programme.bill),
    }


def all_findings(plan: Designed, programme: Programme, made: tuple[Finding, ...]) -> list[Finding]:
    """Findings of every stage: on the whole plan first, then feature by feature."""
    hollows = plan.terrain.hollows
    return [
        *whole_findings(plan),
        *plan.inputs.findings,
        *small_hollows(hollows, listed_hollows(hollows, plan.run.terrain)),
        *soil_findings(plan),
        *room_findings(plan),
        *made,
        *given_findings(plan),
        *swale_findings(plan),
        *bend_findings(plan),
        *route_findings(plan),
        *drainage_findings(plan),
        *drain_findings(plan),
        *works_findings(plan, programme),
        *crossing_findings(plan),
        *point_findings(plan),
        *tree_findings(plan),
        *year_findings(plan),
    ]


def finding_table(findings: list[Finding]) -> pd.DataFrame:
    """The `findings` table."""
    rows: list[Mapping[str, str | None]] = [
        {
            "code": finding.code,
            "severity": finding.severity,
            "layer": finding.layer or None,
            "feature_id": finding.feature_id or None,
            "message": finding.message,
            "advice": finding.advice or None,
        }
        for finding in findings
    ]
    return frame(SCHEMAS["findings"], rows)


def _tree_rows(trees: TreesUnderWay, plan: Designed, begun: Path, empty: EmptyPlan) -> Layers:
    """The `trees` layer: as it stands in the plan's file, or to be put in."""
    try:
        filled = trees.filled()
    except (NotBeside, OSError, sqlite3.Error):
        # Begun anew; what stands in the way, a full disk say, is told when all of it is written.
        begin(begun, empty)
        filled = None
    if filled is None:
        return {"trees": tree_layer(plan.trees, plan.placed.ids, plan.terrain.grid.crs_wkt)}
    return {"trees": filled}


def _described(plan: Designed) -> PlanDescription:
    name = plan.run.property.name or plan.run.file.stem
    crs = CRS.from_user_input(plan.terrain.grid.crs_wkt)
    to_degrees = Transformer.from_crs(crs, "OGC:CRS84", always_xy=True)
    return PlanDescription(
        title=f"Swale plan: {name}",
        description="Level, water-soaking trenches with their catchments, spillways and overflow "
        "routes. A plan for discussion on site, not a design to build from unseen: local codes and "
        "a licensed engineer come first.",
        lineage=f"Made by soakline {__version__} from the elevation model, boundary, features and "
        "rain table named in run_record, by the methods described there.",
        crs=" ".join([*(crs.to_authority() or ()), crs.name]),
        extent_deg=to_degrees.transform_bounds(*plan.inputs.property.area.bounds),
        sources=tuple(
            f"{source.role}: {source.path} sha256={source.sha256}" for source in plan.inputs.sources
        ),
        parameters=tuple(f"{used.key} = {used.value}" for used in used_keys(plan.run)),
    )


def _tell(findings: list[Finding], progress: Progress) -> None:
    """A count of the findings, and each stop in full."""
    for severity in ("note", "caution", "stop"):
        own = [finding for finding in findings if finding.severity == severity]
        if own and severity != "stop":
            progress.message("info", f"{len(own)} findings: {severity}")
        if severity == "stop":
            for finding in own:
                where = f"{finding.feature_id}: " if finding.feature_id else ""
                progress.message("stop", f"{where}{finding.message}")
