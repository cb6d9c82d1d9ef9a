"""Lips measured as they lie: spacing, tree heights, landform, what drains in and lies below."""

from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass

import numpy as np

from soakline.grid import BoolArray, FloatArray
from soakline.inputs.types import Inputs
from soakline.runfile.sections import RunFile
from soakline.section.pegs import Pegs
from soakline.siting.catchments import share_cut_off
from soakline.siting.hazards import GroundBelow, ground_below
from soakline.siting.lines import LipLine
from soakline.siting.measure import spacing_above
from soakline.siting.site import Site
from soakline.siting.spacing import tree_spacing_m
from soakline.siting.stations import OPEN
from soakline.stages.laying import Laid
from soakline.terrain.condition import Terrain
from soakline.terrain.landform import landforms
from soakline.water.land import Land
from soakline.water.time_of_concentration import concentration_h, two_year_24h_mm

# Curvature is measured at the swales' own spacing, but no wider than this.
_WIDEST_LANDFORM_M = 100.0


@dataclass(frozen=True, eq=False, slots=True)
class Measured:
    """What is measured on lips whatever falls; all (swales,).

    Parameters
    ----------
    tree_height_m : H where the lip lies
    spacing_above_m, interval_above_m : to the next swale above; NaN where there is none
    share_cut_off : of the catchment, that the DEM's edge cuts off above
    landform : at the middle of the lip
    below : GroundBelow
    unserved_m2 : allowed ground whose water meets no swale; of the whole plan
    """

    tree_height_m: FloatArray
    spacing_above_m: FloatArray
    interval_above_m: FloatArray
    share_cut_off: FloatArray
    landform: tuple[str, ...]
    below: GroundBelow
    unserved_m2: float


def measure(
    laid: Laid,
    interval_m: float,
    run: RunFile,
    inputs: Inputs,
    terrain: Terrain,
    site: Site,
    property_cells: BoolArray,
) -> Measured:
    """Measure the lips of a plan.

    Parameters
    ----------
    laid : Laid
    interval_m : between levels outside planting blocks, whatever the rule that sets it
    property_cells : (rows, columns) bool
    others : of the run and of the stages before

    Returns
    -------
    Measured
    """
    lines = laid.placed.lines
    allowed = (site.siteable.state == OPEN) & property_cells
    unserved = np.count_nonzero(allowed & (laid.catchments.label <= 0))
    del allowed
    tree = _tree_heights(run, inputs, lines)
    # Where another rule takes the place of the trees, in blocks it is in proportion to theirs.
    between = tree * (interval_m / run.spacing.mature_tree_height_m)
    with ThreadPoolExecutor(1) as aside:
        cut_off = aside.submit(
            share_cut_off, laid.placed.catchments, terrain.flow.direction, terrain.filled_m
        )
        spacing, interval = spacing_above(lines, between, laid.slope_pct, terrain.drainage_line)
    return Measured(
        tree_height_m=tree,
        spacing_above_m=spacing,
        interval_above_m=interval,
        share_cut_off=cut_off.result(),
        landform=_landforms(terrain, laid.pegs, tree_spacing_m(tree, laid.slope_pct)),
        below=ground_below(
            lines,
            terrain,
            inputs.features,
            property_cells,
            run.siting.setback_m.steep_ground_below,
        ),
        unserved_m2=float(unserved) * terrain.grid.cell_area_m2,
    )


def _tree_heights(run: RunFile, inputs: Inputs, lines: list[LipLine]) -> FloatArray:
    """Mature tree height where each line lies; group k is planting block k − 1."""
    blocks = inputs.features.planting_blocks["mature_tree_height_m"].astype(float)
    heights = [run.spacing.mature_tree_height_m, *blocks]
    return np.array([heights[line.group] for line in lines], dtype=float)


def _landforms(terrain: Terrain, pegs: Pegs, spacing_m: FloatArray) -> tuple[str, ...]:
    """Landform at the middle peg of each swale."""
    stations = pegs.stations
    middle = stations.first + np.diff(stations.at.start) // 2
    scale = np.minimum(spacing_m, _WIDEST_LANDFORM_M)
    return tuple(
        landforms(
            terrain.ground_m,
            terrain.grid,
            stations.easting_m[middle],
            stations.northing_m[middle],
            stations.left_east[middle],
            stations.left_north[middle],
            scale,
        )
    )


def concentration_of(
    run: RunFile, inputs: Inputs, laid: Laid, land: Land
) -> tuple[FloatArray, str]:
    """Time of concentration of each swale, h, and a note on the rain that it was reckoned with."""
    depth, note = two_year_24h_mm(inputs.rain)
    method = run.rain.time_of_concentration
    total = laid.area_m2.sum(axis=1)
    number = laid.area_m2 @ land.curve_number / np.maximum(total, 1e-9)
    number = np.where(total > 0, number, land.curve_number[land.commonest])
    hours = concentration_h(
        method,
        laid.shape.flow_length_m,
        laid.shape.drop_m,
        laid.shape.mean_slope_pct,
        number,
        depth,
    )
    return hours, note if method == "velocity" else ""
