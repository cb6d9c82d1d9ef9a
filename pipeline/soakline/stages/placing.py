"""Lips on the ground: placed by the rule, fed, and rings opened where their water leaves best."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely

from soakline.findings import Finding
from soakline.grid import BoolArray, FloatArray
from soakline.inputs.machines import Machine
from soakline.inputs.types import Inputs
from soakline.overflow.openings import LEAST_OPENING_M, open_rings
from soakline.overflow.ranking import Ways, judged_exits, wanted_sill_m
from soakline.overflow.routes import EndShapes
from soakline.problems import InputProblem, ProblemCollector
from soakline.runfile.sections import RunFile
from soakline.section.cuts import profile_reach_m
from soakline.section.design import SectionDesign
from soakline.section.footprint import dug_ground
from soakline.section.pegs import Pegs, set_pegs
from soakline.section.trench import trenches_of
from soakline.siting.beside_tracks import kept_off_tracks
from soakline.siting.crossings import parted_at_tracks
from soakline.siting.ends import End
from soakline.siting.excluded import ground_met
from soakline.siting.exits import Exits, WayGround
from soakline.siting.given import given_lips
from soakline.siting.hooks import without_hooks
from soakline.siting.lines import END_ROOM_M, LipLine, cut_out, in_order, numbered
from soakline.siting.site import Placed, Site, geometry_of, place, site_beside, ways_from
from soakline.siting.split import ends_apart
from soakline.stages.rules import interval_of, sill_rules
from soakline.terrain.condition import Terrain
from soakline.water.event import Event, fastest_peak_m3s
from soakline.water.land import area_by_class_m2

# A lip that is cut is looked at again: what is left may be cut once more.
_ROUNDS = 5


def ways_over(placed: Placed, terrain: Terrain, site: Site) -> Ways:
    """Lay the ground that ways run over beside the lips and ends that they run between."""
    ground = WayGround(
        placed.places,
        placed.catchments.burnt,
        placed.end_map,
        terrain.flow.direction,
        site.marks,
        terrain.grid,
    )
    return Ways(placed.lines, ground, terrain.ground_m)


def pegs_along(
    lines: list[LipLine],
    design: SectionDesign,
    terrain: Terrain,
    sill_m: Sequence[Sequence[float]] | None = None,
) -> Pegs:
    """Pegs along lips, their profiles long enough for the largest section and for given ones.

    Parameters
    ----------
    lines : LipLine of each
    design : SectionDesign
    terrain : Terrain
    sill_m : of each lip, chainages of its sills, m; none while nobody knows them: the stations that
        footprints are measured at
    """
    sections = [design.roomiest, *(line.section for line in lines if line.section)]
    return set_pegs(
        [line.coordinates for line in lines],
        np.array([line.level_m for line in lines], dtype=float),
        [[] for _ in lines] if sill_m is None else sill_m,
        design.widest_m,
        max(profile_reach_m(own.top_width_m, design.deepest_cut_m, own.batter) for own in sections),
        design.mound_reach_m,
        terrain.ground_m,
        terrain.grid,
    )


def clear_of_exclusions(
    lines: list[LipLine], site: Site, design: SectionDesign, terrain: Terrain
) -> list[LipLine]:
    """Lips shortened until what is dug along them keeps off excluded ground to the centimetre.

    Lines are trimmed by the slope of single cells; the trench is drawn by the ground uphill of each
    peg. Where the two differ a corner may still reach into a setback.
    """
    clear: list[LipLine] = []
    doubtful = lines
    for _ in range(_ROUNDS):
        pegs = pegs_along(doubtful, design, terrain)
        dug = dug_ground(pegs.stations, trenches_of([design.roomiest] * len(doubtful)))
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


@dataclass(frozen=True, eq=False, slots=True)
class Lines:
    """Lips as the rule lays them, and given ones: rings still closed, unfit ones still there.

    Parameters
    ----------
    lines : highest first
    fed, spills : (lines,) bool; enough drains to it, and some of it can carry a sill from which
        water leads away; or it is given
    rings : exits of the closed ones
    ends : ends that they may lead to, in the order of their numbers
    area_m2 : (lines, classes) of its catchment, by class of ground
    rule : of spacing, the one that binds
    interval_m : between levels outside planting blocks, intermediate ones left out
    findings : on given lines
    """

    lines: list[LipLine]
    fed: BoolArray
    spills: BoolArray
    rings: Exits
    ends: tuple[End, ...]
    area_m2: FloatArray
    rule: str
    interval_m: float
    findings: tuple[Finding, ...]

    @property
    def closed(self) -> BoolArray:
        """Lips that are rings, (lines,)."""
        return np.array([line.closed for line in self.lines], dtype=bool)

    @property
    def kept(self) -> BoolArray:
        """Lips that become swales, (lines,)."""
        return np.asarray(self.fed & self.spills)

    @property
    def are_final(self) -> bool:
        """Whether none has to be opened or left out."""
        return bool(self.kept.all() and not self.closed.any())


def lines_by_rule(
    run: RunFile,
    inputs: Inputs,
    terrain: Terrain,
    site: Site,
    design: SectionDesign,
    event: Event,
) -> tuple[Lines, Placed]:
    """Lips by the spacing rule beside those that are given, and their catchments, ends, exits."""
    interval, rule = interval_of(run, design, site, terrain, event)
    given, findings = given_lips(
        inputs.features.given_swales,
        terrain.ground_m,
        terrain.grid,
        interval,
        inputs.features.planting_blocks,
        interval / run.spacing.mature_tree_height_m,
        terrain.drainage_line,
    )
    beside = site_beside(site, given)
    machine = inputs.works.machine
    radius = machine.bend_radius_m(run.siting.min_bend_radius_m)
    lines = place(terrain, beside, inputs.features, run.spacing, interval, given, radius)
    lines = clear_of_exclusions(lines, beside, design, terrain)
    least, tracks = site.limits.min_length_m, inputs.features.tracks
    if run.siting.cross_tracks:
        track_m = run.siting.setback_m.track
        lines = kept_off_tracks(lines, tracks, track_m, beside.siteable, least)
    if run.siting.crossing == "gap":
        lines = parted_at_tracks(lines, tracks, least)
    lines = [without_hooks(line, radius, least) for line in lines]
    lines = ends_apart(lines, beside.siteable, site.limits)
    # What is left of a ring once it is opened is a swale too.
    lines = [
        line for line in lines if line.length_m >= least + LEAST_OPENING_M * line.closed - 1e-6
    ]
    longer = [line for line in lines if line.length_m >= machine.least_bend_m]
    findings = (*findings, *_short_for(machine, len(lines) - len(longer)))
    lines = in_order([*longer, *given.lips])
    placed = ways_from(lines, terrain, site, inputs)
    caught, exits = placed.catchments, placed.exits
    area = area_by_class_m2(caught.label, event.land, len(lines), terrain.grid.cell_area_m2)
    closed = np.array([line.closed for line in lines], dtype=bool)
    is_given = np.array([line.given for line in lines], dtype=bool)
    _refuse_without_ground(lines, is_given & (caught.area_m2 == 0.0), run, terrain.grid.cell_m)
    fed = is_given | (caught.area_m2 >= run.siting.min_catchment_m2)
    spills = is_given | exits.leads_off
    rings = exits.only(closed[exits.swale])
    ends = placed.end_map.ends
    return Lines(lines, fed, spills, rings, ends, area, rule, interval, findings), placed


def _refuse_without_ground(
    lines: list[LipLine], bare: BoolArray, run: RunFile, cell_m: float
) -> None:
    """Refuse given lines that have no cell of the DEM for themselves."""
    file, key = str(run.resolve(run.property.features)), "property.features, layer given_swales"
    ProblemCollector(
        [
            InputProblem(
                file,
                f"{key}, {line.swale_id or f'a line {line.length_m:.0f} m long'}",
                "a line that shares each of its cells with another given line",
                f"a line with ground of its own that drains to it, by cells of {cell_m:g} m",
                "Move it off the other, or take one of them out.",
            )
            for line, alone in zip(lines, bare, strict=True)
            if alone
        ]
    ).raise_if_any()


def _short_for(machine: Machine, pieces: int) -> tuple[Finding, ...]:
    """A note on pieces shorter than the tightest bend that the machine follows.

    Common practice, no source: it has no room on them to turn on to the line. Pieces with a short
    gap between them were joined before.
    """
    if pieces == 0:
        return ()
    return (
        Finding(
            "short_for_machine",
            "note",
            "swales",
            "",
            f"{pieces} pieces of level line were left out: shorter than {machine.least_bend_m:g} "
            f"m, too short for {machine.name} to turn on to",
            "choose a smaller machine (earthworks.machine), or dig by hand",
        ),
    )


def final_lines(
    lines: Lines, run: RunFile, terrain: Terrain, event: Event, least_m: float
) -> list[LipLine]:
    """Lips that are kept, rings opened where their water leaves best, each with its id.

    What a lip that is left out has caught goes on to the next one below.
    """
    opened, ring = lines.lines, lines.closed
    if ring.any():
        # How far water has to run is measured later, on the lips that are kept.
        peak = np.zeros(ring.size)
        peak[ring] = fastest_peak_m3s(event, lines.area_m2[ring])
        rules = sill_rules(run)
        wanted = wanted_sill_m(peak, rules)
        judged = judged_exits(lines.rings, wanted, terrain.ground_m, terrain.grid, rules)
        opened = open_rings(opened, judged, lines.ends, rules, wanted, least_m)
    return numbered([line for line, keep in zip(opened, lines.kept, strict=True) if keep])


def end_shapes(inputs: Inputs, terrain: Terrain, lines: list[LipLine]) -> EndShapes:
    """Geometry that routes finish on."""
    lips = np.empty(len(lines), dtype=object)
    lips[:] = [shapely.linestrings(line.coordinates) for line in lines]
    return EndShapes(
        lips,
        terrain.drainage_line,
        geometry_of(inputs.features.dams),
        terrain.kept_outline,
        geometry_of(inputs.features.safe_points),
        inputs.property.area,
    )
