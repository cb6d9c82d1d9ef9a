"""Rules of spacing and overflow, as the run file chooses them."""

from typing import cast

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
from soakline.water.event import Event, event_of
from soakline.water.green_ampt import green_ampt_for
from soakline.water.land import GroundClass, Land
from soakline.water.losses import HARD_SURFACE, Loss, curve_number_loss, excess_durations_h
from soakline.water.storms import PatternChoice, Storm, storms_for


def storms_of(run: RunFile, inputs: Inputs) -> tuple[tuple[Storm, ...], tuple[str, ...]]:
    """Storms of a run, and how the columns of its table were found."""
    columns = choose_columns(inputs.rain, run.rain.design, run.rain.check, run.rain.table)
    storms = storms_for(
        inputs.rain,
        columns.design,
        columns.check,
        inputs.pattern or cast("PatternChoice", run.rain.pattern),
        run.rain.uplift_pct,
    )
    return storms, columns.notes


def event_on(land: Land, storms: tuple[Storm, ...], run: RunFile) -> Event:
    """The storms on the classes of a land, losses as the run file chooses them."""

    def loss(own: GroundClass) -> Loss:
        if own.hard:
            return HARD_SURFACE
        if run.rain.loss == "green-ampt":
            return green_ampt_for(own.texture, run.rain.antecedent)
        return curve_number_loss(own.curve_number, run.rain.antecedent)

    return event_of(storms, land, [loss(own) for own in land.classes], run.rain.unit_hydrograph)


def interval_of(
    run: RunFile,
    design: SectionDesign,
    site: Site,
    terrain: Terrain,
    event: Event,
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
    distance = runoff_spacing(design, event)
    return max(tree, distance * slope / 100.0) if np.isfinite(distance) else tree


def ratio_spacing_m(run: RunFile, design: SectionDesign, slope_pct: FloatArray) -> FloatArray:
    """Lip to lip by the width ratio: the gap, and the cut from lip to daylight; m."""
    ratio = run.spacing.width_ratio or width_ratio(run.rain.annual_mm)
    cut, _ = design.reach(AIM_M).at(slope_pct)
    return ratio * design.largest.top_width_m + cut


def runoff_spacing(design: SectionDesign, event: Event) -> float:
    """Widest spacing at which the largest section holds the design storms, m.

    Infinite where none gives runoff. The ground is taken to be of the commonest class throughout:
    a spacing is set before it is known what drains where.
    """
    own = event.of("design")
    trench = design.largest
    common = event.land.commonest
    return runoff_spacing_m(
        trench.area_m2,
        trench.top_width_m,
        trench.base_width_m,
        design.soak_m_h,
        event.excess_mm[common, own],
        np.array([event.storms[i].depth_mm for i in own]),
        np.array([excess_durations_h(event.storms[i], event.losses)[common] for i in own]),
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
