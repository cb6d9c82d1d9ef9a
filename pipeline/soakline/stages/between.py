"""Trees between the swales, once those beside them stand."""

from dataclasses import replace

import numpy as np
import shapely

from soakline.inputs.types import Inputs
from soakline.outputs.designed import SwaleFigures
from soakline.planting.between import BetweenGround, row_levels, stand_between
from soakline.planting.choice import between_mixture
from soakline.planting.first_fit import Mixtures
from soakline.planting.trees import ALL_BANDS, Trees, figures_of
from soakline.runfile.sections import RunFile
from soakline.section.soils import soil_for
from soakline.section.stations import starts_of
from soakline.siting.site import Site
from soakline.stages.laying import Laid
from soakline.terrain.cells import GeometryArray, burn
from soakline.terrain.condition import Terrain


def planted_between(
    run: RunFile,
    inputs: Inputs,
    laid: Laid,
    figures: SwaleFigures,
    trees: Trees,
    blocked: GeometryArray,
    terrain: Terrain,
    site: Site,
) -> Trees:
    """Trees of a plan with those between its swales.

    Parameters
    ----------
    run, inputs, laid, figures, terrain, site : of the stages before
    trees : beside the swales
    blocked : ground that no trunk stands on

    Returns
    -------
    Trees in order of swale and band; as they were where the run file wants none between
    """
    if not run.planting.between or laid.length_m.size == 0:
        return trees
    lines, grid = laid.placed.lines, terrain.grid
    mixed = {
        key: between_mixture(inputs.works.species, key[0], run.rain.annual_mm, key[1])
        for key in {
            (soil_for(texture).group, height)
            for texture, height in zip(laid.texture, figures.tree_height_m.tolist(), strict=True)
        }
    }
    each = [
        mixed[soil_for(texture).group, height]
        for texture, height in zip(laid.texture, figures.tree_height_m.tolist(), strict=True)
    ]
    crown = figures_of(inputs.works.species, "crown_m")
    mean_crown = np.array([crown[list(own)].mean() if own else np.nan for own in each])
    some = np.isfinite(mean_crown)
    interval = np.array([line.interval_m for line in lines], dtype=float)
    levels = row_levels(laid.level_m[some], interval[some], laid.slope_pct[some], mean_crown[some])
    label = laid.placed.catchments.label
    # Up to where the next swale stands, or would.
    top_m = np.concatenate([[-np.inf], laid.level_m + interval])
    owner = np.where(terrain.ground_m < top_m[label], label, 0).astype(np.int32)
    outside = np.array(
        [shapely.difference(shapely.box(*_around(terrain)), site.excluded.inner)], dtype=object
    )
    kept_off = burn(np.concatenate([blocked, outside]), grid, all_touched=True)
    free = ~(kept_off | site.excluded.too_steep | site.excluded.wet)
    mixtures = Mixtures(
        starts_of(np.array([len(own) for own in each], dtype=np.int64)),
        np.array([i for own in each for i in own], dtype=np.int64),
    )
    lip, species, easting, northing = stand_between(
        BetweenGround(grid, terrain.ground_m, owner, free),
        levels,
        mixtures,
        crown,
        (trees.easting_m, trees.northing_m, trees.species),
    )
    timber = np.array([own.group == "timber" for own in trees.table], dtype=bool)
    band = np.full(lip.size, ALL_BANDS.index("between"))
    lip, band = np.concatenate([trees.lip, lip]), np.concatenate([trees.band, band])
    order = np.argsort(lip * len(ALL_BANDS) + band, kind="stable")
    year = np.where(timber[species], run.planting.main_year, 1)
    return replace(
        trees,
        lip=lip[order],
        band=band[order],
        species=np.concatenate([trees.species, species])[order],
        year=np.concatenate([trees.year, year])[order],
        easting_m=np.concatenate([trees.easting_m, easting])[order],
        northing_m=np.concatenate([trees.northing_m, northing])[order],
    )


def _around(terrain: Terrain) -> tuple[float, float, float, float]:
    """Bounds of the grid and a cell more: west, south, east, north."""
    grid, cell = terrain.grid, terrain.grid.cell_m
    west, north = grid.west_m - cell, grid.north_m + cell
    return (
        west,
        north - (grid.rows + 2) * cell,
        west + (grid.columns + 2) * cell,
        north,
    )
