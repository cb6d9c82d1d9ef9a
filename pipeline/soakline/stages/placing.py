"""Lips on the ground: placed by the rule, fed, and rings opened where their water leaves best."""

from dataclasses import dataclass

import numpy as np
import shapely

from soakline.grid import BoolArray, FloatArray
from soakline.inputs.types import Inputs
from soakline.overflow.openings import open_rings
from soakline.overflow.ranking import Ways
from soakline.runfile.sections import RunFile
from soakline.section.design import SectionDesign
from soakline.section.footprint import dug_ground
from soakline.section.pegs import Pegs, set_pegs
from soakline.section.trench import trenches_of
from soakline.siting.crossings import parted_at_tracks
from soakline.siting.excluded import ground_met
from soakline.siting.lines import END_ROOM_M, LipLine, cut_out, in_order
from soakline.siting.site import Placed, Site, place, ways_from
from soakline.stages.rules import bend_radius_m, interval_of, sill_rules
from soakline.terrain.condition import Terrain
from soakline.water.event import Event, fastest_peak_m3s
from soakline.water.land import area_by_class_m2

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


def base_pegs(lines: list[LipLine], design: SectionDesign, terrain: Terrain) -> Pegs:
    """Pegs without sills: the stations that volumes and footprints are measured at."""
    return set_pegs(
        [line.coordinates for line in lines],
        np.array([line.level_m for line in lines], dtype=float),
        [[] for _ in lines],
        design.widest_m,
        design.profile_m,
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
        pegs = base_pegs(doubtful, design, terrain)
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
    """Lips as the rule lays them: rings still closed, those fed by little still there.

    Parameters
    ----------
    placed : Placed
    fed : (lines,) bool; enough drains to it
    area_m2 : (lines, classes) of its catchment, by class of ground
    rule : of spacing, the one that binds
    """

    placed: Placed
    fed: BoolArray
    area_m2: FloatArray
    rule: str


def lines_by_rule(
    run: RunFile,
    inputs: Inputs,
    terrain: Terrain,
    site: Site,
    design: SectionDesign,
    event: Event,
) -> Lines:
    """Lips by the spacing rule, with catchments, ends and exits."""
    interval, rule = interval_of(run, design, site, terrain, event)
    lines = place(terrain, site, inputs.features, run.spacing, interval, bend_radius_m(run, inputs))
    lines = clear_of_exclusions(lines, site, design, terrain)
    if run.siting.crossing == "gap":
        least_m = site.limits.min_length_m
        lines = in_order(parted_at_tracks(lines, inputs.features.tracks, least_m))
    placed = ways_from(lines, terrain, site, inputs.property, inputs.features)
    caught = placed.catchments
    area = area_by_class_m2(caught.label, event.land, len(lines), terrain.grid.cell_area_m2)
    return Lines(placed, caught.area_m2 >= run.siting.min_catchment_m2, area, rule)


def final_lines(
    lines: Lines, run: RunFile, terrain: Terrain, site: Site, event: Event
) -> list[LipLine]:
    """Lips that are kept, rings opened where their water leaves best."""
    placed, opened = lines.placed, lines.placed.lines
    ring = np.array([line.closed for line in opened], dtype=bool)
    if ring.any():
        # How far water has to run is measured later, on the lips that are kept.
        peak = np.zeros(ring.size)
        peak[ring] = fastest_peak_m3s(event, lines.area_m2[ring])
        opened = open_rings(placed.exits, ways_over(placed, terrain, site), peak, sill_rules(run))
    return [line for line, keep in zip(opened, lines.fed, strict=True) if keep]


def ways_of_final(
    lines: Lines, final: list[LipLine], terrain: Terrain, site: Site, inputs: Inputs
) -> Placed:
    """Catchments, ends and exits of the lips that are kept.

    What a lip that is left out has caught goes on to the next one below.
    """
    placed = lines.placed
    if lines.fed.all() and not any(line.closed for line in placed.lines):
        return placed
    return ways_from(final, terrain, site, inputs.property, inputs.features)
