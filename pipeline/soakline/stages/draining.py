"""Water led away: every swale with its overflow, those that cannot pass their chain left out."""

from dataclasses import dataclass

import numpy as np
import shapely

from soakline.findings import Finding
from soakline.grid import BoolArray, FloatArray
from soakline.inputs.types import Inputs
from soakline.overflow.routes import EndShapes
from soakline.overflow.settle import Overflow, settle_overflow
from soakline.runfile.sections import RunFile
from soakline.section.design import SectionDesign
from soakline.section.pegs import Pegs
from soakline.siting.lines import LipLine
from soakline.siting.site import Placed, Site, geometry_of, ways_from
from soakline.stages.placing import base_pegs, swale_water, ways_over
from soakline.stages.rules import sill_rules
from soakline.terrain.condition import Terrain
from soakline.terrain.hollows import hollow_outlines
from soakline.water.balance import SwaleWater
from soakline.water.storms import Storm

# Leaving a swale out sends its water on to others, which may be too short for it in turn.
_ROUNDS = 3
# A longer lip stays, told as `sill_short`: the land that it serves weighs more.
_SHORT_LIP_M = 60.0


@dataclass(frozen=True, eq=False, slots=True)
class Drained:
    """Swales whose overflow is settled.

    Parameters
    ----------
    placed : Placed
    pegs : of each swale, without sills
    slope_pct, level_m, sill_level_m : (swales,) mean slope across the line, %, and levels, m
    spread : (swales,) bool; the spoil is spread and no mound stands
    water, overflow : SwaleWater and Overflow
    """

    placed: Placed
    pegs: list[Pegs]
    slope_pct: FloatArray
    level_m: FloatArray
    sill_level_m: FloatArray
    spread: BoolArray
    water: SwaleWater
    overflow: Overflow


def drain(
    placed: Placed,
    run: RunFile,
    inputs: Inputs,
    terrain: Terrain,
    site: Site,
    design: SectionDesign,
    storms: tuple[Storm, ...],
    curve_number: float,
) -> tuple[Drained, tuple[Finding, ...]]:
    """Settle the overflow of every swale.

    Parameters
    ----------
    placed : Placed
    others : of the run and of the stages before

    Returns
    -------
    the swales that can pass what may reach them, and a note on those that were left out: a lip too
    short for the sills that its chain's peak asks for would be overtopped along its whole length
    """
    missing_m: list[float] = []
    for attempt in range(_ROUNDS):
        drained = _settled(placed, run, inputs, terrain, site, design, storms, curve_number)
        short = np.array([line.length_m < _SHORT_LIP_M for line in placed.lines], dtype=bool)
        overloaded = drained.overflow.outlets.overloaded & short
        if not overloaded.any() or attempt == _ROUNDS - 1:
            break
        missing_m += drained.overflow.outlets.wanted_m[overloaded].tolist()
        lines = [line for line, over in zip(placed.lines, overloaded, strict=True) if not over]
        placed = ways_from(lines, terrain, site, inputs.property, inputs.features)
    if not missing_m:
        return drained, ()
    return drained, (
        Finding(
            "too_short_for_chain",
            "note",
            "swales",
            "",
            f"{len(missing_m)} pieces of level line were left out: the peak of the chain above "
            f"asks for {min(missing_m):.0f} to {max(missing_m):.0f} m of sill, more than their "
            "lips carry",
            "longer swales there, or an end of its own for the chain above, would keep them",
        ),
    )


def _settled(
    placed: Placed,
    run: RunFile,
    inputs: Inputs,
    terrain: Terrain,
    site: Site,
    design: SectionDesign,
    storms: tuple[Storm, ...],
    curve_number: float,
) -> Drained:
    pegs = base_pegs(placed.lines, design, terrain)
    slope = np.array([100.0 * float(p.stations.slope.mean()) for p in pegs])
    spread = slope < run.earthworks.spread_under_pct
    water = swale_water(placed, pegs, design, spread)
    level = np.array([line.level_m for line in placed.lines])
    sill_level = np.where(spread, level - design.sill_head_m, level)
    overflow = settle_overflow(
        placed.exits,
        ways_over(placed, terrain, site),
        sill_level,
        _end_shapes(inputs, terrain, placed.lines),
        terrain.hollows,
        storms,
        water,
        curve_number,
        sill_rules(run),
        run.overflow.cover,
        run.overflow.soil,
    )
    return Drained(placed, pegs, slope, level, sill_level, spread, water, overflow)


def _end_shapes(inputs: Inputs, terrain: Terrain, lines: list[LipLine]) -> EndShapes:
    """Geometry that routes finish on."""
    lips = np.empty(len(lines), dtype=object)
    lips[:] = [shapely.linestrings(line.coordinates) for line in lines]
    kept = [int(i) for i in np.flatnonzero(terrain.hollows.kept)]
    return EndShapes(
        lips,
        terrain.drainage_line,
        geometry_of(inputs.features.dams),
        hollow_outlines(terrain.hollows, kept, terrain.grid),
        geometry_of(inputs.features.safe_points),
        inputs.property.area,
    )
