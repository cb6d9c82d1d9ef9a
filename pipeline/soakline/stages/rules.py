"""Rules of spacing and overflow, as the run file chooses them."""

import numpy as np

from soakline.grid import FloatArray
from soakline.inputs.rain_table import choose_columns
from soakline.inputs.types import Inputs
from soakline.overflow.ranking import SillRules
from soakline.runfile.sections import RunFile
from soakline.section.design import SectionDesign
from soakline.siting.lip import AIM_M
from soakline.siting.site import Site
from soakline.siting.spacing import runoff_spacing_m, width_ratio
from soakline.siting.stations import OPEN
from soakline.terrain.condition import Terrain
from soakline.water.curve_number import antecedent_curve_number, runoff_mm
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
