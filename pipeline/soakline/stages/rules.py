"""Rules of spacing and overflow, as the run file chooses them."""

from typing import cast

import numpy as np

from soakline.grid import BoolArray, FloatArray
from soakline.inputs.rain_table import choose_columns
from soakline.inputs.types import Inputs
from soakline.overflow.ranking import SillRules
from soakline.runfile.sections import RunFile
from soakline.section.design import SectionDesign
from soakline.section.trench import trenches_of
from soakline.siting.band import AIM_M
from soakline.siting.site import Site
from soakline.siting.spacing import width_ratio
from soakline.siting.stations import OPEN
from soakline.terrain.condition import Terrain
from soakline.water.event import Event, event_of
from soakline.water.green_ampt import green_ampt_for
from soakline.water.hydrographs import step_s
from soakline.water.land import GroundClass, Land
from soakline.water.losses import HARD_SURFACE, Loss, curve_number_loss
from soakline.water.pools import pools_of
from soakline.water.storms import PatternChoice, Storm, storms_for
from soakline.water.strips import widest_spacing_m
from soakline.water.time_of_concentration import LEAST_H


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
) -> tuple[float, str]:
    """Vertical interval outside planting blocks, m, and the spacing rule that sets it.

    Rules that give a distance are turned into a level difference by the mean slope of the allowed
    ground, since all hillsides take the same levels. Where `runoff` would set swales closer than
    the trees do, or no design storm gives runoff, `tree-height` binds.
    """
    tree = run.spacing.mature_tree_height_m
    allowed = site.siteable.state == OPEN
    if run.spacing.rule == "width-ratio":
        if not allowed.any():
            return tree, run.spacing.rule
        slope = float(terrain.slope_pct[allowed].mean())
        widest = np.array([design.widest_m])
        distance = float(ratio_spacing_m(run, design, widest, np.array([slope]))[0])
        return max(0.1, distance * slope / 100.0), run.spacing.rule
    if run.spacing.rule == "runoff" and allowed.any():
        slope = float(terrain.slope_pct[allowed].mean())
        # Catchments are of whole cells: a line may catch the width of one more.
        distance = runoff_spacing_before_m(run, design, event, allowed, slope) - terrain.grid.cell_m
        interval = distance * slope / 100.0
        if np.isfinite(interval) and interval > tree:
            return interval, run.spacing.rule
    return tree, "tree-height"


def ratio_spacing_m(
    run: RunFile, design: SectionDesign, widest_m: FloatArray, slope_pct: FloatArray
) -> FloatArray:
    """Lip to lip by the width ratio: the gap, and the cut from lip to daylight; m.

    The gap is reckoned from the widest water that the soil's sections have.
    """
    ratio = run.spacing.width_ratio or width_ratio(run.rain.annual_mm)
    cut, _ = design.reach(AIM_M).at(slope_pct)
    return ratio * widest_m + cut


def runoff_spacing_before_m(
    run: RunFile, design: SectionDesign, event: Event, allowed: BoolArray, slope_pct: float
) -> float:
    """Widest spacing that holds the design storms, before it is known what drains where, m.

    The section is the largest of the soil on which a swale holds least, the ground of the class
    that most of the allowed ground has. The swale is as long as between the limits; a shorter one
    holds less per metre by its battered ends.
    """
    trench = trenches_of([own.largest for own in design.soils])
    ends_m = 2.0 * trench.batter * trench.depth_m
    mean_m = (run.siting.min_length_m + run.siting.max_length_m) / 2.0
    length = np.maximum(mean_m, 2.0 * ends_m)
    spread = slope_pct < run.earthworks.spread_under_pct
    drop_m = design.sill_head_m if spread else 0.0
    pools = pools_of(
        trench.base_width_m,
        trench.depth_m,
        trench.batter,
        length,
        trench.depth_m - drop_m,
        (trench.top_width_m - 2.0 * trench.batter * drop_m) * length,
        np.array([design.soak_m_h(own) for own in design.soils]),
        length,
        run.overflow.weir_coefficient,
    )
    ground = np.zeros((len(design.soils), len(event.losses)))
    index = event.land.index
    ground[:, 0 if index is None else int(np.bincount(index[allowed]).argmax())] = 1.0
    step = step_s([LEAST_H])
    return float(widest_spacing_m(pools, length, ground, event, event.of("design"), step).min())


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
